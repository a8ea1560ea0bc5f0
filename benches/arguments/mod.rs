//! What is said behind the name of a bench.
#![allow(dead_code, reason = "each bench uses a part of this")]

use std::path::PathBuf;
use std::process;
use std::str::FromStr;

/// The arguments that nobody has asked for yet, in their order.
pub struct Arguments {
    usage: &'static str,
    left: std::vec::IntoIter<String>,
}

impl Arguments {
    /// Those of this run; `usage` is told when they are wrong. Cargo adds `--bench`.
    pub fn given(usage: &'static str) -> Self {
        let said: Vec<String> = (std::env::args().skip(1))
            .filter(|argument| argument != "--bench")
            .collect();
        Self {
            usage,
            left: said.into_iter(),
        }
    }

    /// The next one, which must be a number; `default` if there is none.
    pub fn number<T: FromStr>(&mut self, default: T) -> T {
        let Some(text) = self.left.next() else {
            return default;
        };
        let number = text.parse();
        number.unwrap_or_else(|_| self.refuse(&format!("`{text}` is no number that will do")))
    }

    /// The next one, if there is one.
    pub fn word(&mut self) -> Option<String> {
        self.left.next()
    }

    /// The next one, if there is one, as a folder.
    pub fn folder(&mut self) -> Option<PathBuf> {
        self.word().map(PathBuf::from)
    }

    /// All others.
    pub fn rest(self) -> Vec<String> {
        self.left.collect()
    }

    /// All others, each of which must be one of `known`.
    pub fn names(self, known: &[String]) -> Vec<String> {
        for name in self.left.as_slice() {
            if !known.contains(name) {
                self.refuse(&format!("`{name}` is none of: {}", known.join(", ")));
            }
        }
        self.rest()
    }

    /// The next one, one of how many are taken; `default` if there is none.
    pub fn share(&mut self, default: usize) -> usize {
        match self.number(default) {
            0 => self.refuse("a share is 1, for all of them, or more"),
            share => share,
        }
    }

    /// Makes sure that there are no others.
    pub fn end(mut self) {
        if let Some(text) = self.left.next() {
            self.refuse(&format!("`{text}` is one argument too many"));
        }
    }

    /// Ends the run: `why`, and the usage.
    pub fn refuse(&self, why: &str) -> ! {
        eprintln!("{why}\nusage: scripts/bench {}", self.usage);
        process::exit(2);
    }
}
