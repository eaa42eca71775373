//! The thread that computes what is heard, piece by piece of 10 ms, as much as the page can take.
//!
//! It never waits for anything but orders: recordings are read ahead by a thread of their own, and where that is late, nothing
//! plays until they are there, all in step. A change that keeps the shape of the network glides (see [`engine::Live`]);
//! for any other a second network is opened behind the scenes, runs in unheard, and takes over in a crossfade at
//! the same frame of the song. Seeks and loops do the same at another frame.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender};
use std::time::{Duration, Instant};

use engine::{Fault, ReadAhead};
use listening::blind::Side;
use units::Frame;

use crate::behind;
use crate::decoded::{Decoded, Stretch};
use crate::guard::Guard;
use crate::helper::Helper;
use crate::meters::{Glance, Heard};
use crate::pair::{Comparing, Pair};
use crate::protocol::{Now, Through};
use crate::take::{Scene, Take, piece_frames};
use crate::through::Lens;

mod report;
mod turn;

use report::Effort;

/// How many pieces ahead of what plays a second network takes over.
const LEAD_PIECES: i64 = 4;
/// The same for one that was not there in time and has to catch up: twice as many each time that it is too late again.
const CATCH_UP_PIECES: i64 = 2;
/// How far behind the end of a loop it still comes round, where its start was not ready in time.
const LATE_PIECES: i64 = 200;
/// Pieces between two reports of what sounds.
const REPORT_PIECES: usize = 5;
/// How fast the level of listening may rise, for each piece: with the dip of a crossfade ahead of it, that is less than 6 dB
/// in 50 ms.
const RISE_DB: f64 = 0.8;
/// How long the player waits before it looks again whether recordings that are late are there.
const LOOK_AGAIN: Duration = Duration::from_millis(2);

/// How the programme is listened to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Voice {
    /// Which of the scene's outputs.
    pub output: usize,
    /// Gain that makes it as loud as the others.
    pub matched_db: f64,
    /// Level of listening.
    pub monitor_db: f64,
    /// What it is heard through.
    pub through: Through,
}

/// What the player is told.
pub enum Order {
    /// Play this network, in this voice.
    Scene(Arc<Scene>, Voice),
    /// Listen in another way.
    Voice(Voice),
    /// Play on.
    Play,
    /// Stop.
    Pause,
    /// Go to a frame of the song.
    Seek(i64),
    /// Play a passage over and over.
    Loop(Option<(i64, i64)>),
    /// The page can take so many frames more.
    Credit(usize),
    /// From now on a blind test plays and no meter says anything, or the song again. Either waits to be played.
    Blind(Option<Arc<Pair>>),
    /// A stretch was encoded and decoded, or cannot be.
    Decoded(Box<Result<Stretch, Fault>>),
    /// In a blind test, go on with this one.
    Compare(Side),
    /// Somebody else listens from now on: what was granted before is void.
    NewListener,
    /// Say what sounds, or where it rests: somebody new looks.
    Report,
    /// A network is ready, or cannot be had.
    Ready(u64, Purpose, Box<Result<Take, Fault>>),
    /// That was all.
    End,
}

/// What a network was opened for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// To take over where the song is.
    GoOn,
    /// To start at another place at once.
    Jump,
    /// To start when the end of the loop is reached.
    Again,
}

/// A network that is being opened behind the scenes.
#[derive(Clone, Copy)]
struct Opening {
    purpose: Purpose,
    /// Whether it is out of date already, and another is to be opened when it is done.
    void: bool,
    /// Pieces ahead of what plays to which it catches up, if it is there too late to go on.
    lead: i64,
}

/// A piece of sound.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// The frame of the song that it starts with.
    pub at: i64,
    /// Counts jumps: pieces of an older one are out of date.
    pub generation: u32,
    /// Its frames.
    pub frames: Vec<Frame>,
}

/// Where what the player makes goes to.
pub struct Ears {
    /// Takes a piece.
    pub sound: Box<dyn FnMut(Piece) + Send>,
    /// Is told what sounds.
    pub now: Box<dyn FnMut(Now) + Send>,
    /// Is told what stands in the way.
    pub fault: Box<dyn FnMut(Fault) + Send>,
}

/// The player.
pub struct Player {
    orders: Receiver<Order>,
    /// What opens networks, and what makes stretches of decoded sound.
    opener: Helper,
    maker: Helper,
    /// What reads recordings ahead.
    reader: Arc<ReadAhead>,
    ears: Ears,
    scene: Arc<Scene>,
    voice: Voice,
    /// Voice and gain that sound now, for crossfades.
    sounding: (Voice, f64),
    lens: Lens,
    decoded: Decoded,
    now: Option<Take>,
    next: Option<(Purpose, Take)>,
    again: Option<Take>,
    /// Counts scenes, so that what was opened for an old one is known.
    edition: u64,
    opening: Option<Opening>,
    playing: bool,
    /// Where the piece that sounds starts.
    at: i64,
    /// Where the last jump leads.
    jump_to: i64,
    span: Option<(i64, i64)>,
    blind: Option<Comparing>,
    credit: usize,
    generation: u32,
    guard: Guard,
    glances: Vec<Glance>,
    programmes: Vec<Glance>,
    heard: Heard,
    /// What leaves the desk.
    played: Glance,
    effort: Effort,
    pieces: usize,
    /// Whether recordings are late, and how often they were.
    is_late: bool,
    late: u32,
}

impl Player {
    /// A player that takes `orders`; `back` leads to the same place.
    #[must_use]
    pub fn new(orders: Receiver<Order>, back: Sender<Order>, ears: Ears, scene: Arc<Scene>, voice: Voice) -> Self {
        let rate_hz = scene.plan.rate_hz;
        let mut player = Self {
            orders,
            opener: Helper::new(&back, &behind::close),
            maker: Helper::new(&back, &behind::far),
            reader: Arc::new(ReadAhead::new(behind::go_half_ahead)),
            ears,
            voice,
            sounding: (voice, voice.matched_db + voice.monitor_db),
            lens: Lens::new(rate_hz),
            decoded: Decoded::new(rate_hz),
            now: None,
            next: None,
            again: None,
            edition: 0,
            opening: None,
            playing: false,
            at: 0,
            jump_to: 0,
            span: None,
            blind: None,
            credit: 0,
            generation: 0,
            guard: Guard::new(rate_hz),
            glances: Vec::new(),
            programmes: Vec::new(),
            heard: Heard::new(rate_hz),
            played: Glance::new(rate_hz),
            effort: Effort::default(),
            pieces: 0,
            is_late: false,
            late: 0,
            scene,
        };
        player.guard.watch();
        player.open(Purpose::Jump, 0);
        player
    }

    /// Works until it is told to end.
    pub fn run(mut self) {
        behind::go_ahead();
        loop {
            let can_play = self.can_play();
            self.look_for_recordings(can_play);
            let order = match (can_play, self.is_late) {
                (false, _) => self.orders.recv().map_err(|_| RecvTimeoutError::Disconnected),
                (true, is_late) => self.orders.recv_timeout(if is_late { LOOK_AGAIN } else { Duration::ZERO }),
            };
            match order {
                Ok(Order::End) | Err(RecvTimeoutError::Disconnected) => return,
                Ok(order) => self.follow(order),
                Err(RecvTimeoutError::Timeout) if self.is_late => {}
                Err(RecvTimeoutError::Timeout) => {
                    let began = (Instant::now(), behind::processor_time());
                    self.play_piece();
                    self.effort.take(began);
                }
            }
        }
    }

    fn piece_frames(&self) -> usize {
        piece_frames(self.scene.plan.rate_hz)
    }

    fn can_play(&self) -> bool {
        let is_open = self.blind.is_some() || self.now.is_some() || self.next.is_some();
        self.playing && self.credit >= self.piece_frames() && is_open
    }

    /// Looks whether the next piece can be computed without waiting for a recording, if there is to be one.
    fn look_for_recordings(&mut self, can_play: bool) {
        let next = self.next.as_mut().map(|(_, take)| take);
        let is_ready = self.blind.is_some() || self.now.iter_mut().chain(next).all(Take::is_ready);
        let was_late = std::mem::replace(&mut self.is_late, can_play && !is_ready);
        if self.is_late && !was_late {
            self.late += 1;
            self.report();
        }
    }

    fn follow(&mut self, order: Order) {
        match order {
            Order::Scene(scene, voice) => self.change_scene(scene, voice),
            Order::Voice(voice) => {
                self.guard.watch();
                if voice.output != self.voice.output {
                    self.heard.restart();
                }
                self.voice = voice;
                if !self.playing {
                    self.make_ahead();
                    self.report();
                }
            }
            Order::Decoded(made) => {
                if let Err(fault) = self.decoded.take(*made, &self.scene, self.at) {
                    (self.ears.fault)(fault);
                }
                // While it plays, the next piece sees to it, once what sounded has faded out.
                if !self.playing {
                    self.make_ahead();
                }
            }
            Order::Play => {
                self.guard.watch();
                self.playing = true;
            }
            Order::Pause => {
                self.playing = false;
                self.report();
            }
            Order::Blind(pair) => {
                (self.blind, self.playing) = (pair.map(Comparing::new), false);
                self.generation += 1;
                self.guard.watch();
                self.report();
            }
            Order::Compare(side) => {
                if let Some(comparing) = &mut self.blind {
                    self.guard.watch();
                    comparing.switch(side);
                }
            }
            Order::Seek(at) if self.blind.is_some() => {
                self.blind.iter_mut().for_each(|comparing| comparing.seek(at));
            }
            Order::Seek(at) => {
                self.jump_to = at.max(0);
                if !self.playing {
                    self.at = self.jump_to;
                    self.report();
                }
                self.open(Purpose::Jump, self.jump_to);
            }
            Order::Loop(span) => {
                self.span = span;
                let gone = self.again.take();
                self.let_go(gone);
                self.open_again();
            }
            Order::Credit(frames) => self.credit = (self.credit + frames).min(self.scene.plan.rate_hz as usize),
            Order::NewListener => self.credit = 0,
            Order::Report => self.report(),
            Order::Ready(edition, purpose, take) => self.take(edition, purpose, *take),
            Order::End => {}
        }
    }

    fn change_scene(&mut self, scene: Arc<Scene>, voice: Voice) {
        self.guard.watch();
        self.decoded.forget();
        let takes = [self.now.as_mut(), self.again.as_mut(), self.next.as_mut().map(|(_, take)| take)];
        let glides = self.opening.is_none() && takes.into_iter().flatten().all(|take| take.follow(&scene));
        self.scene = scene;
        self.edition += 1;
        self.voice = voice;
        if !glides {
            let gone = self.again.take();
            self.let_go(gone);
            // What was ready and did not sound yet is out of date: it may not have the outputs that are heard.
            let ready = self.next.take();
            let jump = ready.as_ref().filter(|(purpose, _)| *purpose == Purpose::Jump).map(|(_, take)| take.at());
            self.let_go(ready.map(|(_, take)| take));
            match (jump, &self.now) {
                (None, Some(take)) => {
                    let at = take.at() + LEAD_PIECES * self.piece_frames() as i64;
                    self.open(Purpose::GoOn, at);
                }
                (jump, _) => {
                    self.jump_to = jump.unwrap_or(self.jump_to);
                    self.open(Purpose::Jump, self.jump_to);
                }
            }
        }
    }

    /// Gives every node and output of the network that plays a meter, where that has others than the one before.
    fn meter(&mut self) {
        let Some(scene) = self.now.as_ref().map(Take::scene) else { return };
        let meters = |count: usize| (0..count).map(|_| Glance::new(scene.plan.rate_hz)).collect();
        if (self.glances.len(), self.programmes.len()) != (scene.nodes.len(), scene.outputs.len()) {
            (self.glances, self.programmes) = (meters(scene.nodes.len()), meters(scene.outputs.len()));
        }
    }

    /// Opens a network behind the scenes. One at a time: if one is under way, it is opened again when that is done.
    fn open(&mut self, purpose: Purpose, at: i64) {
        if let Some(opening) = &mut self.opening {
            opening.void = true;
            if opening.purpose != Purpose::Jump {
                opening.purpose = purpose;
            }
            return;
        }
        self.opening = Some(Opening { purpose, void: false, lead: CATCH_UP_PIECES });
        let (scene, edition, reader) = (self.scene.clone(), self.edition, self.reader.clone());
        self.opener.ask(move || Some(Order::Ready(edition, purpose, Box::new(Take::open_ahead(&scene, at, &reader)))));
    }

    fn take(&mut self, edition: u64, purpose: Purpose, take: Result<Take, Fault>) {
        let Some(opening) = self.opening.take() else { return };
        if opening.void || edition != self.edition {
            self.let_go(take.ok());
            return self.open_for(opening.purpose);
        }
        let is_late = |take: &Take| self.now.as_ref().is_some_and(|now| take.at() < now.at());
        match take {
            Ok(take) if purpose == Purpose::GoOn && is_late(&take) => self.catch_up(take, opening),
            Ok(take) if purpose == Purpose::Again => {
                let gone = self.again.replace(take);
                self.let_go(gone);
            }
            Ok(take) => {
                let gone = self.next.replace((purpose, take));
                self.let_go(gone.map(|(_, take)| take));
                self.open_again();
            }
            Err(fault) => (self.ears.fault)(fault),
        }
    }

    /// What is to take over is there too late. It runs on behind the scenes to a place that is still to come: on the thread
    /// that plays, all that it has missed would fall into one piece.
    fn catch_up(&mut self, take: Take, Opening { purpose, lead, .. }: Opening) {
        let at = self.now.as_ref().map_or(0, Take::at) + lead * self.piece_frames() as i64;
        self.opening = Some(Opening { purpose, void: false, lead: 2 * lead });
        let edition = self.edition;
        self.opener.ask(move || Some(Order::Ready(edition, purpose, Box::new(take.run_to(at)))));
    }

    /// A network plays no more. It is taken down by the thread that opened it: to close the files of 24 stems and give back
    /// all that their processors hold can take longer than a piece lasts.
    fn let_go(&self, take: Option<Take>) {
        if let Some(take) = take {
            self.opener.ask(move || {
                drop(take);
                None
            });
        }
    }

    fn open_for(&mut self, purpose: Purpose) {
        match (purpose, &self.now) {
            (Purpose::Again, _) => self.open_again(),
            (Purpose::GoOn, Some(take)) => {
                let at = take.at() + LEAD_PIECES * self.piece_frames() as i64;
                self.open(Purpose::GoOn, at);
            }
            _ => self.open(Purpose::Jump, self.jump_to),
        }
    }

    /// Makes the start of the loop ready, if there is one and nothing else is being opened.
    fn open_again(&mut self) {
        if let (Some((from, _)), None, None) = (self.span, &self.again, self.opening) {
            self.open(Purpose::Again, from);
        }
    }

    fn play_piece(&mut self) {
        if let Some(comparing) = self.blind.take() {
            return self.compare(comparing);
        }
        let block = self.piece_frames() as i64;
        let at_end = self.span.is_some_and(|(_, end)| (end - block..end + LATE_PIECES * block).contains(&self.at));
        if at_end && self.next.is_none() {
            self.next = self.again.take().map(|take| (Purpose::Jump, take));
        }
        match self.turn() {
            Ok(out) => self.send(out),
            Err(fault) => {
                self.playing = false;
                (self.ears.fault)(fault);
            }
        }
        if self.again.is_none() {
            self.open_again();
        }
    }

    fn send(&mut self, mut frames: Vec<Frame>) {
        self.guard.pass(&mut frames);
        self.played.push(&frames);
        self.credit -= frames.len().min(self.credit);
        let at = self.at - self.guard.latency_frames() as i64;
        (self.ears.sound)(Piece { at, generation: self.generation, frames });
        self.pieces += 1;
        if self.pieces.is_multiple_of(REPORT_PIECES) {
            self.report();
        }
        if self.blind.is_none() && self.now.as_ref().is_some_and(Take::ended) && self.span.is_none() {
            self.playing = false;
            self.report();
        }
    }
}

#[cfg(test)]
mod tests;
