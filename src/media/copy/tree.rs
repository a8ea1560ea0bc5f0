//! Boxes of QuickTime and MP4 in memory (ISO/IEC 14496-12, 4.2; QuickTime file
//! format): taken apart, changed, put together. What is not changed stays byte
//! for byte what it was.

use crate::media::boxes;

/// One box: its type and what it holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Node {
    pub kind: [u8; 4],
    pub body: Vec<u8>,
}

/// What a box holds, if it holds boxes.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Nodes {
    pub list: Vec<Node>,
    /// Bytes behind the last box: QuickTime ends some lists with 32 zero bits.
    rest: Vec<u8>,
}

impl Nodes {
    pub(super) fn parse(bytes: &[u8]) -> Self {
        let children = boxes::children(bytes, 0..bytes.len());
        let end = children.last().map_or(0, |(_, body)| body.end);
        Self {
            list: children
                .into_iter()
                .map(|(kind, body)| Node {
                    kind,
                    body: bytes[body].to_vec(),
                })
                .collect(),
            rest: bytes[end..].to_vec(),
        }
    }

    pub(super) fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        for node in &self.list {
            bytes.extend(boxed(&node.kind, &[&node.body]));
        }
        bytes.extend(&self.rest);
        bytes
    }

    /// What the first box of this type holds.
    pub(super) fn body(&self, kind: &[u8; 4]) -> Option<&[u8]> {
        let node = self.list.iter().find(|node| node.kind == *kind)?;
        Some(&node.body)
    }

    pub(super) fn body_mut(&mut self, kind: &[u8; 4]) -> Option<&mut Vec<u8>> {
        let node = self.list.iter_mut().find(|node| node.kind == *kind)?;
        Some(&mut node.body)
    }

    /// What the first box at the end of `path` holds, box within box.
    pub(super) fn deep(&self, path: &[&[u8; 4]]) -> Option<Vec<u8>> {
        let (first, below) = path.split_first()?;
        let body = self.body(first)?;
        if below.is_empty() {
            return Some(body.to_vec());
        }
        Self::parse(body).deep(below)
    }
}

/// A box with a 32-bit size, or a 64-bit one where that is too small.
pub(super) fn boxed(kind: &[u8; 4], parts: &[&[u8]]) -> Vec<u8> {
    let len: usize = parts.iter().map(|part| part.len()).sum();
    let mut bytes = Vec::with_capacity(len + 16);
    match u32::try_from(len + 8) {
        Ok(size) => {
            bytes.extend(size.to_be_bytes());
            bytes.extend(kind);
        }
        Err(_) => {
            bytes.extend(1u32.to_be_bytes());
            bytes.extend(kind);
            bytes.extend((len as u64 + 16).to_be_bytes());
        }
    }
    for part in parts {
        bytes.extend(*part);
    }
    bytes
}

/// A box that begins with a version and 24 bits of flags.
pub(super) fn full(kind: &[u8; 4], version: u8, flags: u32, body: &[u8]) -> Vec<u8> {
    let head = (u32::from(version) << 24 | flags).to_be_bytes();
    boxed(kind, &[&head, body])
}

/// 32 bits at an offset; `None` behind the end.
pub(super) fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes(four.try_into().ok()?))
}

/// 64 bits at an offset; `None` behind the end.
pub(super) fn u64_at(bytes: &[u8], at: usize) -> Option<u64> {
    let eight = bytes.get(at..at.checked_add(8)?)?;
    Some(u64::from_be_bytes(eight.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_changed_stays_as_it_was() {
        let mut bytes = boxed(b"udta", &[b"abc"]);
        bytes.extend(boxed(b"trak", &[&boxed(b"tkhd", &[&[7; 20]])]));
        bytes.extend([0; 4]);
        let nodes = Nodes::parse(&bytes);
        assert_eq!(nodes.list.len(), 2);
        assert_eq!(nodes.to_bytes(), bytes);
        assert_eq!(nodes.deep(&[b"trak", b"tkhd"]), Some(vec![7; 20]));
        assert_eq!(nodes.deep(&[b"trak", b"mdia"]), None);
    }

    #[test]
    fn junk_is_kept_as_junk() {
        let junk = b"\0\0\0\x03no box".to_vec();
        let nodes = Nodes::parse(&junk);
        assert!(nodes.list.is_empty());
        assert_eq!(nodes.to_bytes(), junk);
    }

    #[test]
    fn numbers_behind_the_end_are_none() {
        assert_eq!(u32_at(&[0, 0, 1, 2], 0), Some(258));
        assert_eq!(u32_at(&[0, 0, 1], 0), None);
        assert_eq!(u64_at(&[0; 8], usize::MAX), None);
    }
}
