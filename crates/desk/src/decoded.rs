//! What a listener's decoder makes of a programme: stretches of the song that are rendered, encoded and decoded behind the
//! scenes, ahead of the ear, and played from memory in the place of the plain sound.
//!
//! A codec looks ahead, so that what comes out live would be late by a tenth of a second. A stretch that was made ahead is
//! not: its frames are those of the same place of the song, and switching there and back is in step. The encoder is under
//! way for half a second when a stretch begins, and a stretch goes on for a piece, which fades over into the next. Until it
//! is there, the plain sound is heard.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use engine::Fault;
use media::codec::{CodecChoice, round_trip};
use units::Frame;

use crate::passage;
use crate::protocol::Through;
use crate::take::{Scene, piece_frames};

/// Length of a stretch, in pieces of 10 ms.
const STRETCH: i64 = 400;
/// Stretches that are kept: three quarters of a minute, a chorus that is looped.
const KEPT: usize = 12;
/// Stretches that are wanted from a place on.
const AHEAD: usize = 3;

/// Pieces for which hands must have rested before something is made.
const RESTS: usize = 30;

/// What is decoded: an output of the scene, and the codec.
pub type Way = (usize, CodecChoice);

/// A stretch that is to be made.
pub struct Wanted {
    scene: Arc<Scene>,
    way: Way,
    index: i64,
}

/// A stretch that was made.
pub struct Stretch {
    scene: Arc<Scene>,
    way: Way,
    index: i64,
    frames: Vec<Frame>,
}

impl Wanted {
    /// Renders, encodes and decodes it. Takes about a second: for a thread of its own.
    ///
    /// # Errors
    /// A recording cannot be read, or there is no room for the encoded file.
    pub fn make(&self) -> Result<Stretch, Fault> {
        let piece = piece_frames(self.scene.plan.rate_hz) as i64;
        let span = (self.index * STRETCH * piece, usize::try_from((STRETCH + 1) * piece).unwrap_or(0));
        let (output, codec) = self.way;
        let never = AtomicBool::new(false);
        let heard = passage::render(&self.scene, &[(output, Through::Codec(codec))], span, &never)?;
        let frames = heard.into_iter().flatten().next().unwrap_or_default();
        Ok(Stretch { scene: self.scene.clone(), way: self.way, index: self.index, frames })
    }
}

/// Frames there and back through a codec, by way of a file that is gone afterwards.
///
/// # Errors
/// There is no room for the file.
pub fn decoded(frames: &[Frame], rate_hz: u32, codec: CodecChoice) -> Result<Vec<Frame>, Fault> {
    let folder = tempfile::tempdir().map_err(|error| prints::disk_fault(&std::env::temp_dir(), &error))?;
    let mut heard = round_trip(frames, rate_hz, codec, folder.path()).map_err(|error| prints::media_fault(&error))?;
    heard.resize(frames.len(), units::SILENCE);
    Ok(heard)
}

/// The stretches that are there.
pub struct Decoded {
    /// Frames of a stretch, and of the piece that fades over into the next.
    length: i64,
    fade: usize,
    way: Option<Way>,
    stretches: BTreeMap<i64, Vec<Frame>>,
    /// Stretches that are wanted next, by what is heard and what is looped.
    wanted: Vec<i64>,
    /// Whether a stretch is being made.
    making: bool,
    /// Whether none is made any more, because one could not be made.
    failed: bool,
    /// Whether what is there belongs to a network that is no more: it fades out, and is heard no more.
    void: bool,
    /// Pieces that are waited before the next stretch is made: hands that move something move it again.
    rest: usize,
}

impl Decoded {
    /// None are there yet.
    #[must_use]
    pub fn new(rate_hz: f64) -> Self {
        let fade = piece_frames(rate_hz);
        Self {
            length: STRETCH * fade as i64,
            fade,
            way: None,
            stretches: BTreeMap::new(),
            wanted: Vec::new(),
            making: false,
            failed: false,
            void: false,
            rest: 0,
        }
    }

    /// The network has changed.
    pub fn forget(&mut self) {
        (self.void, self.failed, self.rest) = (true, false, RESTS);
    }

    /// Frames from a frame of the song on, if all of them are there and of the network that plays.
    #[must_use]
    pub fn piece(&self, way: Way, at: i64, frames: usize) -> Option<Vec<Frame>> {
        if self.void { None } else { self.fading(way, at, frames) }
    }

    /// The same of the network that played before, to fade out.
    #[must_use]
    pub fn fading(&self, way: Way, at: i64, frames: usize) -> Option<Vec<Frame>> {
        if self.way != Some(way) {
            return None;
        }
        (at..at + frames as i64).map(|at| self.frame(at)).collect()
    }

    fn frame(&self, at: i64) -> Option<Frame> {
        let (index, within) = (at.div_euclid(self.length), usize::try_from(at.rem_euclid(self.length)).ok()?);
        let new = self.stretches.get(&index)?.get(within)?;
        let old = self.stretches.get(&(index - 1)).filter(|_| within < self.fade);
        let Some(old) = old.and_then(|old| old.get(self.length as usize + within)) else { return Some(*new) };
        let part = within as f64 / self.fade as f64;
        Some([0, 1].map(|channel| new[channel] * part + old[channel] * (1.0 - part)))
    }

    /// A piece was played, or something is listened to in another way: drops what is heard no more, and says what is to
    /// be made next, if anything, with the song at a frame and a passage of it looped.
    pub fn next(&mut self, scene: &Arc<Scene>, way: Option<Way>, span: Option<(i64, i64)>, at: i64) -> Option<Wanted> {
        if std::mem::take(&mut self.void) || self.way != way {
            self.stretches.clear();
            self.failed &= self.way == way;
            self.way = way;
        }
        let way = way.filter(|_| !self.making && !self.failed)?;
        if self.rest > 0 {
            self.rest -= 1;
            return None;
        }
        let song = (scene.plan.print_frames() as i64, scene.plan.print_frames() as i64);
        let (from, to) = span.unwrap_or(song);
        let after = |at: i64| (at.div_euclid(self.length)..).take(AHEAD).filter(|index| index * self.length < to);
        self.wanted = after(at).chain(after(from)).collect();
        let index = self.wanted.iter().copied().find(|index| !self.stretches.contains_key(index))?;
        self.making = true;
        Some(Wanted { scene: scene.clone(), way, index })
    }

    /// Takes a stretch that was made for a scene, or that none could be made.
    ///
    /// # Errors
    /// None could be made.
    pub fn take(&mut self, made: Result<Stretch, Fault>, scene: &Arc<Scene>, at: i64) -> Result<(), Fault> {
        self.making = false;
        let stretch = made.inspect_err(|_| self.failed = true)?;
        if self.void || self.way != Some(stretch.way) || !Arc::ptr_eq(&stretch.scene, scene) {
            return Ok(());
        }
        self.stretches.insert(stretch.index, stretch.frames);
        let here = at.div_euclid(self.length);
        if self.stretches.len() > KEPT {
            let others = self.stretches.keys().copied().filter(|index| !self.wanted.contains(index));
            let farthest = others.max_by_key(|index| (index - here).abs());
            farthest.map(|index| self.stretches.remove(&index));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
