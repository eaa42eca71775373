//! A passage of the song in memory, as it would be heard: rendered ahead, not played.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use engine::Fault;
use units::Frame;

use crate::decoded::decoded;
use crate::protocol::Through;
use crate::take::{Scene, Take, piece_frames};
use crate::through::Lens;

/// How long the passage is rendered ahead of its start and after its end, so that what it is heard through has its history,
/// and a codec, which looks ahead, its future.
const AHEAD_MS: f64 = 500.0;
const AFTER_MS: f64 = 50.0;

/// Frames of a passage, `(from, frames)`, at some of a scene's outputs, each heard through something. None if it was
/// stopped.
///
/// # Errors
/// A recording cannot be read, or there is no room for what a codec makes.
pub fn render(
    scene: &Arc<Scene>,
    ways: &[(usize, Through)],
    (from, frames): (i64, usize),
    stop: &AtomicBool,
) -> Result<Option<Vec<Vec<Frame>>>, Fault> {
    let rate_hz = scene.plan.rate_hz;
    let ahead = units::frames_from_ms(AHEAD_MS, rate_hz).min(usize::try_from(from).unwrap_or(0));
    let mut take = Take::open(scene, from - ahead as i64)?;
    let mut heard: Vec<Vec<Frame>> = ways.iter().map(|_| Vec::new()).collect();
    let all = ahead + frames + units::frames_from_ms(AFTER_MS, rate_hz);
    for _ in 0..all.div_ceil(piece_frames(rate_hz)) {
        if stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        take.advance(&mut |_, _| ())?;
        for (heard, (output, _)) in heard.iter_mut().zip(ways) {
            heard.extend_from_slice(take.piece(*output));
        }
    }
    for (heard, (_, through)) in heard.iter_mut().zip(ways) {
        match through.codec() {
            Some(codec) => *heard = decoded(heard, rate_hz as u32, codec)?,
            None => Lens::new(rate_hz).look(*through, heard),
        }
        heard.drain(..ahead);
        heard.truncate(frames);
    }
    Ok(Some(heard))
}
