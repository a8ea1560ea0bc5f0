//! From cells that the finder marked to lines of digits: touching cells that agree make one.

use super::cells::{CELL_PX, Cell, Cells};
use crate::geometry::{Point, Quad};

/// A line needs one cell as sure as this.
const SEED_LOGIT: f32 = 0.0;
/// Neighbouring cells whose middles lie further apart than this share of the digit height,
/// across the line, belong to two rows: rows stand at least one height apart.
const ROW_STEP: f32 = 0.5;
/// Most a line's height may change from its middle to an end, in powers of two: a display
/// tilted by 35 degrees and held as near as it is wide reaches this; beyond it the
/// finder's guesses of single cells were led astray by something beside the line.
const MOST_TAPER: f32 = 0.3;

/// A line of digits, seen in one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Outline of the digits, presented pixels of the frame, in reading order.
    pub quad: Quad,
    /// Mean probability of the line's cells, less the less they agree, 0..=1.
    pub sureness: f32,
}

/// The lines that touching cells make; quads are in pixels of the picture.
pub(super) fn lines_of(picture: &Cells) -> Vec<Line> {
    join_collinear(group(picture))
}

/// Touching cells that agree on direction and height, as lines.
fn group(picture: &Cells) -> Vec<Line> {
    let cells = &picture.cells;
    let mut seen = vec![false; cells.len()];
    let mut lines = Vec::new();
    let mut seeds: Vec<usize> = (0..cells.len())
        .filter(|&i| cells[i].is_some_and(|c| c.logit > SEED_LOGIT))
        .collect();
    seeds.sort_by(|&a, &b| {
        let logit = |i: usize| cells[i].map_or(0.0, |c| c.logit);
        logit(b).total_cmp(&logit(a)).then(a.cmp(&b))
    });
    for seed in seeds {
        if seen[seed] {
            continue;
        }
        seen[seed] = true;
        let (mut open, mut members) = (vec![seed], Vec::new());
        while let Some(i) = open.pop() {
            let cell = cells[i].expect("only marked cells are opened");
            members.push(cell);
            for (y, x) in picture.around(i / picture.columns, i % picture.columns) {
                let n = y * picture.columns + x;
                let Some(next) = cells[n] else { continue };
                // Cells of the row below have their middle there.
                let step = Point::new(next.middle.x - cell.middle.x, next.middle.y - cell.middle.y);
                let alike = next.ahead.dot(cell.ahead) > 0.7
                    && (next.height_px / cell.height_px).log2().abs() < 0.6
                    && step.dot(cell.up).abs() < ROW_STEP * cell.height_px;
                if !seen[n] && alike {
                    seen[n] = true;
                    open.push(n);
                }
            }
        }
        lines.extend(fit_line(&members));
    }
    lines
}

/// A quad from the cells of one line.
fn fit_line(cells: &[Cell]) -> Option<Line> {
    if cells.len() < 3 {
        return None;
    }
    let weight = |c: &Cell| 1.0 / (1.0 + (-c.logit).exp());
    let sum: f32 = cells.iter().map(weight).sum();
    let mean = |f: &dyn Fn(&Cell) -> f32| cells.iter().map(|c| f(c) * weight(c)).sum::<f32>() / sum;
    let mut ahead = Point::new(mean(&|c| c.ahead.x), mean(&|c| c.ahead.y)).unit();
    let up = Point::new(mean(&|c| c.up.x), mean(&|c| c.up.y)).unit();
    let centre = Point::new(mean(&|c| c.middle.x), mean(&|c| c.middle.y));
    let height = mean(&|c| c.height_px.log2()).exp2();
    // The middles of a long line tell its direction better than the network does.
    let along = |p: Point, a: Point| (p.x - centre.x) * a.x + (p.y - centre.y) * a.y;
    let side = Point::new(-ahead.y, ahead.x);
    let tt = mean(&|c| along(c.middle, ahead).powi(2));
    let ts = mean(&|c| along(c.middle, ahead) * along(c.middle, side));
    if tt > (0.8 * height).powi(2) {
        let turn = (ts / tt).clamp(-0.15, 0.15);
        ahead = Point::new(ahead.x + side.x * turn, ahead.y + side.y * turn).unit();
    }
    // Height changes along the line under perspective.
    let lh = mean(&|c| along(c.middle, ahead) * (c.height_px.log2() - height.log2()));
    let slope = if tt > (1.5 * height).powi(2) {
        lh / tt
    } else {
        0.0
    };
    let (mut low, mut high) = (f32::MAX, f32::MIN);
    for c in cells.iter().filter(|c| c.logit > SEED_LOGIT) {
        let t = along(c.at, ahead);
        low = low.min(t - CELL_PX / 2.0);
        high = high.max(t + CELL_PX / 2.0);
    }
    if high - low < 0.8 * height {
        return None;
    }
    let end = |t: f32, lift: f32| {
        let half = (height * (slope * t).clamp(-MOST_TAPER, MOST_TAPER).exp2()) / 2.0 * lift;
        Point::new(
            centre.x + ahead.x * t + up.x * half,
            centre.y + ahead.y * t + up.y * half,
        )
    };
    // Where two levels saw a line, the one whose cells agree on its direction saw it better.
    let agreement = mean(&|c| c.ahead.dot(ahead)).max(0.0);
    Some(Line {
        quad: Quad::from_corners([
            end(low, 1.0),
            end(high, 1.0),
            end(high, -1.0),
            end(low, -1.0),
        ]),
        sureness: sum / cells.len() as f32 * agreement.powi(4),
    })
}

/// Joins pieces of one line that a gap between groups has split.
fn join_collinear(mut lines: Vec<Line>) -> Vec<Line> {
    loop {
        let before = lines.len();
        let mut i = 0;
        while i < lines.len() {
            let goes_on = |j: &usize| *j != i && follows(&lines[i].quad, &lines[*j].quad);
            let Some(j) = (0..lines.len()).find(goes_on) else {
                i += 1;
                continue;
            };
            let b = lines.remove(j);
            i -= usize::from(j < i);
            let a = &mut lines[i];
            a.quad.top_right = b.quad.top_right;
            a.quad.bottom_right = b.quad.bottom_right;
            a.sureness = (a.sureness + b.sureness) / 2.0;
        }
        // Another may go on in what was joined behind it.
        if lines.len() == before {
            return lines;
        }
    }
}

/// True if `b` goes on where `a` ends: same direction and height, a gap of at most two
/// digit heights, no step sideways.
fn follows(a: &Quad, b: &Quad) -> bool {
    let (ahead, b_ahead) = (a.direction(), b.direction());
    let (a_end, b_start) = (a.ends().1, b.ends().0);
    let ratio = a.height_px() / b.height_px();
    let height = a.height_px().max(b.height_px());
    let step = Point::new(b_start.x - a_end.x, b_start.y - a_end.y);
    let (gap, aside) = (step.dot(ahead), step.x * -ahead.y + step.y * ahead.x);
    ahead.dot(b_ahead) > 0.94
        && (0.72..1.39).contains(&ratio)
        && (-0.8 * height..2.0 * height).contains(&gap)
        && aside.abs() < 0.35 * height
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::net::Net;
    use super::*;
    use crate::error::Result;
    use image::GrayImage;
    use ndarray::Array4;

    /// Answers with one line painted into the planes: a fake finder.
    struct Painted {
        theta: f32,
        height_px: f32,
        centre: Point,
        half_length_px: f32,
    }

    impl Net for Painted {
        fn run(&self, input: Array4<f32>) -> Result<Array4<f32>> {
            let (_, _, rows, columns) = input.dim();
            let mut out = Array4::zeros((1, 7, rows, columns));
            let (sin, cos) = self.theta.sin_cos();
            for y in 0..rows {
                for x in 0..columns {
                    let dx = (x as f32 + 0.5) * 4.0 - self.centre.x;
                    let dy = (y as f32 + 0.5) * 4.0 - self.centre.y;
                    let (t, s) = (dx * cos + dy * sin, -dx * sin + dy * cos);
                    let inside = t.abs() <= self.half_length_px && s.abs() <= 0.33 * self.height_px;
                    out[[0, 0, y, x]] = if inside { 4.0 } else { -6.0 };
                    out[[0, 1, y, x]] = cos;
                    out[[0, 2, y, x]] = sin;
                    out[[0, 3, y, x]] = sin;
                    out[[0, 4, y, x]] = -cos;
                    out[[0, 5, y, x]] = (self.height_px / 12.0).log2();
                    out[[0, 6, y, x]] = -s / self.height_px;
                }
            }
            Ok(in_fours(&out))
        }
    }

    /// Seven planes of cells as the network gives them: each 2 x 2 cells as four planes.
    fn in_fours(cells: &Array4<f32>) -> Array4<f32> {
        let (_, values, rows, columns) = cells.dim();
        Array4::from_shape_fn(
            (1, values * 4, rows / 2, columns / 2),
            |(_, plane, y, x)| cells[[0, plane / 4, 2 * y + plane % 4 / 2, 2 * x + plane % 2]],
        )
    }

    #[test]
    fn a_line_is_rebuilt_from_its_cells_at_every_angle() {
        for step in 0..24 {
            let theta = step as f32 * std::f32::consts::TAU / 24.0;
            let fake = Painted {
                theta,
                height_px: 16.0,
                centre: Point::new(128.0, 120.0),
                half_length_px: 80.0,
            };
            let lines = lines_of(&Cells::of(&fake, &GrayImage::new(256, 240)).unwrap());
            assert_eq!(lines.len(), 1, "at {theta} rad");
            let quad = lines[0].quad;
            let ahead = quad.direction();
            assert!(
                ahead.dot(Point::new(theta.cos(), theta.sin())) > 0.999,
                "at {theta} rad"
            );
            approx::assert_relative_eq!(quad.height_px(), 16.0, epsilon = 0.2);
            approx::assert_relative_eq!(quad.length_px(), 160.0, epsilon = 6.0);
            assert!(quad.centre().distance(fake.centre) < 2.0, "at {theta} rad");
        }
    }

    /// Answers with two level rows so close together that their cells touch.
    struct CloseRows;

    impl CloseRows {
        const HEIGHT_PX: f32 = 12.0;
        const MIDDLES_PX: [f32; 2] = [60.0, 74.0];
    }

    impl Net for CloseRows {
        fn run(&self, input: Array4<f32>) -> Result<Array4<f32>> {
            let (_, _, rows, columns) = input.dim();
            let mut out = Array4::zeros((1, 7, rows, columns));
            for ((_, plane, y, x), value) in out.indexed_iter_mut() {
                let (px, py) = ((x as f32 + 0.5) * 4.0, (y as f32 + 0.5) * 4.0);
                let off = Self::MIDDLES_PX
                    .map(|middle| py - middle)
                    .into_iter()
                    .min_by(|a, b| a.abs().total_cmp(&b.abs()))
                    .unwrap();
                let is_inside = (40.0..200.0).contains(&px) && off.abs() <= 0.5 * Self::HEIGHT_PX;
                *value = match plane {
                    0 if is_inside => 4.0,
                    0 => -6.0,
                    1 => 1.0,
                    4 => -1.0,
                    6 => -off / Self::HEIGHT_PX,
                    _ => 0.0,
                };
            }
            Ok(in_fours(&out))
        }
    }

    #[test]
    fn rows_whose_cells_touch_are_two_lines() {
        let mut lines = lines_of(&Cells::of(&CloseRows, &GrayImage::new(256, 128)).unwrap());
        lines.sort_by(|a, b| a.quad.centre().y.total_cmp(&b.quad.centre().y));
        assert_eq!(lines.len(), 2);
        for (line, middle) in lines.iter().zip(CloseRows::MIDDLES_PX) {
            approx::assert_relative_eq!(line.quad.centre().y, middle, epsilon = 1.0);
            approx::assert_relative_eq!(line.quad.height_px(), 12.0, epsilon = 0.5);
        }
    }

    pub(in crate::vision) fn level_quad(x: f32, y: f32, length: f32, height: f32) -> Quad {
        Quad {
            top_left: Point::new(x, y),
            top_right: Point::new(x + length, y),
            bottom_right: Point::new(x + length, y + height),
            bottom_left: Point::new(x, y + height),
        }
    }

    #[test]
    fn pieces_of_one_line_are_joined_and_lines_below_are_not() {
        let line = |quad| Line {
            quad,
            sureness: 0.9,
        };
        let lines = join_collinear(vec![
            line(level_quad(130.0, 50.0, 40.0, 20.0)),
            line(level_quad(20.0, 50.0, 90.0, 21.0)),
            line(level_quad(20.0, 90.0, 90.0, 20.0)),
        ]);
        assert_eq!(lines.len(), 2);
        assert!(
            lines
                .iter()
                .any(|l| (l.quad.length_px() - 150.0).abs() < 1.0)
        );
    }
}
