//! How well files sum to another file.

use std::path::{Path, PathBuf};

use engine::Fault;
use units::{Frame, SILENCE, db_from_gain};

use super::sinks::largest_difference;
use crate::spool::media_fault;

/// Peak of a file minus the sum of others of the same length, read back from the disk, in dB of full scale; none if they
/// are alike to the bit.
pub(super) fn of_files(whole: &Path, parts: &[PathBuf]) -> Result<Option<f64>, Fault> {
    const BLOCK: usize = 1 << 14;
    let open = |path: &Path| media::Reader::open(path).map_err(|error| media_fault(&error));
    let mut whole = open(whole)?;
    let mut parts = parts.iter().map(|part| open(part)).collect::<Result<Vec<_>, _>>()?;
    let (mut expected, mut part, mut sum) = (vec![SILENCE; BLOCK], vec![SILENCE; BLOCK], vec![SILENCE; BLOCK]);
    let mut worst = 0.0;
    loop {
        let frames = read(&mut whole, &mut expected)?;
        sum[..frames].fill(SILENCE);
        for reader in &mut parts {
            let read = read(reader, &mut part[..frames])?;
            for (sum, frame) in sum.iter_mut().zip(&part[..read]) {
                *sum = [sum[0] + frame[0], sum[1] + frame[1]];
            }
        }
        if frames == 0 {
            return Ok((worst > 0.0).then(|| db_from_gain(worst)));
        }
        worst = largest_difference(worst, &expected[..frames], &sum[..frames]);
    }
}

/// Fills `out` as far as there are frames; a reader may give them in pieces.
fn read(reader: &mut media::Reader, out: &mut [Frame]) -> Result<usize, Fault> {
    let mut filled = 0;
    while filled < out.len() {
        match reader.read(&mut out[filled..]).map_err(|error| media_fault(&error))? {
            0 => break,
            read => filled += read,
        }
    }
    Ok(filled)
}
