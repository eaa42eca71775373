//! A network that plays from some place: a [`Live`] with its history, cut into pieces of 10 ms that start where asked.

use std::sync::Arc;
use std::thread;
use std::time::Duration;

use engine::{Fault, Live, Plan, ReadAhead, Sources};
use units::{Frame, SILENCE};

/// How long a network runs unheard before it is heard, so that dynamics and space have their history.
const RUN_IN_MS: f64 = 500.0;
/// Pieces that are read ahead before a network is given to the player: while it plays those, more are read.
const READY_PIECES: usize = 10;
const LOOK_AGAIN: Duration = Duration::from_millis(1);

/// What is to be played.
pub struct Scene {
    /// The network as it is to be heard.
    pub plan: Plan,
    /// Steps that can be listened to: prints, then references.
    pub outputs: Vec<usize>,
    /// Steps with a meter on the map.
    pub nodes: Vec<usize>,
    /// Processors whose gain reduction is shown: node or print, place in its chain; step, and link in it.
    pub links: Vec<((String, usize), (usize, usize))>,
    /// Where the recordings are.
    pub sources: Arc<dyn Sources + Send + Sync>,
}

/// Frames in a piece of 10 ms.
#[must_use]
pub fn piece_frames(rate_hz: f64) -> usize {
    (rate_hz / 100.0) as usize
}

/// A network that plays.
pub struct Take {
    /// What it plays: its own steps and outputs, while the desk may be ahead with another scene.
    scene: Arc<Scene>,
    live: Live,
    /// Frames of the current block that have been played.
    used: usize,
    /// Frames of each output of the last piece.
    pieces: Vec<Vec<Frame>>,
    /// The frame of the song that the next piece starts with.
    at: i64,
}

impl Take {
    /// Opens a scene so that its next piece starts at a frame of the song.
    ///
    /// # Errors
    /// A recording cannot be read or a processor cannot be built.
    pub fn open(scene: &Arc<Scene>, at: i64) -> Result<Self, Fault> {
        Self::open_read_by(scene, at, None)
    }

    /// The same for a thread that must not wait: its recordings are read ahead, and some of that is done when it returns.
    ///
    /// # Errors
    /// As for [`Self::open`].
    pub fn open_ahead(scene: &Arc<Scene>, at: i64, reader: &ReadAhead) -> Result<Self, Fault> {
        Ok(Self::open_read_by(scene, at, Some(reader))?.with_some_read())
    }

    fn with_some_read(mut self) -> Self {
        while !self.live.is_ready(READY_PIECES) {
            thread::sleep(LOOK_AGAIN);
        }
        self
    }

    fn open_read_by(scene: &Arc<Scene>, at: i64, reader: Option<&ReadAhead>) -> Result<Self, Fault> {
        let plan = &scene.plan;
        let block = piece_frames(plan.rate_hz);
        let lag = scene.outputs.iter().map(|output| plan.steps[*output].leaves).max().unwrap_or(0) as i64;
        let run_in = units::frames_from_ms(RUN_IN_MS, plan.rate_hz) as i64;
        let from = (at + lag - run_in).max(0).unsigned_abs();
        let mut live = Live::open(plan, scene.sources.as_ref(), &scene.outputs, (from, block), reader)?;
        let mut used = block;
        while live.position() <= at {
            used = usize::try_from(at - live.position()).unwrap_or(0).min(block);
            live.advance()?;
        }
        let pieces = vec![vec![SILENCE; block]; scene.outputs.len()];
        Ok(Self { scene: scene.clone(), live, used, pieces, at })
    }

    /// What it plays.
    #[must_use]
    pub fn scene(&self) -> &Arc<Scene> {
        &self.scene
    }

    /// Goes on with another scene, gliding, if that has the shape of this one. Tells whether it does.
    pub fn follow(&mut self, scene: &Arc<Scene>) -> bool {
        let same_ends = scene.outputs == self.scene.outputs && scene.nodes == self.scene.nodes;
        let follows = same_ends && self.live.follow(&scene.plan);
        if follows {
            self.scene = scene.clone();
        }
        follows
    }

    /// Whether the next piece can be computed without waiting for a recording.
    pub fn is_ready(&mut self) -> bool {
        self.live.is_ready(1)
    }

    /// Whether the song and its tail are over.
    #[must_use]
    pub fn ended(&self) -> bool {
        self.live.ended()
    }

    /// The gain reduction of every processor that has one: node or print, place in its chain, dB.
    pub fn reductions(&mut self) -> Vec<(String, usize, f64)> {
        let mut found = Vec::new();
        for ((name, place), (step, link)) in &self.scene.links {
            if let Some(Some(reduction_db)) = self.live.gain_reductions_db(*step).get(*link) {
                found.push((name.clone(), *place, *reduction_db));
            }
        }
        found
    }

    /// The frame of the song that the next piece starts with.
    #[must_use]
    pub fn at(&self) -> i64 {
        self.at
    }

    /// Computes the next piece; `metered` is told the frames of each of the scene's nodes, by index.
    ///
    /// # Errors
    /// A recording cannot be read on.
    pub fn advance(&mut self, metered: &mut dyn FnMut(usize, &[Frame])) -> Result<(), Fault> {
        let block = self.pieces.first().map_or(0, Vec::len);
        let rest = block - self.used;
        self.copy(self.used..block, 0);
        self.live.advance()?;
        for (index, step) in self.scene.nodes.iter().enumerate() {
            metered(index, &self.live.step(*step));
        }
        self.copy(0..self.used, rest);
        self.at += block as i64;
        Ok(())
    }

    /// Runs on, unheard, until the next piece starts at a frame of the song or behind it.
    ///
    /// # Errors
    /// A recording cannot be read on.
    pub fn run_to(mut self, at: i64) -> Result<Self, Fault> {
        while self.at < at {
            self.advance(&mut |_, _| ())?;
        }
        Ok(self.with_some_read())
    }

    fn copy(&mut self, from: std::ops::Range<usize>, to: usize) {
        for (output, piece) in self.pieces.iter_mut().enumerate() {
            piece[to..to + from.len()].copy_from_slice(&self.live.output(output)[from.clone()]);
        }
    }

    /// Frames of an output in the last piece.
    #[must_use]
    pub fn piece(&self, output: usize) -> &[Frame] {
        &self.pieces[output]
    }
}
