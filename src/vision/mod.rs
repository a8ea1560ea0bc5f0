//! Seeing: where in a frame a display stands and which digits it shows.
//!
//! The only place that runs the trained networks (`net.rs`).
//!
//! * `net/`        a model file, and its layers run one after the other
//! * `pyramid.rs`  one picture at halved sizes, so that every digit height meets its net
//! * `cells.rs`    what the finder says of one picture, whole or where a smaller one hints at digits
//! * `lines.rs`    cells -> lines of digits: quads with their doubt
//! * `find.rs`     the lines of a frame, each from the size that shows it best
//! * `rectify.rs`  a quad -> an upright strip of fixed digit height
//! * `read.rs`     a strip -> characters and digit odds per column; `read/lie.rs` how they lie in it
//! * `layout.rs`   characters -> digit places, grouped as a clock groups them
//! * `row.rs`      one row of a display: its places, lined up and carried along
//! * `display.rs`  what makes a display of rows, and when two are the same
//! * `block.rs`    rows close together that the finder took from the side, saw askew or saw a part of
//! * `half_day.rs` AM and PM around the digits of a clock of twelve hours
//! * `ground.rs`   whether even ground lies behind the last digits, or perhaps more of them
//! * `lettering.rs`  digits that were looked at in vain for longer than a slate is held
//! * `eye.rs`      the first gear: discover displays in a frame
//! * `follow.rs`   the second: follow one of them from frame to frame
//!
//! How well something is seen, 0..=1 and on average, has four names, since it is four questions:
//!
//! * *sureness*: does this character, this line of cells, stand there at all
//! * *presence*: do digits stand on the places of a layout
//! * *clarity*: do they stand there, and is it plain which they are
//! * *legibility*: the same of a strip whose places are not known yet: of all its characters, where
//!   a letter counts nothing

mod block;
mod cells;
mod display;
mod eye;
mod find;
mod follow;
mod ground;
mod half_day;
mod layout;
mod lettering;
mod lines;
mod net;
mod pyramid;
mod read;
mod rectify;
mod row;

pub use display::Display;
pub use eye::{Discovery, Eye, LooseDigits};
pub use find::Sharpness;
pub use follow::{Followed, Search};
pub use lettering::Lettering;
pub use lines::Line;
pub use net::model_hash;
pub use pyramid::Pyramid;
pub use row::End;
