//! `schema`: the JSON Schema of the sheet.

use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command. The schema is JSON for people and programs alike.
pub fn run() -> Outcome {
    Voice::new(true, false).data(&sheet::schema(&engine::specs()));
    Outcome::Done
}
