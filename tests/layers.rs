//! Holds the imports of `src/` against the picture in `DEVELOPERS.md`: nouns
//! below, work above them, imports point down only.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Each module of the library and what it may use of it, lowest first. Code
/// that only tests compile may use anything.
const MAY_USE: &[(&str, &[&str])] = &[
    ("timecode", &[]),
    ("geometry", &[]),
    ("glyph", &[]),
    ("error", &[]),
    ("note", &[]),
    ("digest", &[]),
    ("path_text", &["digest"]),
    ("progress", &[]),
    ("caption", &[]),
    ("wide", &[]),
    ("facts", &["timecode", "note"]),
    ("frame", &["timecode", "error", "facts"]),
    ("reading", &["frame", "geometry", "glyph"]),
    ("outcome", &["timecode", "error", "note"]),
    ("fault", &["error", "note", "outcome"]),
    ("clip_base", &["timecode", "note", "outcome"]),
    (
        "sidecar",
        &[
            "timecode",
            "error",
            "note",
            "path_text",
            "outcome",
            "clip_base",
        ],
    ),
    (
        "save",
        &["error", "note", "digest", "path_text", "outcome", "sidecar"],
    ),
    (
        "report",
        &["timecode", "note", "path_text", "outcome", "clip_base"],
    ),
    (
        "media",
        &[
            "timecode", "error", "note", "digest", "progress", "facts", "frame", "wide", "save",
        ],
    ),
    (
        "vision",
        &[
            "geometry", "glyph", "digest", "wide", "error", "frame", "reading",
        ],
    ),
    (
        "fit",
        &[
            "timecode", "geometry", "glyph", "note", "wide", "facts", "frame", "reading", "outcome",
        ],
    ),
    (
        "rehearse",
        &["timecode", "geometry", "error", "outcome", "frame", "media"],
    ),
    (
        "stages",
        &["geometry", "caption", "frame", "reading", "vision", "fit"],
    ),
    (
        "evidence",
        &[
            "timecode", "geometry", "reading", "outcome", "vision", "fit",
        ],
    ),
    (
        "clip",
        &[
            "timecode",
            "geometry",
            "error",
            "note",
            "progress",
            "facts",
            "frame",
            "reading",
            "outcome",
            "clip_base",
            "media",
            "vision",
            "fit",
            "stages",
            "evidence",
        ],
    ),
    (
        "preview",
        &[
            "timecode",
            "error",
            "progress",
            "caption",
            "frame",
            "outcome",
            "clip_base",
            "media",
        ],
    ),
    (
        "card",
        &[
            "timecode",
            "error",
            "note",
            "digest",
            "path_text",
            "progress",
            "facts",
            "outcome",
            "fault",
            "clip_base",
            "sidecar",
            "save",
            "preview",
        ],
    ),
    (
        "delivery",
        &[
            "error",
            "note",
            "digest",
            "path_text",
            "progress",
            "outcome",
            "fault",
            "clip_base",
            "sidecar",
            "save",
            "media",
            "card",
            "preview",
        ],
    ),
];

/// Foreign libraries that hide behind one folder, and that folder.
const FENCED: &[(&str, &[&str])] = &[
    ("ffmpeg", &["media"]),
    ("tract", &["vision"]),
    ("clap", &["cli", "main"]),
    ("ctrlc", &["cli", "main"]),
    ("sysinfo", &["cli", "main"]),
    ("fs4", &["media"]),
    ("jiff", &["card"]),
    ("maud", &["report"]),
    ("quick_xml", &["sidecar"]),
    ("toml", &["sidecar"]),
    ("indicatif", &["cli", "main"]),
    ("comfy_table", &["cli", "main"]),
];

#[test]
fn the_picture_itself_points_down_only() {
    let mut below = BTreeSet::new();
    for (module, uses) in MAY_USE {
        for used in *uses {
            assert!(
                below.contains(used),
                "`{module}` may not use `{used}`, which is not below it"
            );
        }
        assert!(below.insert(*module), "`{module}` stands twice");
    }
}

#[test]
fn every_module_has_a_place_in_the_picture() {
    let known: BTreeSet<_> = MAY_USE.iter().map(|(module, _)| *module).collect();
    for source in sources() {
        let is_known =
            ["lib", "main", "cli"].contains(&&*source.module) || known.contains(&*source.module);
        assert!(
            is_known,
            "{} has no place in MAY_USE",
            source.file.display()
        );
    }
}

#[test]
fn modules_use_only_what_lies_below_them() {
    let may_use: BTreeMap<_, _> = MAY_USE.iter().copied().collect();
    let mut wrong = Vec::new();
    for source in sources() {
        // The root declares everything, and the binary may use all of the library.
        let Some(uses) = may_use.get(&*source.module) else {
            continue;
        };
        for used in source.crate_modules() {
            if used != source.module && !uses.contains(&&*used) {
                wrong.push(format!(
                    "{}: `{}` uses `{used}`",
                    source.file.display(),
                    source.module
                ));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "imports that do not point down:\n{}",
        wrong.join("\n")
    );
}

#[test]
fn nobody_climbs_to_the_root_by_super() {
    for source in sources() {
        assert!(
            !source.climbs_to_root(),
            "{}: write `crate::`, so that the layers can be checked",
            source.file.display()
        );
    }
}

#[test]
fn foreign_libraries_stay_in_their_folders() {
    let mut wrong = Vec::new();
    for source in sources() {
        for (library, places) in FENCED {
            if places.contains(&&*source.module) {
                continue;
            }
            let is_named =
                |word: &str| word == *library || word.starts_with(&format!("{library}_"));
            // As the head of a path: a variable may have any name.
            let is_used = source
                .words
                .windows(2)
                .any(|pair| is_named(&pair[0]) && pair[1] == "::")
                || source
                    .words
                    .windows(2)
                    .any(|pair| pair[0] == "use" && is_named(&pair[1]));
            if is_used {
                wrong.push(format!("{}: {library}", source.file.display()));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "foreign libraries out of their folders:\n{}",
        wrong.join("\n")
    );
}

/// Footage stays on the machine, and a file name is never part of a command.
#[test]
fn nothing_connects_and_no_other_program_is_started() {
    for source in sources() {
        // However they were imported: a socket is opened by its name, a program by what makes it.
        let has = |path: &[&str]| source.words.windows(path.len()).any(|words| words == path);
        let connects = [
            "TcpListener",
            "TcpStream",
            "ToSocketAddrs",
            "UdpSocket",
            "UnixDatagram",
            "UnixListener",
            "UnixStream",
        ];
        for name in connects {
            assert!(!has(&[name]), "{} uses {name}", source.file.display());
        }
        assert!(
            !has(&["Command", "::", "new"]),
            "{} starts a program",
            source.file.display()
        );
    }
}

#[test]
fn time_is_exact_and_needs_nothing_but_the_standard_library() {
    let manifest = fs::read_to_string(root().join("Cargo.toml")).unwrap();
    let foreign: BTreeSet<String> = manifest
        .lines()
        .skip_while(|line| *line != "[dependencies]")
        .skip(1)
        .take_while(|line| !line.starts_with('['))
        .filter_map(|line| line.split_once('='))
        .map(|(name, _)| name.trim().replace('-', "_"))
        .collect();
    assert!(foreign.contains("serde"), "the manifest was not understood");
    for source in sources().into_iter().filter(|s| s.module == "timecode") {
        for pair in source.words.windows(2) {
            assert!(
                !(foreign.contains(&pair[0]) && pair[1] == "::"),
                "{}: uses {}",
                source.file.display(),
                pair[0]
            );
            // Floats may come out (`-> f64`, `as f64`), for display; none is
            // taken (`: f64`) or kept.
            assert!(
                !matches!(&*pair[1], "f32" | "f64") || matches!(&*pair[0], "->" | "as"),
                "{}: `{} {}` takes or keeps a float",
                source.file.display(),
                pair[0],
                pair[1]
            );
        }
    }
}

#[test]
fn the_scanner_sees_through_comments_strings_and_tests() {
    let words = scan(
        r##"
        //! crate::doc is prose
        use crate::{error::Result, note};
        /* crate::old /* nested */ crate::older */
        fn f<'a>(c: char) -> &'a str { let q = '"'; let s = r#"crate::raw " "#; "crate::text" }
        #[cfg(test)]
        #[path = "x_tests.rs"]
        mod tests;
        #[cfg(test)]
        mod more { use crate::clip; fn g() { { } } }
        fn h() { crate::fit::fit() }
        "##,
    );
    let source = Source {
        file: "src/x.rs".into(),
        module: "x".into(),
        words,
    };
    let used: Vec<_> = source.crate_modules().into_iter().collect();
    assert_eq!(used, ["error", "fit", "note"]);
}

#[test]
fn the_scanner_counts_steps_up() {
    let climbs = |file: &str, text: &str| {
        let source = Source {
            file: file.into(),
            module: "x".into(),
            words: scan(text),
        };
        source.climbs_to_root()
    };
    assert!(climbs("src/x.rs", "use super::fit;"));
    assert!(climbs("src/x/mod.rs", "use super::fit;"));
    assert!(climbs("src/x/y.rs", "use super::super::fit;"));
    assert!(!climbs("src/x/y.rs", "use super::z;"));
    assert!(!climbs("src/x.rs", "mod inner { use super::Thing; }"));
}

/// One file of `src/` as the compiler of the plain build sees it.
struct Source {
    file: PathBuf,
    /// The part of the crate it belongs to: `fit` for `src/fit/bounds.rs`.
    module: String,
    words: Vec<String>,
}

impl Source {
    /// What follows `crate::`, also within braces: `use crate::{a, b::c}`.
    fn crate_modules(&self) -> BTreeSet<String> {
        let mut found = BTreeSet::new();
        let words = &self.words;
        for (at, _) in words
            .windows(2)
            .enumerate()
            .filter(|(_, pair)| pair[0] == "crate" && pair[1] == "::")
        {
            match words.get(at + 2).map(String::as_str) {
                Some("{") => found.extend(heads_in_braces(&words[at + 3..])),
                Some(name) => {
                    found.insert(name.to_owned());
                }
                None => {}
            }
        }
        found
    }

    /// True if a chain of `super::` leads out of the module that the file belongs to.
    fn climbs_to_root(&self) -> bool {
        let parts = self.file.components().count() - 1;
        let depth = if self.file.ends_with("mod.rs") {
            parts - 1
        } else {
            parts
        };
        // Inline modules are a step down each; their braces are counted.
        let mut inline: Vec<usize> = Vec::new();
        let mut braces = 0;
        let mut steps = 0;
        for (at, word) in self.words.iter().enumerate() {
            match &**word {
                "{" => {
                    braces += 1;
                    if at >= 2 && self.words[at - 2] == "mod" {
                        inline.push(braces);
                    }
                }
                "}" => {
                    if inline.last() == Some(&braces) {
                        inline.pop();
                    }
                    braces -= 1;
                }
                "super" => steps += 1,
                "::" => continue,
                _ => steps = 0,
            }
            if steps >= depth + inline.len() {
                return true;
            }
        }
        false
    }
}

/// First names of the paths in a brace group, whose opening brace is behind us.
fn heads_in_braces(words: &[String]) -> Vec<String> {
    let mut heads = Vec::new();
    let mut depth = 1;
    let mut is_head = true;
    for word in words {
        match &**word {
            "{" => depth += 1,
            "}" => depth -= 1,
            "," if depth == 1 => {
                is_head = true;
                continue;
            }
            name if is_head => heads.push(name.to_owned()),
            _ => {}
        }
        if depth == 0 {
            break;
        }
        is_head = false;
    }
    heads
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All files of `src/` but those that only tests compile.
fn sources() -> Vec<Source> {
    let mut files = Vec::new();
    collect(&root().join("src"), &mut files);
    files.sort();
    assert!(files.len() > 10, "src/ was not found");
    files
        .into_iter()
        .map(|path| {
            let file = path.strip_prefix(root()).unwrap().to_path_buf();
            let module = file
                .components()
                .nth(1)
                .unwrap()
                .as_os_str()
                .to_str()
                .unwrap();
            Source {
                module: module.trim_end_matches(".rs").to_owned(),
                words: scan(&fs::read_to_string(&path).unwrap()),
                file,
            }
        })
        .collect()
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        let is_test = name == "tests" || name == "tests.rs" || name.ends_with("_tests.rs");
        if path.is_dir() && !is_test {
            collect(&path, files);
        } else if name.ends_with(".rs") && !is_test {
            files.push(path);
        }
    }
}

/// Words and marks of a Rust text, without comments, literals and items marked
/// `#[cfg(test)]`.
fn scan(text: &str) -> Vec<String> {
    without_tests(words(text))
}

fn words(text: &str) -> Vec<String> {
    let letters: Vec<char> = text.chars().collect();
    let at = |i: usize| letters.get(i).copied().unwrap_or('\0');
    let mut words = Vec::new();
    let mut i = 0;
    while i < letters.len() {
        let c = letters[i];
        if c == '/' && at(i + 1) == '/' {
            while i < letters.len() && letters[i] != '\n' {
                i += 1;
            }
        } else if c == '/' && at(i + 1) == '*' {
            let mut depth = 0;
            loop {
                match (at(i), at(i + 1)) {
                    ('/', '*') => depth += 1,
                    ('*', '/') => depth -= 1,
                    ('\0', _) => break,
                    _ => {
                        i += 1;
                        continue;
                    }
                }
                i += 2;
                if depth == 0 {
                    break;
                }
            }
        } else if c == '"' {
            i += 1;
            while i < letters.len() && letters[i] != '"' {
                i += if letters[i] == '\\' { 2 } else { 1 };
            }
            i += 1;
        } else if c == '\'' {
            // A lifetime has no closing quote after one letter.
            if at(i + 1) == '\\' {
                i += 3;
                while i < letters.len() && letters[i] != '\'' {
                    i += 1;
                }
                i += 1;
            } else if at(i + 2) == '\'' {
                i += 3;
            } else {
                i += 1;
            }
        } else if c.is_alphanumeric() || c == '_' {
            let start = i;
            while at(i).is_alphanumeric() || at(i) == '_' {
                i += 1;
            }
            let word: String = letters[start..i].iter().collect();
            let is_raw = matches!(&*word, "r" | "br" | "cr") && matches!(at(i), '"' | '#');
            if is_raw && let Some(end) = raw_string_end(&letters, i) {
                i = end;
            } else {
                words.push(word);
            }
        } else if (c, at(i + 1)) == (':', ':') || (c, at(i + 1)) == ('-', '>') {
            words.push(format!("{c}{}", at(i + 1)));
            i += 2;
        } else {
            if !c.is_whitespace() {
                words.push(c.into());
            }
            i += 1;
        }
    }
    words
}

/// Where a raw string ends whose `#`s or quote start at `from`; `None` if it is
/// a raw name like `r#type`.
fn raw_string_end(letters: &[char], from: usize) -> Option<usize> {
    let hashes = letters[from..].iter().take_while(|c| **c == '#').count();
    if letters.get(from + hashes) != Some(&'"') {
        return None;
    }
    let mut close = vec!['"'];
    close.extend(std::iter::repeat_n('#', hashes));
    let body = from + hashes + 1;
    let length = letters[body..]
        .windows(close.len())
        .position(|w| w == close)?;
    Some(body + length + close.len())
}

/// Drops each item that follows `#[cfg(test)]`: up to its `;`, or to the end of
/// its braces.
fn without_tests(words: Vec<String>) -> Vec<String> {
    const MARK: [&str; 7] = ["#", "[", "cfg", "(", "test", ")", "]"];
    let mut kept = Vec::new();
    let mut i = 0;
    while i < words.len() {
        if !words[i..].iter().take(MARK.len()).eq(MARK.iter()) {
            kept.push(words[i].clone());
            i += 1;
            continue;
        }
        let mut depth = 0;
        i += MARK.len();
        while i < words.len() {
            match &*words[i] {
                "{" => depth += 1,
                "}" => depth -= 1,
                _ => {}
            }
            let is_end = depth == 0 && matches!(&*words[i], "}" | ";");
            i += 1;
            if is_end {
                break;
            }
        }
    }
    kept
}
