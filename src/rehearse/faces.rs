//! What digits look like: segments of our own, or a real font.

use super::canvas::{Area, Mask};
use super::segments::SegmentShape;
use crate::error::{Error, ErrorKind, Result};
use ab_glyph::{Font, FontVec, PxScale, point};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

/// What a font is good for on a rehearsed display.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FontUse {
    /// Digits of equal width.
    Even,
    /// Digits that may differ in width.
    Proportional,
    /// Drawn like segments, dots or machine writing.
    Device,
    /// Small words around the clock.
    Words,
}

/// A font file as Debian installs it.
#[derive(Clone, Copy, Debug)]
pub struct FontEntry {
    pub package: &'static str,
    pub path: &'static str,
    pub uses: FontUse,
}

const fn entry(uses: FontUse, package: &'static str, path: &'static str) -> FontEntry {
    FontEntry {
        package,
        path,
        uses,
    }
}

/// Fonts of rehearsed displays. None of them may come from a package that the
/// reader is trained with, nor look like one that does, which `scripts/train/apart.py` holds;
/// licences stand in `docs/rehearsal.md`.
pub const FONTS: [FontEntry; 32] = {
    use FontUse::{Device, Even, Proportional, Words};
    [
        entry(
            Even,
            "fonts-b612",
            "/usr/share/fonts/opentype/b612/B612Mono-Regular.otf",
        ),
        entry(
            Even,
            "fonts-b612",
            "/usr/share/fonts/opentype/b612/B612Mono-Bold.otf",
        ),
        entry(
            Even,
            "fonts-cmu",
            "/usr/share/fonts/truetype/cmu/cmuntt.ttf",
        ),
        entry(
            Even,
            "fonts-cmu",
            "/usr/share/fonts/truetype/cmu/cmuntb.ttf",
        ),
        entry(
            Even,
            "fonts-fantasque-sans",
            "/usr/share/fonts/truetype/fantasque-sans/Normal/TTF/FantasqueSansMono-Regular.ttf",
        ),
        entry(
            Even,
            "fonts-fantasque-sans",
            "/usr/share/fonts/truetype/fantasque-sans/Normal/TTF/FantasqueSansMono-Bold.ttf",
        ),
        entry(
            Even,
            "fonts-mplus",
            "/usr/share/fonts/opentype/mplus/Mplus1Code-Light.otf",
        ),
        entry(
            Even,
            "fonts-mplus",
            "/usr/share/fonts/opentype/mplus/Mplus1Code-Medium.otf",
        ),
        entry(
            Even,
            "fonts-mplus",
            "/usr/share/fonts/opentype/mplus/MplusCodeLatin50-SemiBold.otf",
        ),
        entry(
            Proportional,
            "fonts-inter",
            "/usr/share/fonts/opentype/inter/Inter-Light.otf",
        ),
        entry(
            Proportional,
            "fonts-inter",
            "/usr/share/fonts/opentype/inter/Inter-Medium.otf",
        ),
        entry(
            Proportional,
            "fonts-inter",
            "/usr/share/fonts/opentype/inter/InterDisplay-Bold.otf",
        ),
        entry(
            Proportional,
            "fonts-clear-sans",
            "/usr/share/fonts/truetype/clear-sans/ClearSans-Regular.ttf",
        ),
        entry(
            Proportional,
            "fonts-clear-sans",
            "/usr/share/fonts/truetype/clear-sans/ClearSans-Bold.ttf",
        ),
        entry(
            Proportional,
            "fonts-manrope",
            "/usr/share/fonts/truetype/manrope/Manrope-Light.ttf",
        ),
        entry(
            Proportional,
            "fonts-manrope",
            "/usr/share/fonts/truetype/manrope/Manrope-Bold.ttf",
        ),
        entry(
            Proportional,
            "fonts-cabin",
            "/usr/share/fonts/opentype/cabin/Cabin-Regular.otf",
        ),
        entry(
            Proportional,
            "fonts-cabin",
            "/usr/share/fonts/opentype/cabin/Cabin-Bold.otf",
        ),
        entry(
            Proportional,
            "fonts-adf-switzera",
            "/usr/share/fonts/truetype/adf/SwitzeraADF-Regular.otf",
        ),
        entry(
            Proportional,
            "fonts-adf-switzera",
            "/usr/share/fonts/truetype/adf/SwitzeraADF-BoldCond.otf",
        ),
        entry(
            Proportional,
            "fonts-linuxlibertine",
            "/usr/share/fonts/opentype/linux-libertine/LinBiolinum_R.otf",
        ),
        entry(
            Device,
            "fonts-dseg",
            "/usr/share/fonts/truetype/dseg/DSEG7Classic-Regular.ttf",
        ),
        entry(
            Device,
            "fonts-dseg",
            "/usr/share/fonts/truetype/dseg/DSEG7Classic-BoldItalic.ttf",
        ),
        entry(
            Device,
            "fonts-dseg",
            "/usr/share/fonts/truetype/dseg/DSEG7Modern-Bold.ttf",
        ),
        entry(
            Device,
            "fonts-dseg",
            "/usr/share/fonts/truetype/dseg/DSEG7Modern-LightItalic.ttf",
        ),
        entry(
            Device,
            "fonts-dseg",
            "/usr/share/fonts/truetype/dseg/DSEG14Classic-Regular.ttf",
        ),
        entry(
            Device,
            "fonts-spleen",
            "/usr/share/fonts/opentype/spleen/spleen-8x16.otf",
        ),
        entry(
            Device,
            "fonts-ocr-a",
            "/usr/share/fonts/truetype/ocr-a/OCRA.ttf",
        ),
        entry(
            Device,
            "fonts-3270",
            "/usr/share/fonts/truetype/3270/3270-Regular.ttf",
        ),
        entry(
            Words,
            "fonts-inter",
            "/usr/share/fonts/opentype/inter/Inter-Regular.otf",
        ),
        entry(
            Words,
            "fonts-clear-sans",
            "/usr/share/fonts/truetype/clear-sans/ClearSans-Medium.ttf",
        ),
        entry(
            Words,
            "fonts-cabin",
            "/usr/share/fonts/opentype/cabin/Cabin-Medium.otf",
        ),
    ]
};

/// A loaded font.
pub struct Typeface {
    font: FontVec,
    /// Height of its zero, in shares of ab_glyph's pixel scale.
    zero_height: f32,
}

impl Typeface {
    /// # Errors
    /// [`ErrorKind::CannotOpen`] if the file cannot be read, is no font, or
    /// has no digits.
    pub fn open(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let bytes = std::fs::read(path).map_err(|e| {
            Error::new(ErrorKind::CannotOpen, "the font cannot be read")
                .in_file(path)
                .because(e)
        })?;
        let font = FontVec::try_from_vec_and_index(bytes, 0).map_err(|e| {
            Error::new(ErrorKind::CannotOpen, "not a TrueType or OpenType font")
                .in_file(path)
                .because(e)
        })?;
        const PROBE_PX: f32 = 1000.0;
        let zero = font.glyph_id('0').with_scale(PROBE_PX);
        match font.outline_glyph(zero) {
            Some(outline) if outline.px_bounds().height() > 0.0 => Ok(Self {
                zero_height: outline.px_bounds().height() / PROBE_PX,
                font,
            }),
            _ => Err(Error::new(ErrorKind::CannotOpen, "the font has no digits").in_file(path)),
        }
    }

    fn glyph(&self, c: char, scale: PxScale) -> Option<Glyph> {
        let id = self.font.glyph_id(c);
        if id.0 == 0 {
            return None;
        }
        let per_unit = scale.y / self.font.height_unscaled();
        let advance_px = self.font.h_advance_unscaled(id) * per_unit;
        let Some(outline) = self
            .font
            .outline_glyph(id.with_scale_and_position(scale, point(0.0, 0.0)))
        else {
            return Some(Glyph {
                mask: empty_mask(),
                advance_px,
            });
        };
        let bounds = outline.px_bounds();
        let (width_px, height_px) = (bounds.width() as usize, bounds.height() as usize);
        let mut cover = vec![0.0; width_px * height_px];
        outline.draw(|x, y, c| {
            if let Some(cell) = cover.get_mut(y as usize * width_px + x as usize) {
                *cell = c.clamp(0.0, 1.0);
            }
        });
        Some(Glyph {
            // Some device fonts give their dot no advance of its own.
            advance_px: advance_px.max(bounds.width()),
            mask: Mask {
                width_px,
                height_px,
                left_px: bounds.min.x as i32,
                top_px: bounds.min.y as i32,
                cover,
            },
        })
    }
}

fn empty_mask() -> Mask {
    Mask {
        width_px: 0,
        height_px: 0,
        left_px: 0,
        top_px: 0,
        cover: Vec::new(),
    }
}

/// What digits look like.
#[derive(Clone)]
pub enum Face {
    Segments(SegmentShape),
    Font(Arc<Typeface>),
}

/// One character, drawn.
#[derive(Clone)]
pub struct Glyph {
    pub mask: Mask,
    pub advance_px: f32,
}

/// All characters that a display needs, at one size.
#[derive(Clone)]
pub struct Sheet {
    digit_height_px: f32,
    glyphs: BTreeMap<char, Glyph>,
    /// All segments of a place, for the faint look of the unlit ones.
    blank: Option<Mask>,
    /// The widest digit's advance.
    cell_px: f32,
}

impl Face {
    /// Draws `chars` and the ten digits, digits `digit_height_px` high.
    /// Characters that a face lacks are drawn as its space, a missing `;` as `:`.
    pub fn sheet(&self, digit_height_px: f32, chars: &str) -> Sheet {
        let mut glyphs = BTreeMap::new();
        for c in "0123456789 ".chars().chain(chars.chars()) {
            glyphs
                .entry(c)
                .or_insert_with(|| self.glyph(c, digit_height_px));
        }
        let cell_px = ('0'..='9')
            .map(|c| glyphs[&c].advance_px)
            .fold(0.0, f32::max);
        Sheet {
            digit_height_px,
            glyphs,
            blank: match self {
                Self::Segments(shape) => Some(shape.blank(digit_height_px)),
                Self::Font(_) => None,
            },
            cell_px,
        }
    }

    fn glyph(&self, c: char, height_px: f32) -> Glyph {
        match self {
            Self::Segments(shape) => match c.to_digit(10) {
                Some(digit) => Glyph {
                    mask: shape.digit(digit as u8, height_px),
                    advance_px: shape.digit_advance() * height_px,
                },
                None => Glyph {
                    mask: shape.mark(c, height_px),
                    advance_px: shape.mark_advance() * height_px,
                },
            },
            Self::Font(face) => {
                let scale = PxScale::from(height_px / face.zero_height);
                face.glyph(c, scale)
                    .or_else(|| face.glyph(if c == ';' { ':' } else { ' ' }, scale))
                    .unwrap_or(Glyph {
                        mask: empty_mask(),
                        advance_px: height_px * 0.4,
                    })
            }
        }
    }
}

/// A text laid out from a pen at (0, 0), on the baseline.
#[derive(Clone, Debug)]
pub struct Line {
    /// Characters with the pen position of each.
    pub pens: Vec<(char, i32)>,
    /// Where digits are drawn: from the first to the last, digit height. In a
    /// line of equal cells it does not depend on the digits.
    pub ink: Area,
    pub advance_px: f32,
}

impl Sheet {
    pub const fn digit_height_px(&self) -> f32 {
        self.digit_height_px
    }

    pub fn glyph(&self, c: char) -> &Glyph {
        // The space is always there: `Face::sheet` draws it.
        self.glyphs.get(&c).unwrap_or_else(|| &self.glyphs[&' '])
    }

    pub const fn blank(&self) -> Option<&Mask> {
        self.blank.as_ref()
    }

    /// Lays out a text; `is_even` gives every digit the widest digit's cell.
    pub fn lay(&self, text: &str, is_even: bool) -> Line {
        let mut pen = 0.0f32;
        let mut pens = Vec::with_capacity(text.len());
        let mut ink: Option<(f32, f32)> = None;
        for c in text.chars() {
            let glyph = self.glyph(c);
            let is_cell = is_even && c.is_ascii_digit();
            let (advance, inset) = if is_cell {
                (self.cell_px, (self.cell_px - glyph.advance_px) / 2.0)
            } else {
                (glyph.advance_px, 0.0)
            };
            let at = (pen + inset).round() as i32;
            pens.push((c, at));
            if c.is_ascii_digit() {
                // A 1 has as much right to its cell as a 0.
                let (shape, at) = if is_cell {
                    let zero = self.glyph('0');
                    (
                        zero,
                        (pen + (self.cell_px - zero.advance_px) / 2.0).round() as i32,
                    )
                } else {
                    (glyph, at)
                };
                let left = (at + shape.mask.left_px) as f32;
                let right = left + shape.mask.width_px as f32;
                ink = Some(ink.map_or((left, right), |(l, r)| (l.min(left), r.max(right))));
            }
            pen += advance;
        }
        let (left, right) = ink.unwrap_or((0.0, pen));
        Line {
            pens,
            ink: Area::new(left, -self.digit_height_px, right, 0.0),
            advance_px: pen,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rehearse::scene::PHOTOS;
    use crate::rehearse::segments::SegmentEnds;

    fn segments() -> Face {
        Face::Segments(SegmentShape {
            slant: 0.1,
            ends: SegmentEnds::Round,
            ..SegmentShape::PLAIN
        })
    }

    /// Other fonts and photos than those the reader is trained and tuned with, or measuring
    /// means nothing. `scripts/train/assets` lists those, each in an array of packages.
    #[test]
    fn training_and_measuring_share_no_package() {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/scripts/train/assets");
        let script = std::fs::read_to_string(script).unwrap();
        let mut trained = Vec::new();
        for array in [
            "train_fonts=(",
            "texlive_fonts=(",
            "odd_fonts=(",
            "tune_fonts=(",
            "choose_fonts=(",
            "train_photos=(",
            "tune_photos=(",
        ] {
            let (_, rest) = script.split_once(array).unwrap();
            let (packages, _) = rest.split_once(')').unwrap();
            trained.extend(packages.split_whitespace());
        }
        assert!(trained.len() > 20 && trained.contains(&"fonts-dejavu"));
        let photos = PHOTOS.map(package_of_photo);
        let photos = photos.iter().map(String::as_str);
        for package in FONTS.iter().map(|font| font.package).chain(photos) {
            // One family may come in several packages: fonts-roboto, fonts-roboto-slab.
            let goes_on = |a: &str, b: &str| a.strip_prefix(b).is_some_and(|r| r.starts_with('-'));
            // Of TeX Live the folders are listed, maker/family, without dashes.
            let family = package.trim_start_matches("fonts-").replace('-', "");
            let is_family = |t: &str| t.split_once('/').is_some_and(|(_, name)| name == family);
            let is_shared = |t: &&str| {
                *t == package || goes_on(t, package) || goes_on(package, t) || is_family(t)
            };
            let shared = trained.iter().copied().find(is_shared);
            assert_eq!(shared, None, "{package}");
        }
    }

    /// The Debian package of a photo, by the table of them in `docs/rehearsal.md`: a row without one
    /// belongs to the row above it.
    fn package_of_photo(path: &str) -> String {
        let page = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/rehearsal.md");
        let page = std::fs::read_to_string(page).unwrap();
        let (_, table) = page.split_once("| Package | Photo |").unwrap();
        let stem = Path::new(path).file_stem().unwrap().to_str().unwrap();
        let name = stem.split("_by_").next().unwrap();
        let mut package = String::new();
        for row in table.lines().skip(2) {
            let cells: Vec<&str> = row.split('|').map(str::trim).collect();
            let &[_, of_package, photos, ..] = &cells[..] else {
                break;
            };
            if !of_package.is_empty() {
                package = of_package.to_owned();
            }
            if photos.split(", ").any(|photo| photo == name) {
                return package;
            }
        }
        panic!("{name} has no row in docs/rehearsal.md");
    }

    #[test]
    fn even_lines_keep_their_outline() {
        let sheet = segments().sheet(40.0, ":");
        let a = sheet.lay("11:11:11:11", true);
        let b = sheet.lay("20:48:36:07", true);
        assert_eq!(a.ink, b.ink);
        assert_eq!(a.ink.height(), 40.0);
    }

    #[test]
    fn every_font_has_every_digit_at_the_asked_height() {
        for font in &FONTS {
            let face = Face::Font(Arc::new(Typeface::open(font.path).unwrap()));
            let sheet = face.sheet(50.0, ":;.");
            for digit in '0'..='9' {
                let mask = &sheet.glyph(digit).mask;
                let ink: f32 = mask.cover.iter().sum();
                assert!(ink > 40.0, "{} {digit}: {ink}", font.path);
                assert!(
                    (mask.height_px as f32 - 50.0).abs() < 12.0,
                    "{} {digit}",
                    font.path
                );
            }
            let zero = &sheet.glyph('0').mask;
            assert!((zero.height_px as f32 - 50.0).abs() <= 2.0, "{}", font.path);
        }
    }

    #[test]
    fn a_text_is_no_font() {
        let error = Typeface::open("/etc/hostname").err().unwrap();
        assert_eq!(error.kind(), ErrorKind::CannotOpen);
        assert!(error.to_string().contains("/etc/hostname"));
    }
}
