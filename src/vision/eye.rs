//! The two gears of seeing: *discover* displays in a frame; *follow* a known one.

use super::find::{Line, Sharpness, find_lines, find_lines_near};
use super::layout::{Group, clocks_in, is_clock, layout_of, stretches};
use super::net::{self, Net};
use super::pyramid::Pyramid;
use super::read::{Columns, read_strip};
use super::rectify::{DIGIT_PX, Strip};
use crate::error::Result;
use crate::frame::Stamp;
use crate::geometry::{Point, Quad};
use crate::reading::{Layout, MarkOdds, Reading};
use image::GrayImage;

/// Lines read per frame at most; a frame full of numbers must not stall the search.
const MOST_LINES: usize = 16;
/// Surroundings taken into a strip, in digit heights, before and after the line.
const DISCOVER_MARGIN: f32 = 1.0;
const FOLLOW_MARGIN: f32 = 1.6;
/// Side of the square looked at when following, px of the level; a multiple of 32.
/// At digit heights of 9.5 to 19 px a line of eleven characters fits with room to move.
const FOLLOW_SIDE_PX: u32 = 256;
/// Legibility above which a line is not tried upside down.
const SURELY_UPRIGHT: f32 = 0.97;
/// How much more legible upside down must be: the finder, which sees the surroundings,
/// is right more often than not.
const TURNED_MARGIN: f32 = 0.05;
/// Mean digit probability over the places below which a display counts as lost.
const LEAST_PRESENCE: f32 = 0.35;

/// One row of a display: where it is and where its places lie along it.
#[derive(Clone, Debug, PartialEq)]
struct Row {
    /// From the first to the last place's cell, presented pixels.
    quad: Quad,
    /// Middles of the places along the quad, in digit heights from its left edge.
    places: Vec<f32>,
    /// Length of the quad in digit heights.
    length: f32,
    /// Digit heights between neighbouring places of a group.
    pitch: f32,
    /// Sizes of the groups in this row.
    groups: Vec<u8>,
}

/// A display as it was last seen: its layout and its one or two rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Display {
    rows: Vec<Row>,
    /// Mean probability, over the places, that a digit stands there; 0..=1.
    pub presence: f32,
}

/// A display found again, and what it shows.
#[derive(Clone, Debug)]
pub struct Followed {
    /// The display at its new place: the argument for the next frame.
    pub display: Display,
    pub reading: Reading,
    /// The rectified rows, top row first, for those who want to look.
    pub strips: Vec<GrayImage>,
}

impl Display {
    /// Groups over all rows.
    pub fn layout(&self) -> Layout {
        Layout {
            groups: self
                .rows
                .iter()
                .flat_map(|r| r.groups.iter().copied())
                .collect(),
        }
    }

    /// Outline of all digits: the only row's quad, or the hull of both along the first.
    pub fn quad(&self) -> Quad {
        let (first, last) = (&self.rows[0].quad, &self.rows[self.rows.len() - 1].quad);
        if self.rows.len() == 1 {
            return *first;
        }
        let ahead = direction(first);
        let along = |p: Point| p.x * ahead.x + p.y * ahead.y;
        let pick = |a: Point, b: Point, want_less: bool| {
            if (along(a) < along(b)) == want_less {
                a
            } else {
                b
            }
        };
        Quad {
            top_left: first.top_left,
            top_right: pick(first.top_right, last.top_right, false),
            bottom_right: pick(last.bottom_right, first.bottom_right, false),
            bottom_left: pick(last.bottom_left, first.bottom_left, true),
        }
    }

    /// True if the two stand at one place of the frame with one layout.
    pub fn is_same_as(&self, other: &Self) -> bool {
        let (a, b) = (self.quad(), other.quad());
        self.layout() == other.layout()
            && a.centre().distance(b.centre()) < a.height_px().max(b.height_px())
    }
}

fn direction(quad: &Quad) -> Point {
    let a = quad.top_left.towards(quad.bottom_left, 0.5);
    let b = quad.top_right.towards(quad.bottom_right, 0.5);
    let n = a.distance(b).max(1e-6);
    Point::new((b.x - a.x) / n, (b.y - a.y) / n)
}

/// The networks, loaded once.
pub struct Eye {
    finder: Box<dyn Net>,
    reader: Box<dyn Net>,
}

impl Eye {
    /// Loads the built-in networks.
    ///
    /// # Errors
    /// [`crate::error::ErrorKind::Model`] if they do not load: a broken build.
    pub fn open() -> Result<Self> {
        Ok(Self {
            finder: net::finder()?,
            reader: net::reader()?,
        })
    }

    /// All lines of digits in the frame, clocks or not, surest first.
    pub fn lines(&self, frame: &Pyramid, sharpness: Sharpness) -> Result<Vec<Line>> {
        find_lines(&*self.finder, frame, sharpness)
    }

    /// Displays in the frame whose digits are grouped like a running clock, likeliest
    /// first. Whether they run is not known yet.
    pub fn discover(&self, frame: &Pyramid, sharpness: Sharpness) -> Result<Vec<Display>> {
        let mut singles: Vec<Display> = Vec::new();
        let mut pieces: Vec<Row> = Vec::new();
        for line in self.lines(frame, sharpness)?.iter().take(MOST_LINES) {
            let Some((strip, columns)) = self.look_both_ways(frame, &line.quad)? else {
                continue;
            };
            for stretch in stretches(&columns.characters()) {
                for groups in clocks_in(&stretch) {
                    let presence = presence(&columns, &groups);
                    singles.extend(Row::new(&strip, &groups).map(|row| Display {
                        rows: vec![row],
                        presence,
                    }));
                }
                if stretch.len() <= 3 {
                    pieces.extend(Row::new(&strip, &stretch));
                }
            }
        }
        singles.extend(pairs(&pieces));
        singles.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
        Ok(singles)
    }

    /// Finds a display again near where it was and reads it. `None` if it is not there.
    pub fn follow(
        &self,
        frame: &Pyramid,
        last: &Display,
        stamp: Stamp,
    ) -> Result<Option<Followed>> {
        let mut rows = Vec::new();
        let (mut places, mut strips) = (Vec::new(), Vec::new());
        let mut last_mark = MarkOdds::UNKNOWN;
        let (mut total, mut count) = (0.0, 0);
        for row in &last.rows {
            let quad = self.find_again(frame, row)?;
            let Some((strip, columns)) = self.look(frame, &quad, FOLLOW_MARGIN)? else {
                return Ok(None);
            };
            let fit = row.align(&columns);
            total += fit.presence * row.places.len() as f32;
            count += row.places.len();
            let xs: Vec<f32> = row.places.iter().map(|&p| fit.at(p)).collect();
            let reach = 0.3 * row.pitch * DIGIT_PX * fit.scale;
            places.extend(xs.iter().map(|&x| columns.odds_near(x, reach)));
            if row.groups.len() > 1 {
                let first_of_last = xs.len() - usize::from(row.groups[row.groups.len() - 1]);
                last_mark = columns.mark_between(xs[first_of_last - 1], xs[first_of_last]);
            }
            let quad = strip.quad_between(fit.at(0.0), fit.at(row.length));
            rows.push(Row {
                quad,
                ..row.clone()
            });
            strips.push(strip.luma);
        }
        let presence = total / count.max(1) as f32;
        if presence < LEAST_PRESENCE {
            return Ok(None);
        }
        let display = Display { rows, presence };
        let reading = Reading {
            stamp,
            places,
            last_mark,
            quad: display.quad(),
        };
        Ok(Some(Followed {
            display,
            reading,
            strips,
        }))
    }

    /// The row's quad in this frame: the finder's line that goes best with it, or where it was.
    fn find_again(&self, frame: &Pyramid, row: &Row) -> Result<Quad> {
        let near = find_lines_near(&*self.finder, frame, &row.quad, FOLLOW_SIDE_PX)?;
        let best = near
            .iter()
            .filter_map(|line| Some((row.overlap_with(&line.quad)?, line)))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        Ok(best.map_or(row.quad, |(overlap, line)| {
            row.carried_to(&line.quad, overlap)
        }))
    }

    /// Reads a line as the finder turned it and upside down, and keeps what reads better:
    /// seven segments make digits both ways, and the finder errs on short lines.
    fn look_both_ways(&self, frame: &Pyramid, quad: &Quad) -> Result<Option<(Strip, Columns)>> {
        let Some(upright) = self.look(frame, quad, DISCOVER_MARGIN)? else {
            return Ok(None);
        };
        if upright.1.characters().len() < 4 || upright.1.legibility() > SURELY_UPRIGHT {
            return Ok(Some(upright));
        }
        let [a, b, c, d] = quad.corners();
        let turned = self.look(frame, &Quad::from_corners([c, d, a, b]), DISCOVER_MARGIN)?;
        let bar = upright.1.legibility() + TURNED_MARGIN;
        Ok(turned.filter(|t| t.1.legibility() > bar).or(Some(upright)))
    }

    fn look(&self, frame: &Pyramid, quad: &Quad, margin: f32) -> Result<Option<(Strip, Columns)>> {
        let Some(strip) = Strip::cut(frame, quad, margin) else {
            return Ok(None);
        };
        let columns = read_strip(&*self.reader, &strip)?;
        Ok(Some((strip, columns)))
    }
}

/// Larger and surer displays first; a fuller clock (with frames) before a lesser one.
fn worth(display: &Display) -> f32 {
    let places: usize = display.rows.iter().map(|r| r.places.len()).sum();
    let small = (display.quad().height_px() / 12.0).min(1.0);
    display.presence * places as f32 * small - 0.5 * (display.rows.len() - 1) as f32
}

fn presence(columns: &Columns, groups: &[Group]) -> f32 {
    let xs: Vec<f32> = groups
        .iter()
        .flat_map(|g| g.places.iter().copied())
        .collect();
    xs.iter().map(|&x| columns.digit_at(x)).sum::<f32>() / xs.len().max(1) as f32
}

/// Two rows that make one clock: the second below the first or behind it.
fn pairs(pieces: &[Row]) -> Vec<Display> {
    let mut found = Vec::new();
    for (i, a) in pieces.iter().enumerate() {
        for (j, b) in pieces.iter().enumerate() {
            if i == j || !belongs_after(&a.quad, &b.quad) {
                continue;
            }
            let display = Display {
                rows: vec![a.clone(), b.clone()],
                presence: 0.8,
            };
            if is_clock(&display.layout()) {
                found.push(display);
            }
        }
    }
    found
}

/// True if `b` stands right below `a` or just behind it, turned the same way.
fn belongs_after(a: &Quad, b: &Quad) -> bool {
    let (ahead, b_ahead) = (direction(a), direction(b));
    let (ca, cb) = (a.centre(), b.centre());
    let step = Point::new(cb.x - ca.x, cb.y - ca.y);
    let along = step.x * ahead.x + step.y * ahead.y;
    let down = -step.x * ahead.y + step.y * ahead.x;
    let (ha, hb) = (a.height_px(), b.height_px());
    let reach = ha.max(hb);
    let is_below = (0.8 * ha.min(hb)..2.5 * reach).contains(&down)
        && along.abs() < 0.5 * a.length_px().max(b.length_px()) + reach;
    let gap = along - (a.length_px() + b.length_px()) / 2.0;
    let is_behind = down.abs() < 0.8 * reach && (-0.5 * reach..2.5 * reach).contains(&gap);
    ahead.x * b_ahead.x + ahead.y * b_ahead.y > 0.95
        && (0.35..2.9).contains(&(ha / hb))
        && (is_below || is_behind)
}

/// Where a row's places lie in a strip.
struct Alignment {
    /// Strip px of the row quad's left edge.
    offset: f32,
    /// 1.0 when the row is as long as it was.
    scale: f32,
    /// Mean digit probability over the places.
    presence: f32,
}

impl Alignment {
    /// Strip px of a position along the row, given in digit heights.
    fn at(&self, position: f32) -> f32 {
        self.offset + position * DIGIT_PX * self.scale
    }
}

impl Row {
    /// From the groups of a stretch; `None` without two places to measure a pitch by.
    fn new(strip: &Strip, groups: &[Group]) -> Option<Self> {
        let xs: Vec<f32> = groups
            .iter()
            .flat_map(|g| g.places.iter().copied())
            .collect();
        let mut steps: Vec<f32> = groups
            .iter()
            .flat_map(|g| g.places.windows(2).map(|w| w[1] - w[0]))
            .collect();
        steps.sort_by(f32::total_cmp);
        let pitch = *steps.get(steps.len() / 2)?;
        let (left, right) = (xs[0] - pitch / 2.0, xs[xs.len() - 1] + pitch / 2.0);
        Some(Self {
            quad: strip.quad_between(left, right),
            places: xs.iter().map(|x| (x - left) / DIGIT_PX).collect(),
            length: (right - left) / DIGIT_PX,
            pitch: pitch / DIGIT_PX,
            groups: layout_of(groups).groups,
        })
    }

    /// Shared length over joint length of the row and a line, along the row; `None` if the
    /// line is turned otherwise, of another height, off to the side, or covers less than
    /// three fifths of the row.
    fn overlap_with(&self, line: &Quad) -> Option<f32> {
        let (ahead, line_ahead) = (direction(&self.quad), direction(line));
        let height = self.quad.height_px();
        let (own, seen) = (self.quad.centre(), line.centre());
        let (dx, dy) = (seen.x - own.x, seen.y - own.y);
        let (along, aside) = (dx * ahead.x + dy * ahead.y, dx * -ahead.y + dy * ahead.x);
        let is_alike = ahead.x * line_ahead.x + ahead.y * line_ahead.y > 0.85
            && (0.6..1.6).contains(&(line.height_px() / height))
            && aside.abs() < 1.2 * height;
        let (a, b) = (self.quad.length_px() / 2.0, line.length_px() / 2.0);
        let shared = a.min(along + b) - (-a).max(along - b);
        let joint = a.max(along + b) - (-a).min(along - b);
        (is_alike && shared > 1.2 * a).then_some(shared / joint)
    }

    /// The row's quad moved onto a line that the finder saw. Where the line is cut short
    /// or runs on (dark digits, other digits beside, the edge of the picture looked at),
    /// only its direction and height count, and the row keeps its place along it.
    fn carried_to(&self, line: &Quad, overlap: f32) -> Quad {
        let ahead = direction(line);
        let is_whole = overlap > 0.85;
        // The display does not change its proportions: the length of a whole line, which
        // the finder measures well, tells the height better than the height it guesses.
        let height = if is_whole {
            line.length_px() / self.length
        } else {
            self.quad.height_px()
        };
        let (seen, own) = (line.centre(), self.quad.centre());
        let along = (own.x - seen.x) * ahead.x + (own.y - seen.y) * ahead.y;
        let slide = if is_whole { 0.0 } else { along };
        let centre = Point::new(seen.x + ahead.x * slide, seen.y + ahead.y * slide);
        let (left, right) = (
            line.top_left.distance(line.bottom_left),
            line.top_right.distance(line.bottom_right),
        );
        let taper = (right / left.max(1e-6)).clamp(0.8, 1.25).sqrt();
        let up = {
            let top = line.top_left.towards(line.top_right, 0.5);
            let bottom = line.bottom_left.towards(line.bottom_right, 0.5);
            let n = top.distance(bottom).max(1e-6);
            Point::new((top.x - bottom.x) / n, (top.y - bottom.y) / n)
        };
        let half = self.length * height / 2.0;
        let corner = |t: f32, lift: f32| {
            let lift = lift * height / 2.0 * if t > 0.0 { taper } else { 1.0 / taper };
            Point::new(
                centre.x + ahead.x * t + up.x * lift,
                centre.y + ahead.y * t + up.y * lift,
            )
        };
        Quad::from_corners([
            corner(-half, 1.0),
            corner(half, 1.0),
            corner(half, -1.0),
            corner(-half, -1.0),
        ])
    }

    /// Slides and stretches the row's places over the strip until the middle of a digit
    /// is on each of them and none is just outside: a line of even pitch fits itself one
    /// place off, too. Places weigh in even where dark, so a few lit ones suffice.
    fn align(&self, columns: &Columns) -> Alignment {
        let middles = columns.middles(0.16 * self.pitch * DIGIT_PX);
        let at = |x: f32| {
            if x < 0.0 {
                0.0
            } else {
                middles.get(x as usize).copied().unwrap_or(0.0)
            }
        };
        let last = self.places[self.places.len() - 1];
        let mut best = (f32::MIN, 0.0, 1.0);
        for step in -8..=8 {
            let scale = 1.0 + 0.025 * step as f32;
            let mut offset = -DIGIT_PX;
            while offset + self.length * DIGIT_PX * scale < middles.len() as f32 + DIGIT_PX {
                let trial = Alignment {
                    offset,
                    scale,
                    presence: 0.0,
                };
                let hit: f32 = self.places.iter().map(|&p| at(trial.at(p))).sum();
                let outside =
                    at(trial.at(self.places[0] - self.pitch)) + at(trial.at(last + self.pitch));
                let score = hit - 0.7 * outside - 2.0 * (scale - 1.0).abs();
                if score > best.0 {
                    best = (score, offset, scale);
                }
                offset += 1.0;
            }
        }
        let (_, offset, scale) = best;
        let found = Alignment {
            offset,
            scale,
            presence: 0.0,
        };
        let hit: f32 = self
            .places
            .iter()
            .map(|&p| columns.digit_at(found.at(p)))
            .sum();
        Alignment {
            presence: hit / self.places.len() as f32,
            ..found
        }
    }
}
