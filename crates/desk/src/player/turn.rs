//! The next piece of sound, in a crossfade where a network or a voice takes over.

use std::sync::Arc;

use engine::Fault;
use units::{Frame, SILENCE, gain_from_db};

use super::{Order, Player, Purpose, RISE_DB, Voice};
use crate::guard::{FROM_SILENCE_DBFS, level_dbfs};
use crate::pair::Comparing;
use crate::protocol::Through;

impl Player {
    /// The next piece, in a crossfade where a network or a voice takes over.
    pub(super) fn turn(&mut self) -> Result<Vec<Frame>, Fault> {
        let takes_over = match (&self.now, &self.next) {
            // It was ahead when it came: see `Player::catch_up`.
            (Some(now), Some((Purpose::GoOn, next))) => next.at() <= now.at(),
            (_, next) => next.is_some(),
        };
        let old = if takes_over || self.now.is_some() { self.advance_now(takes_over)? } else { None };
        if takes_over {
            self.take_over();
            self.advance_now(false)?;
        }
        let frames = self.piece_frames();
        let Some(now) = &self.now else { return Ok(vec![SILENCE; frames]) };
        self.at = now.at() - frames as i64;
        let (sounding, gain_db) = self.sounding;
        // A voice belongs to its scene: its output may be another, or none, in the network that still plays.
        let wanted = if Arc::ptr_eq(now.scene(), &self.scene) { self.voice } else { sounding };
        let (voice, mut out) = self.heard_through(wanted, now.piece(wanted.output));
        let wanted_db = voice.matched_db + voice.monitor_db;
        let changes = sounding.output != voice.output || sounding.through != voice.through;
        // At another place of the song, how loud it is there is the song's own: the guard sees to that.
        let same_place = old.as_ref().is_none_or(|(at, _)| *at == self.at);
        let before = match old {
            Some((at, pieces)) => Some(self.fading(sounding, at, pieces)),
            // Ahead of the first network there was nothing to fade out.
            None if changes && !takes_over => Some(self.fading(sounding, self.at, now.piece(sounding.output).to_vec())),
            None => None,
        };
        self.heard.push(if voice.through.codec().is_some() { &out } else { now.piece(voice.output) });
        self.lens.look(voice.through, &mut out);
        let now_db = match &before {
            Some(before) if same_place => wanted_db.min(comes_up_db(before, gain_db, &out)),
            _ if voice.output == sounding.output => wanted_db.min(gain_db + RISE_DB),
            _ => wanted_db,
        };
        mix(&mut out, gain_from_db(now_db), before, gain_from_db(gain_db));
        self.sounding = (voice, now_db);
        self.make_ahead();
        Ok(out)
    }

    /// The network that is ready takes the place of the one that plays.
    fn take_over(&mut self) {
        let Some((purpose, take)) = self.next.take() else { return };
        let gone = self.now.replace(take);
        self.let_go(gone);
        self.meter();
        // However long it took to open: what was watched when it was asked for may be over.
        self.guard.watch();
        if purpose == Purpose::Jump {
            self.generation += 1;
            self.heard.restart();
            // What was to take over at the old place comes too late.
            self.opening.iter_mut().for_each(|opening| opening.void |= opening.purpose == Purpose::GoOn);
        }
    }

    /// A piece as a voice has it, ahead of its lens: what a codec makes of it where that is there, else the plain sound in
    /// a voice that says so.
    fn heard_through(&self, voice: Voice, plain: &[Frame]) -> (Voice, Vec<Frame>) {
        let Some(codec) = voice.through.codec() else { return (voice, plain.to_vec()) };
        match self.decoded.piece((voice.output, codec), self.at, plain.len()) {
            Some(decoded) => (voice, decoded),
            None => (Voice { through: Through::Nothing, ..voice }, plain.to_vec()),
        }
    }

    /// A piece from a frame on as it sounded before, to fade out.
    fn fading(&self, sounding: Voice, at: i64, plain: Vec<Frame>) -> Vec<Frame> {
        let decoded =
            sounding.through.codec().and_then(|codec| self.decoded.fading((sounding.output, codec), at, plain.len()));
        let mut frames = decoded.unwrap_or(plain);
        self.lens.clone().look(sounding.through, &mut frames);
        frames
    }

    /// Has the next stretch made of what is heard through a codec, on a thread of its own.
    pub(super) fn make_ahead(&mut self) {
        let way = self.voice.through.codec().map(|codec| (self.voice.output, codec));
        let Some(wanted) = self.decoded.next(&self.scene, way, self.span, self.at) else { return };
        self.maker.ask(move || Some(Order::Decoded(Box::new(wanted.make()))));
    }

    /// Computes the next piece of the network that plays. If it is the last before another takes over, returns where it
    /// starts and what was heard of it, and tells no meter.
    fn advance_now(&mut self, last: bool) -> Result<Option<(i64, Vec<Frame>)>, Fault> {
        let Some(take) = &mut self.now else { return Ok(None) };
        if last {
            let at = take.at();
            take.advance(&mut |_, _| ())?;
            return Ok(Some((at, take.piece(self.sounding.0.output).to_vec())));
        }
        let glances = &mut self.glances;
        take.advance(&mut |node, frames| glances[node].push(frames))?;
        for (output, glance) in self.programmes.iter_mut().enumerate() {
            glance.push(take.piece(output));
        }
        Ok(None)
    }

    /// The next piece of a blind test.
    pub(super) fn compare(&mut self, mut comparing: Comparing) {
        self.at = comparing.at();
        let mut out = comparing.piece(self.piece_frames());
        let gain_db = self.sounding.1;
        let now_db = self.voice.monitor_db.min(gain_db + RISE_DB);
        mix(&mut out, gain_from_db(now_db), None, gain_from_db(gain_db));
        self.sounding.1 = now_db;
        self.blind = Some(comparing);
        self.send(out);
    }
}

/// The gain at which what takes over at the same place is no louder than what sounded there.
fn comes_up_db(before: &[Frame], gain_before_db: f64, out: &[Frame]) -> f64 {
    (level_dbfs(before) + gain_before_db).max(FROM_SILENCE_DBFS) - level_dbfs(out)
}

/// Gives a piece its gain, gliding from the one before, or fading over from another piece.
fn mix(out: &mut [Frame], gain: f64, before: Option<Vec<Frame>>, gain_before: f64) {
    let frames = out.len() as f64;
    match before {
        None => {
            for (index, frame) in out.iter_mut().enumerate() {
                let gain = gain_before + (gain - gain_before) * index as f64 / frames;
                *frame = [frame[0] * gain, frame[1] * gain];
            }
        }
        Some(before) => {
            for ((index, frame), old) in out.iter_mut().enumerate().zip(before) {
                let part = index as f64 / frames;
                let (new, old_gain) = (gain * part, gain_before * (1.0 - part));
                *frame = [frame[0] * new + old[0] * old_gain, frame[1] * new + old[1] * old_gain];
            }
        }
    }
}
