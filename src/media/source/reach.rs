//! How far a file was read without a gap: what a jump passes over may hold stamps that leap or
//! start again, which shows only to who reads it.

/// Packets that were read one after the other behind a jump.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Stretch {
    /// Where the first and the last lie in the file, in bytes.
    first: isize,
    last: isize,
    /// First and last presentation stamp.
    from: i64,
    to: i64,
}

/// Where reading stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Place {
    /// All packets from the head up to here were read.
    #[default]
    FromHead,
    /// Nothing was read since the last jump.
    Jumped,
    /// In the last of the stretches.
    Apart,
}

#[derive(Debug, Default)]
pub(super) struct Reach {
    place: Place,
    /// Where the last packet lies of those that were read from the head on, and the highest
    /// decoding stamp among them.
    from_head: Option<isize>,
    top_dts: Option<i64>,
    /// What was read behind jumps, and is not known to adjoin that.
    apart: Vec<Stretch>,
    is_astray: bool,
}

impl Reach {
    /// Reading stands at the head.
    pub fn is_at_head(&mut self) {
        self.place = Place::FromHead;
    }

    pub fn has_jumped(&mut self) {
        self.place = Place::Jumped;
    }

    /// True if all packets from the head up to here were read, at one time or another.
    pub fn is_from_head(&self) -> bool {
        self.place == Place::FromHead
    }

    /// A packet was read. Its place in the file tells where a jump has led; its stamps may not,
    /// where they come more than once.
    pub fn has_read(&mut self, at: Option<isize>, dts: i64, stamp: i64) {
        if self.place == Place::Jumped {
            let is_known = at.zip(self.from_head).is_some_and(|(at, read)| at <= read);
            self.place = match is_known {
                true => Place::FromHead,
                false => Place::Apart,
            };
            if !is_known {
                self.is_astray |= at.is_some() && Some(dts) <= self.top_dts;
                let at = at.unwrap_or(isize::MAX);
                self.apart.push(Stretch {
                    first: at,
                    last: at,
                    from: stamp,
                    to: stamp,
                });
            }
        }
        match (self.place, self.apart.last_mut()) {
            (Place::Apart, Some(stretch)) => {
                stretch.last = stretch.last.max(at.unwrap_or(stretch.last));
                stretch.from = stretch.from.min(stamp);
                stretch.to = stretch.to.max(stamp);
            }
            _ => {
                self.top_dts = self.top_dts.max(Some(dts));
                self.extend(at);
            }
        }
    }

    /// True if a jump has led behind what was read from the head, to stamps that were read there:
    /// they start again somewhere between.
    pub fn is_astray(&self) -> bool {
        self.is_astray
    }

    /// Reading from the head came to a packet, and with it to what was read from there on.
    fn extend(&mut self, at: Option<isize>) {
        self.from_head = self.from_head.max(at);
        while let Some(read) = self.from_head
            && let Some(met) = self.apart.iter().position(|next| next.first <= read)
        {
            let last = self.apart.swap_remove(met).last;
            self.from_head = Some(last.max(read));
        }
    }

    /// The file ends here.
    pub fn has_ended(&mut self) {
        if self.is_from_head() {
            self.apart.clear();
        }
    }

    /// True if a packet with a stamp like this was read, with packets between it and the head that
    /// were not.
    pub fn is_apart(&self, stamp: i64) -> bool {
        self.apart
            .iter()
            .any(|stretch| (stretch.from..=stretch.to).contains(&stamp))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(reach: &mut Reach, packets: std::ops::Range<i64>) {
        for n in packets {
            reach.has_read(isize::try_from(100 * n).ok(), n, n);
        }
    }

    #[test]
    fn what_was_read_behind_a_jump_is_apart_until_reading_from_the_head_meets_it() {
        let mut reach = Reach::default();
        read(&mut reach, 0..20);
        assert!(!reach.is_apart(10));
        reach.has_jumped();
        read(&mut reach, 60..80);
        reach.has_jumped();
        read(&mut reach, 30..40);
        assert!(reach.is_apart(70) && reach.is_apart(30) && !reach.is_from_head());
        // Back into what is known, and on.
        reach.has_jumped();
        read(&mut reach, 15..31);
        assert!(reach.is_from_head() && !reach.is_apart(35) && reach.is_apart(70));
        // On from where that ended, without reading it again.
        reach.has_jumped();
        read(&mut reach, 39..61);
        assert!(!reach.is_apart(70));
    }

    /// Stamps that start again lead a jump to a later place of the file.
    #[test]
    fn the_place_in_the_file_tells_where_a_jump_has_led() {
        let mut reach = Reach::default();
        read(&mut reach, 0..20);
        reach.has_jumped();
        assert!(!reach.is_astray());
        reach.has_read(Some(5000), 10, 10);
        reach.has_read(Some(5100), 11, 11);
        assert!(reach.is_apart(10) && reach.is_astray());
        reach.has_jumped();
        reach.has_read(None, 12, 12);
        assert!(reach.is_apart(12), "nobody knows");
        reach.has_ended();
        assert!(reach.is_apart(10));
        reach.is_at_head();
        read(&mut reach, 0..20);
        reach.has_ended();
        assert!(!reach.is_apart(10) && !reach.is_apart(12));
    }
}
