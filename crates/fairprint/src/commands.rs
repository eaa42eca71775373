//! One file a command: arguments in, one call, words and data out.

pub mod advise;
pub mod album;
pub mod check;
pub mod compare;
pub mod demo;
pub mod desk;
pub mod handover;
pub mod history;
pub mod intake;
pub mod listen;
pub mod manual;
pub mod measure;
pub mod notes;
pub mod print;
pub mod reference;
pub mod schema;
pub mod starts;

use crate::outcome::Outcome;
use crate::voice::Voice;

/// What the program is for, and what to type first.
const WELCOME: &str = "\
Fairprint is the finishing bench for people who mix records.
It takes balanced stems through a sheet of plain text: parallel paths in time to the
sample, a clean print for mastering, a loud one for approval, all measured from the files.

  fairprint demo            make a song from nothing, print it, and see what you get
  fairprint intake FOLDER   check a folder of stems and get a sheet to start from
  fairprint print SHEET     print it
  fairprint desk SHEET      hear it and move it, on a page of this machine
  fairprint starts          chains to start from, each with what it does, measured
  fairprint --help          everything else

Loud sound harms hearing: turn your monitors down before you play a loud print.";

/// Without a command.
pub fn welcome(voice: &Voice) -> Outcome {
    voice.say(WELCOME);
    Outcome::Done
}

/// A number for a table: with a sign where it is negative, or a dash where there is none.
fn figure(value: Option<f64>, places: usize) -> String {
    value.map_or("-".to_owned(), |value| format!("{value:.places$}"))
}
