//! What every code of a finding stands for: how it is found, and by whose word.
//!
//! The one list of codes. The page in `docs/reference` is written from it, and a test finds every code that the sources
//! can say in it. A new finding is one line in the file of its area.

mod advise;
mod album;
mod intake;
mod listen;
mod print;
mod sheet;
mod stops;

/// Source of what the trade does and no document states.
pub const PRACTICE: &str = "common practice, no source";

/// A code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Code {
    /// The code as findings carry it.
    pub name: &'static str,
    /// What is the case then, and how that is computed: one or two sentences.
    pub how: &'static str,
    /// Who says so.
    pub source: &'static str,
}

const fn code(name: &'static str, how: &'static str, source: &'static str) -> Code {
    Code { name, how, source }
}

/// Codes that are found by one piece of work.
#[derive(Clone, Copy, Debug)]
pub struct Area {
    /// Its heading.
    pub title: &'static str,
    /// When its codes are found.
    pub sentence: &'static str,
    /// Its codes, in alphabetical order.
    pub codes: &'static [Code],
}

/// All codes, in the order of the work. A code may stand in two areas, where it is computed in two ways.
pub const AREAS: &[Area] = &[
    Area {
        title: "What comes in",
        sentence: "Found by `intake`, which reads every file of a folder once.",
        codes: intake::CODES,
    },
    Area {
        title: "The sheet",
        sentence: "Found by `check`, and by every command that reads a sheet. What fails must be mended before anything \
                   is rendered.",
        codes: sheet::CODES,
    },
    Area {
        title: "What is printed",
        sentence: "Found by `print`. While one that fails stands, the set is not finished, unless the sheet accepts it by \
                   code, with a reason, in `[[accept]]`.",
        codes: print::CODES,
    },
    Area {
        title: "Advice",
        sentence: "Found by `advise`, which renders the song with taps on every path.",
        codes: advise::CODES,
    },
    Area {
        title: "What is listened to",
        sentence: "Found by `listen`, and by `notes` in what listeners send back.",
        codes: listen::CODES,
    },
    Area {
        title: "A record",
        sentence: "Found by `album`, which lays the songs of a record side by side.",
        codes: album::CODES,
    },
    Area {
        title: "What ends a command",
        sentence: "Said once, by any command, when it cannot go on; nothing is written then.",
        codes: stops::CODES,
    },
];

/// What is said about a code, in every area that knows it.
pub fn find(name: &str) -> impl Iterator<Item = &'static Code> {
    AREAS.iter().flat_map(|area| area.codes).filter(move |code| code.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_is_whole_and_in_its_place() {
        for area in AREAS {
            for code in area.codes {
                assert!(code.how.ends_with('.'), "{} ends without a stop", code.name);
                assert!(!code.source.is_empty() && !code.source.ends_with('.'), "{}", code.name);
            }
            let out_of_order = area.codes.windows(2).find(|pair| pair[0].name >= pair[1].name);
            assert!(out_of_order.is_none(), "not in alphabetical order, or twice: {out_of_order:?}");
        }
    }
}
