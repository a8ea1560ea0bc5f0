//! What lies behind the last digits of a display: even ground up to where the display ends, or
//! something that may be more of them.

use super::display::Display;
use super::eye::Eye;
use super::pyramid::Pyramid;
use super::rectify::{Room, Strip};
use super::row::{Beside, Row};

/// Where a mark and the first digit behind it would stand. Frames were out of sight in 13 clips:
/// small and far away, dim, under a finger or a sticker, beyond the picture's edge. In ten their mark
/// was in plain view at 0.1 to 0.7 heights, in the others the picture ended.
const BEHIND: Beside = Beside {
    along: (0.1, 1.2),
    across: (0.0, 1.0),
};
/// No surroundings but those above and below, three tenths of a height each.
const BARE: Room = Room {
    margin: 0.0,
    step_px: 4,
};
/// Share of the digits' own contrast by which ground differs that is even: of 20 clips whose clocks
/// show seconds alone 0.01 to 0.13 up to where the display ends, of such marks 0.5 and more.
const EVEN: f32 = 0.2;
/// Columns next to the digits by which their ground is known, and how many are taken together.
const KNOWN_COLUMNS: u32 = 3;
const TOGETHER: u32 = 2;
/// Rows above and below the digits, each, that marks do not reach and the edge of a display does.
const BEYOND_ROWS: usize = 4;
const FEWEST_BEYOND: usize = 3;
/// Such an edge crosses all rows, or nearly so, within so many columns, as it may lean.
const LEANING_COLUMNS: usize = 8;
const FEWEST_OF_AN_EDGE: usize = 26;
/// Rows in which a mark differs from the ground: a dot is as tall.
const FEWEST_OF_A_MARK: usize = 2;

impl Eye {
    /// True if even ground lies behind the last digits of a display, those of its last row, as far as
    /// a mark and one more digit would reach, or up to an edge of the display before that. False where
    /// the picture ends.
    pub fn is_ground_even(&self, frame: &Pyramid, display: &Display) -> bool {
        let last = display.rows.last();
        last.is_some_and(|row| is_even_behind(frame, row))
    }
}

pub(super) fn is_even_behind(frame: &Pyramid, row: &Row) -> bool {
    let strips = [row.quad, row.beside(&BEHIND)].map(|quad| Strip::cut(frame, &quad, BARE));
    let [Some(digits), Some(ground)] = strips else {
        return false;
    };
    let most = EVEN * ink(&digits);
    let changed: Vec<Vec<bool>> = columns_of(&ground)
        .map(|column| column.map(|difference| difference > most).collect())
        .collect();
    for (at, rows) in changed.iter().enumerate() {
        if ground.is_cut_off(at as f32 + 0.5, 0.5) {
            return false;
        }
        let count = |rows: &[bool]| rows.iter().filter(|&&is| is).count();
        let (above, rest) = rows.split_at(BEYOND_ROWS);
        let (beside, below) = rest.split_at(rest.len() - BEYOND_ROWS);
        if [above, below].map(count).into_iter().max() >= Some(FEWEST_BEYOND) {
            let mut leaning = changed[at..].iter().take(LEANING_COLUMNS);
            return leaning.any(|rows| count(rows) >= FEWEST_OF_AN_EDGE);
        }
        if count(beside) >= FEWEST_OF_A_MARK {
            return false;
        }
    }
    true
}

/// The contrast of digits to their ground: three in four columns of a line of them have less, as
/// nothing stands between them.
fn ink(digits: &Strip) -> f32 {
    let mut contrasts: Vec<f32> = (0..digits.luma.width())
        .map(|x| digits.contrast(x as f32, TOGETHER as f32))
        .collect();
    contrasts.sort_by(f32::total_cmp);
    contrasts[contrasts.len() * 3 / 4]
}

/// By how much each column of a strip differs, row by row, from the first ones.
fn columns_of(strip: &Strip) -> impl Iterator<Item = impl Iterator<Item = f32>> {
    let mean = |from: u32, count: u32, y: u32| {
        let sum: u32 = (from..from + count)
            .map(|x| u32::from(strip.luma.get_pixel(x, y)[0]))
            .sum();
        sum as f32 / count as f32
    };
    let (width, height) = strip.luma.dimensions();
    (0..=width - TOGETHER).map(move |x| {
        (0..height).map(move |y| (mean(x, TOGETHER, y) - mean(0, KNOWN_COLUMNS, y)).abs())
    })
}

#[cfg(test)]
mod tests {
    use super::super::row::tests::{level, row};
    use super::*;
    use crate::geometry::Quad;
    use image::{GrayImage, Luma};
    use imageproc::drawing::{draw_filled_rect_mut, draw_polygon_mut};
    use imageproc::point::Point;
    use imageproc::rect::Rect;

    /// A stroke's upper left corner and its size, px.
    type Stroke = ((i32, i32), (u32, u32));

    /// A line of digits 40 px tall whose right edge lies at x = 340, as strokes on a dark ground.
    const LINE: [f32; 4] = [100.0, 80.0, 240.0, 40.0];

    fn line_on(width: u32) -> (GrayImage, Quad) {
        let mut frame = GrayImage::from_pixel(width, 200, Luma([30]));
        for x in (104..330).step_by(20) {
            stroke(&mut frame, ((x, 80), (8, 40)));
        }
        let [left, top, length, height] = LINE;
        (frame, level(left, top, length, height))
    }

    fn stroke(frame: &mut GrayImage, ((x, y), (width, height)): Stroke) {
        draw_filled_rect_mut(frame, Rect::at(x, y).of_size(width, height), Luma([220]));
    }

    fn is_even(frame: GrayImage, quad: Quad) -> bool {
        is_even_behind(&Pyramid::new(frame), &row(quad))
    }

    #[test]
    fn even_ground_goes_on_or_ends_with_the_display() {
        let (frame, quad) = line_on(600);
        assert!(is_even(frame, quad));
        for (x, lean) in [(354, 0), (360, 0), (360, 6), (372, -6)] {
            let (mut frame, quad) = line_on(600);
            let corners = [(x, 0), (599, 0), (599, 199), (x + lean, 199)];
            let corners = corners.map(|(x, y)| Point::new(x, y));
            draw_polygon_mut(&mut frame, &corners, Luma([120]));
            assert!(is_even(frame, quad), "{x} {lean}");
        }
    }

    #[test]
    fn marks_small_digits_and_the_edge_of_the_picture_are_no_even_ground() {
        // A colon, a dot, digits of half the size, dim ones, a sticker as tall as digits.
        let marks: [&[Stroke]; 4] = [
            &[((350, 90), (5, 5)), ((350, 105), (5, 5))],
            &[((352, 113), (6, 6))],
            &[((362, 100), (3, 20)), ((370, 100), (3, 20))],
            &[((356, 78), (60, 44))],
        ];
        for mark in marks {
            let (mut frame, quad) = line_on(600);
            for &mark in mark {
                stroke(&mut frame, mark);
            }
            assert!(!is_even(frame, quad), "{mark:?}");
        }
        let (frame, quad) = line_on(352);
        assert!(!is_even(frame, quad));
    }

    /// Hours and minutes over seconds: frames would stand behind the seconds.
    #[test]
    fn of_a_display_in_two_rows_the_ground_behind_the_last_counts() {
        let mark = |y: i32| [((350, y + 10), (5, 5)), ((350, y + 25), (5, 5))];
        for (marks, is_free) in [
            (None, true),
            (Some(mark(20)), true),
            (Some(mark(80)), false),
        ] {
            let (mut frame, last) = line_on(600);
            let first = level(LINE[0], 20.0, LINE[2], LINE[3]);
            for mark in marks.into_iter().flatten() {
                stroke(&mut frame, mark);
            }
            let display = Display {
                rows: [first, last].map(row).to_vec(),
                presence: 1.0,
            };
            let eye = Eye::open().unwrap();
            assert_eq!(
                eye.is_ground_even(&Pyramid::new(frame), &display),
                is_free,
                "{marks:?}"
            );
        }
    }

    #[test]
    fn a_line_too_short_to_be_cut_out_has_no_even_ground() {
        let (frame, _) = line_on(600);
        assert!(!is_even(frame, level(100.0, 80.0, 0.4, 40.0)));
    }
}
