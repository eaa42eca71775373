//! `schema`: the JSON Schema of the sheet.

use crate::outcome::Outcome;
use crate::voice::Voice;

/// Runs the command. The schema is JSON anyway, so that `--json` changes nothing.
pub fn run(voice: &Voice) -> Outcome {
    let schema = sheet::schema(&engine::specs());
    Voice::for_programs(voice).data(&schema);
    Outcome::Done
}
