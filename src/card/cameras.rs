//! Which clips were shot by one camera, as far as one can tell.

use super::agree::Member;
use crate::note::Note;
use crate::outcome::ClipPart;
use std::collections::{BTreeMap, BTreeSet};

/// A camera as the clips name it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Group {
    pub name: String,
    pub card: usize,
    /// What the container calls it; `None` if it was told by folder, names and picture.
    pub container_name: Option<String>,
    /// What the container calls it, if a serial number is among it: then it is one camera,
    /// whatever the folder.
    pub identity: Option<Identity>,
    /// What became of comparing it with others of its identity, if there are.
    pub pooled: Option<Note>,
}

/// Name and serial number of a camera.
pub(super) type Identity = (String, String);

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    card: usize,
    /// The card's folders of one camera have one name but for numbers.
    folder: String,
    told: Told,
}

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Told {
    ByContainer {
        name: String,
        serial: Option<String>,
    },
    ByLooks {
        letters: String,
        size_px: Option<(u32, u32)>,
        rate: Option<String>,
    },
}

/// The cameras, in the order of their first clips, and for each clip the index of its own.
pub(super) fn group(members: &[&Member], folder_names: &[String]) -> (Vec<Group>, Vec<usize>) {
    let mut keys: Vec<Key> = Vec::new();
    let mut index: BTreeMap<Key, usize> = BTreeMap::new();
    let mut cameras: Vec<Option<usize>> = members
        .iter()
        .map(|member| {
            // What could not be opened tells nothing; it follows its neighbours below.
            member.outcome.clip.width_px?;
            let key = key(member);
            Some(*index.entry(key.clone()).or_insert_with(|| {
                keys.push(key);
                keys.len() - 1
            }))
        })
        .collect();
    for (member, camera) in members.iter().zip(&mut cameras) {
        if camera.is_none() {
            let own = key(member);
            let is_near = |k: &Key| k.card == own.card && k.folder == own.folder;
            let like_it = |k: &&Key| {
                is_near(k)
                    && matches!(&k.told, Told::ByLooks { letters, .. } if *letters == letters_of(&member.path))
            };
            let found = keys
                .iter()
                .find(like_it)
                .or_else(|| keys.iter().find(|k| is_near(k)))
                .cloned()
                .unwrap_or(own);
            *camera = Some(*index.entry(found.clone()).or_insert_with(|| {
                keys.push(found);
                keys.len() - 1
            }));
        }
    }
    let cameras: Vec<usize> = cameras
        .into_iter()
        .map(|c| c.expect("all were filled"))
        .collect();
    let firsts: Vec<Option<&Member>> = (0..keys.len())
        .map(|at| cameras.iter().position(|c| *c == at).map(|i| members[i]))
        .collect();
    let names: Vec<String> = keys
        .iter()
        .zip(&firsts)
        .map(|(key, first)| match &key.told {
            Told::ByContainer { name, .. } => name.clone(),
            Told::ByLooks { .. } => first
                .and_then(|member| Some(member.path.rsplit_once('/')?.0))
                .and_then(|folder| folder.rsplit('/').next())
                .or_else(|| folder_names.get(key.card).map(String::as_str))
                .unwrap_or("camera")
                .to_owned(),
        })
        .collect();
    let mut taken = BTreeSet::new();
    let groups = keys
        .iter()
        .enumerate()
        .map(|(at, key)| {
            let is_shared = names.iter().filter(|name| **name == names[at]).count() > 1;
            let name = match (&key.told, firsts[at].map(|first| prefix_of(&first.path))) {
                // Several in one folder: what their clips are called tells them apart.
                (Told::ByLooks { .. }, Some(prefix)) if is_shared && !prefix.is_empty() => {
                    format!("{}: {prefix}", names[at])
                }
                _ => names[at].clone(),
            };
            let name = (1..)
                .map(|n| {
                    if n == 1 {
                        name.clone()
                    } else {
                        format!("{name} ({n})")
                    }
                })
                .find(|name| taken.insert(name.clone()))
                .expect("numbers do not run out");
            Group {
                name,
                card: key.card,
                container_name: match &key.told {
                    Told::ByContainer { name, .. } => Some(name.clone()),
                    Told::ByLooks { .. } => None,
                },
                identity: match &key.told {
                    Told::ByContainer { name, serial } => Some(name.clone()).zip(serial.clone()),
                    Told::ByLooks { .. } => None,
                },
                pooled: None,
            }
        })
        .collect();
    (groups, cameras)
}

/// Makes one camera of those groups that have one identity, if `is_one_clock` says so of
/// them: a camera whose clock was set between two cards has two clocks to be measured.
pub(super) fn pool(
    groups: &mut Vec<Group>,
    camera_of: &mut [usize],
    is_one_clock: impl Fn(&[usize]) -> bool,
) {
    let mut by_identity: BTreeMap<Identity, Vec<usize>> = BTreeMap::new();
    for (at, group) in groups.iter().enumerate() {
        if let Some(identity) = &group.identity {
            by_identity.entry(identity.clone()).or_default().push(at);
        }
    }
    let mut into: Vec<usize> = (0..groups.len()).collect();
    for same in by_identity.into_values().filter(|same| same.len() > 1) {
        let is_one_clock = is_one_clock(&same);
        for &one in &same {
            groups[one].pooled = Some(match is_one_clock {
                true => pooled_note(same.len()),
                false => set_between_note(same.len()),
            });
            if is_one_clock {
                into[one] = same[0];
            }
        }
    }
    // Numbers without holes, in the same order.
    let mut place = vec![0; groups.len()];
    let mut kept = 0;
    for (at, &into) in into.iter().enumerate() {
        if into == at {
            place[at] = kept;
            kept += 1;
        } else {
            place[at] = place[into];
        }
    }
    for camera in camera_of {
        *camera = place[*camera];
    }
    let mut at = 0..into.len();
    groups.retain(|_| at.next().is_some_and(|at| into[at] == at));
}

fn pooled_note(places: usize) -> Note {
    Note::new(
        "camera_pooled",
        format!(
            "one camera by its serial number, with clips in {places} places: its clock is \
             measured on all of them together"
        ),
    )
}

fn set_between_note(places: usize) -> Note {
    Note::new(
        "camera_clock_set",
        format!(
            "one camera by its serial number, with clips in {places} places, but its clock was \
             set in between: each place is held against its own slates alone"
        ),
    )
}

fn key(member: &Member) -> Key {
    let ClipPart {
        camera,
        camera_serial,
        width_px,
        height_px,
        rate,
        ..
    } = &member.outcome.clip;
    Key {
        card: member.card,
        folder: folder_of(&member.path),
        told: match camera {
            Some(name) => Told::ByContainer {
                name: name.clone(),
                serial: camera_serial.clone(),
            },
            None => Told::ByLooks {
                letters: letters_of(&member.path),
                size_px: width_px.zip(*height_px),
                rate: rate.clone(),
            },
        },
    }
}

/// The topmost folder. Folders named as DCF has it, three digits and five more characters
/// (JEITA CP-3461), are one camera's whatever their number.
fn folder_of(path: &str) -> String {
    let Some((top, _)) = path.split_once('/') else {
        return String::new();
    };
    let bytes = top.as_bytes();
    if bytes.len() == 8 && bytes[..3].iter().all(u8::is_ascii_digit) {
        return top[3..].to_owned();
    }
    top.to_owned()
}

/// The letters that a clip's name begins with, as they are.
fn prefix_of(path: &str) -> &str {
    let name = path.rsplit('/').next().unwrap_or(path);
    let end = name.find(|c: char| !c.is_alphabetic());
    &name[..end.unwrap_or(name.len())]
}

/// Those letters, whatever their case.
fn letters_of(path: &str) -> String {
    prefix_of(path)
        .chars()
        .flat_map(char::to_uppercase)
        .collect()
}
