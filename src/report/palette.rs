//! The colours, by day and by night. One table, so that the style sheet and the check of
//! its contrast cannot differ.

use std::fmt::Write;

/// A colour by its role.
struct Colour {
    /// Name of the style sheet's variable.
    name: &'static str,
    /// sRGB, `0xRRGGBB`.
    light: u32,
    dark: u32,
    /// What it must stand out from and by how much.
    #[cfg_attr(
        not(test),
        expect(dead_code, reason = "what the contrast check goes by")
    )]
    on: &'static [(&'static str, f64)],
}

/// Text as small as it likes to be: WCAG 2.2, success criterion 1.4.3, level AA.
const TEXT: f64 = 4.5;
/// Shapes that carry meaning: WCAG 2.2, success criterion 1.4.11.
const SHAPE: f64 = 3.0;

const COLOURS: &[Colour] = &[
    colour("paper", 0xfbfaf6, 0x15171a, &[]),
    colour("sheet", 0xf1efe8, 0x1e2125, &[]),
    colour("rule", 0xd8d4c8, 0x34383e, &[]),
    colour(
        "edge",
        0x85806f,
        0x7b8089,
        &[("paper", SHAPE), ("sheet", SHAPE)],
    ),
    colour(
        "ink",
        0x1c1e22,
        0xece9e2,
        &[("paper", TEXT), ("sheet", TEXT), ("eye-wash", TEXT)],
    ),
    colour(
        "quiet",
        0x595d63,
        0xa9adb3,
        &[("paper", TEXT), ("sheet", TEXT), ("eye-wash", TEXT)],
    ),
    colour(
        "link",
        0x1f4f82,
        0x8fbdf0,
        &[("paper", TEXT), ("sheet", TEXT)],
    ),
    colour(
        "ready",
        0x1e6650,
        0x74c7a5,
        &[("paper", TEXT), ("sheet", TEXT)],
    ),
    colour(
        "eye",
        0x8f4700,
        0xf2ab62,
        &[("paper", TEXT), ("sheet", TEXT), ("eye-wash", TEXT)],
    ),
    colour("eye-wash", 0xfbf2e1, 0x2f2619, &[]),
    colour(
        "nostart",
        0x8a2b39,
        0xf0969c,
        &[("paper", TEXT), ("sheet", TEXT)],
    ),
    colour(
        "on-fill",
        0xffffff,
        0x101214,
        &[
            ("ready", TEXT),
            ("eye", TEXT),
            ("nostart", TEXT),
            ("link", TEXT),
        ],
    ),
];

const fn colour(
    name: &'static str,
    light: u32,
    dark: u32,
    on: &'static [(&'static str, f64)],
) -> Colour {
    Colour {
        name,
        light,
        dark,
        on,
    }
}

/// The variables of the style sheet. Paper is always light, whatever the screen was.
pub fn css() -> String {
    let block = |pick: fn(&Colour) -> u32| {
        COLOURS.iter().fold(String::new(), |mut css, colour| {
            let _ = write!(css, "--{}:#{:06x};", colour.name, pick(colour));
            css
        })
    };
    format!(
        ":root{{color-scheme:light;{}}}\
         @media screen and (prefers-color-scheme:dark){{:root{{color-scheme:dark;{}}}}}",
        block(|colour| colour.light),
        block(|colour| colour.dark)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance of an sRGB colour: WCAG 2.2, definition of that name.
    fn luminance(rgb: u32) -> f64 {
        let channel = |shift: u32| {
            let value = f64::from(rgb >> shift & 0xff) / 255.0;
            if value <= 0.04045 {
                value / 12.92
            } else {
                ((value + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * channel(16) + 0.7152 * channel(8) + 0.0722 * channel(0)
    }

    /// WCAG 2.2, definition of contrast ratio.
    fn contrast(one: u32, other: u32) -> f64 {
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    #[test]
    fn the_formula_gives_the_published_extremes() {
        // Black on white is 21:1, and #767676 the lightest grey that passes on white.
        assert!((contrast(0, 0xffffff) - 21.0).abs() < 1e-9);
        assert!(contrast(0x767676, 0xffffff) >= TEXT);
        assert!(contrast(0x777777, 0xffffff) < TEXT);
    }

    #[test]
    fn every_colour_stands_out_from_what_it_lies_on() {
        let find = |name: &str| COLOURS.iter().find(|c| c.name == name).expect(name);
        let mut checked = 0;
        for colour in COLOURS {
            for &(ground, least) in colour.on {
                let ground = find(ground);
                for (one, other, mode) in [
                    (colour.light, ground.light, "light"),
                    (colour.dark, ground.dark, "dark"),
                ] {
                    let found = contrast(one, other);
                    assert!(
                        found >= least,
                        "{} on {}, {mode}: {found:.2} is below {least}",
                        colour.name,
                        ground.name
                    );
                    checked += 1;
                }
            }
        }
        assert!(checked >= 40, "only {checked} pairs");
    }

    #[test]
    fn the_style_sheet_uses_no_colour_of_its_own() {
        let sheet = include_str!("page.css");
        for (at, _) in sheet.match_indices('#') {
            let digits = sheet[at + 1..]
                .chars()
                .take_while(char::is_ascii_hexdigit)
                .count();
            assert!(digits < 3, "a colour in {:?}", &sheet[at..at + 8]);
        }
        assert!(!sheet.contains("rgb("));
        for used in sheet.split("var(--").skip(1) {
            let name = &used[..used.find([')', ',']).expect("a closing bracket")];
            assert!(
                COLOURS.iter().any(|c| c.name == name)
                    || sheet.contains(&format!("--{name}:"))
                    || name == "row"
                    || name == "rows",
                "--{name} is not defined"
            );
        }
    }
}
