//! A singer: words and notes become moves of pitch, folds and mouth, and those become sound.
//!
//! Source and filter: the folds' pulse ([`crate::glottis`]) and breath go through a cascade of formants (Klatt, JASA 67,
//! 1980), hiss from the front of the mouth beside it. Consonants come before the beat, so that vowels stand on it.

use std::f64::consts::TAU;

use crate::filter::{Biquad, Formant, OnePole};
use crate::glottis::Source;
use crate::human::{Chance, Player};
use crate::melody::Sung;
use crate::phoneme::{Aim, PLACES, consonant, rest, vowel};
use crate::score::{hz_from_note, secs_from_beats};
use crate::track::{frame_of, silence};

/// Moves of the mouth a second.
const TICKS_PER_SECOND: f64 = 1000.0;

/// Formants above the third, which hardly move: frequency and width.
const UPPER: [(f64, f64); 5] = [(4150.0, 230.0), (5050.0, 320.0), (6300.0, 560.0), (7600.0, 850.0), (9100.0, 1200.0)];

/// A voice.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Singer {
    pub(crate) seed: u64,
    /// Length of the mouth and throat: all formants move by this factor.
    pub(crate) formants: f64,
    /// How far behind the beat, how scattered, in ms.
    pub(crate) timing_ms: [f64; 2],
    /// Depth of the vibrato.
    pub(crate) vibrato_cents: f64,
    /// How hard the singer sings at a beat, 0 to 1.
    pub(crate) effort: fn(f64) -> f64,
}

/// A note as it will be sung.
#[derive(Clone, Copy, Debug)]
struct Tone {
    from_s: f64,
    to_s: f64,
    note: f64,
    effort: f64,
    /// Starts a phrase.
    fresh: bool,
}

impl Tone {
    /// How strongly the note is held at a time: it is leant on, eases, and a long one swells before it tapers.
    fn swell(&self, now_s: f64) -> f64 {
        let (held_s, long_s) = (now_s - self.from_s, self.to_s - self.from_s);
        let lean = 0.22 * libm::exp(-(held_s.max(0.0)) / 0.12);
        let along = (held_s / long_s.max(0.1)).clamp(0.0, 1.0);
        let grown = 0.35 * (long_s - 0.5).clamp(0.0, 1.0) * libm::sin(std::f64::consts::PI * along * along);
        let taper = 1.0 - 0.3 * ((along - 0.8) / 0.2).clamp(0.0, 1.0);
        (0.78 + lean + grown) * taper
    }
}

/// The plan of a take: tones, and aims with their starts.
struct Take {
    tones: Vec<Tone>,
    aims: Vec<(f64, Aim)>,
}

impl Singer {
    /// Sings notes and words.
    pub(crate) fn sing(&self, notes: &[Sung], rate_hz: f64) -> Vec<f64> {
        let mut player = Player::new(self.seed, self.timing_ms[0], self.timing_ms[1]);
        let take = self.plan(notes, &mut player);
        Throat::new(self, rate_hz).sound(&take)
    }

    fn plan(&self, notes: &[Sung], player: &mut Player) -> Take {
        let mut tones: Vec<Tone> = Vec::with_capacity(notes.len());
        for (index, n) in notes.iter().enumerate() {
            let before = index.checked_sub(1).map_or(f64::NEG_INFINITY, |i| notes[i].beat + notes[i].beats);
            let from_s = player.secs(n.beat);
            if let Some(last) = tones.last_mut().filter(|_| n.beat - before < 0.3) {
                last.to_s = from_s;
            }
            let effort = player.force((self.effort)(n.beat));
            let to_s = from_s + secs_from_beats(n.beats);
            tones.push(Tone { from_s, to_s, note: f64::from(n.note), effort, fresh: n.beat - before > 0.3 });
        }
        let aims = aims(notes, &tones);
        Take { tones, aims }
    }
}

/// A syllable's aims: before the vowel, the vowel, after it.
fn syllable(sounds: &str, carried: Aim) -> [Vec<Aim>; 3] {
    let mut parts: [Vec<Aim>; 3] = Default::default();
    for sound in sounds.split(' ') {
        let vowels = if sound == "-" { vec![carried] } else { vowel(sound) };
        let in_vowel = !parts[1].is_empty();
        match (vowels.is_empty(), in_vowel) {
            (false, _) => parts[1].extend(vowels),
            (true, false) => parts[0].extend(consonant(sound)),
            (true, true) => parts[2].extend(consonant(sound)),
        }
    }
    parts
}

fn secs_of(aims: &[Aim]) -> f64 {
    aims.iter().map(|a| a.ms * 1e-3).sum()
}

/// All aims of a take with their starts, in order of time.
fn aims(notes: &[Sung], tones: &[Tone]) -> Vec<(f64, Aim)> {
    let mut carried = rest(0.0);
    let mut parts = Vec::with_capacity(notes.len());
    for n in notes {
        let syllable = syllable(n.sounds, carried);
        carried = syllable[1].last().copied().unwrap_or(carried);
        parts.push(syllable);
    }
    let mut aims = Vec::new();
    for (index, ([onset, nucleus, coda], tone)) in parts.iter().zip(tones).enumerate() {
        let mut at = tone.from_s - secs_of(onset);
        if tone.fresh {
            aims.push((at - 0.34, rest(0.16 + 0.1 * tone.effort)));
            aims.push((at - 0.07, rest(0.0)));
        }
        for aim in onset {
            aims.push((at, *aim));
            at += aim.ms * 1e-3;
        }
        // The vowel leaves room for its own ending and, if the line goes on, for what begins the next syllable.
        let next = tones.get(index + 1).filter(|t| !t.fresh);
        let ahead = next.map_or(0.0, |_| secs_of(&parts[index + 1][0]));
        let end = tone.to_s - ahead;
        let ending = secs_of(coda).min(0.5 * (end - tone.from_s).max(0.0));
        let open = (end - ending - tone.from_s).max(0.03);
        for (order, aim) in nucleus.iter().enumerate() {
            aims.push((tone.from_s + if order == 0 { 0.0 } else { 0.58 * open }, *aim));
        }
        let squeeze = ending / secs_of(coda).max(1e-9);
        at = tone.from_s + open;
        for aim in coda {
            aims.push((at, *aim));
            at += squeeze * aim.ms * 1e-3;
        }
        if next.is_none() {
            aims.push((at, rest(0.02)));
            aims.push((at + 0.12, rest(0.0)));
        }
    }
    aims
}

/// Pitch over time: slides between notes, vibrato that grows on long ones, and the unsteadiness of a living throat.
struct Pitch {
    slide: [OnePole; 2],
    vibrato_phase: f64,
    vibrato_hz: f64,
    slow: OnePole,
    fast: OnePole,
}

impl Pitch {
    fn new(chance: &mut Chance) -> Self {
        let over = |ms| OnePole::over_ms(ms, TICKS_PER_SECOND);
        Self {
            slide: [over(19.0).from(60.0), over(19.0).from(60.0)],
            vibrato_phase: chance.uniform(),
            vibrato_hz: chance.between(5.2, 5.8),
            slow: over(120.0),
            fast: over(4.0),
        }
    }

    fn start(&mut self, note: f64) {
        self.slide = self.slide.map(|s| s.from(note));
    }

    /// The fundamental of the next tick.
    fn next_hz(&mut self, tone: &Tone, now_s: f64, depth_cents: f64, chance: &mut Chance) -> f64 {
        let slid = self.slide[0].low(tone.note);
        let slid = self.slide[1].low(slid);
        let long = ((tone.to_s - tone.from_s - 0.45) / 0.3).clamp(0.0, 1.0);
        let grown = ((now_s - tone.from_s - 0.28) / 0.4).clamp(0.0, 1.0);
        self.vibrato_phase =
            (self.vibrato_phase + (self.vibrato_hz + 0.3 * chance.bipolar()) / TICKS_PER_SECOND).fract();
        let vibrato = depth_cents * long * grown * libm::sin(TAU * self.vibrato_phase);
        let unsteady = 70.0 * self.slow.low(chance.bipolar()) + 9.0 * self.fast.low(chance.bipolar());
        hz_from_note(slid + (vibrato + unsteady) / 100.0)
    }
}

/// The moving parts and the sound they make.
struct Throat<'a> {
    singer: &'a Singer,
    rate_hz: f64,
    chance: Chance,
    sources: [Source; 2],
    formants: [Formant; 8],
    hiss: [(Biquad, Biquad, OnePole); 6],
    air: Biquad,
    /// The microphone, which hears what the cascade leaves weak.
    presence: Biquad,
    phase: f64,
}

/// Gains of a tick: pressed and soft folds, breath, which of the tables.
#[derive(Clone, Copy, Debug, Default)]
struct Gains {
    pressed: f64,
    soft: f64,
    breath: f64,
    hiss: [f64; 6],
}

impl<'a> Throat<'a> {
    fn new(singer: &'a Singer, rate_hz: f64) -> Self {
        let hiss = PLACES.map(|place| {
            let [a, b] = place.tones().map(|(hz, q, _)| Biquad::band_pass(hz * singer.formants, q, rate_hz));
            (a, b, OnePole::over_ms(5.0, TICKS_PER_SECOND))
        });
        Self {
            singer,
            rate_hz,
            chance: Chance::new(singer.seed ^ 0x5eed),
            sources: [Source::new(0.85), Source::new(2.1)],
            formants: [Formant::default(); 8],
            hiss,
            air: Biquad::high_pass(5500.0, 0.7, rate_hz),
            presence: Biquad::bell(4600.0, 0.7, 7.0, rate_hz),
            phase: 0.0,
        }
    }

    fn sound(mut self, take: &Take) -> Vec<f64> {
        let mut track = silence(self.rate_hz);
        let over = |ms| OnePole::over_ms(ms, TICKS_PER_SECOND);
        let mut mouth = [
            [over(15.0).from(500.0), over(15.0).from(500.0)],
            [over(15.0).from(1500.0); 2],
            [over(15.0).from(2700.0); 2],
        ];
        let (mut voice, mut breath, mut nasal, mut effort) = (over(9.0), over(8.0), over(12.0), over(40.0));
        let mut pitch = Pitch::new(&mut self.chance);
        let mut before = Gains::default();
        let (mut tone, mut aim) = (0, None);
        let ticks = (track.len() as f64 / self.rate_hz * TICKS_PER_SECOND) as usize;
        for tick in 0..ticks {
            let now_s = tick as f64 / TICKS_PER_SECOND;
            aim = advance(&take.aims, aim, now_s);
            // The voice moves to its next note a little before the vowel.
            while tone + 1 < take.tones.len() && now_s >= take.tones[tone + 1].from_s - 0.035 {
                tone += 1;
                if take.tones[tone].fresh {
                    // People slide up into a phrase.
                    pitch.start(take.tones[tone].note - 0.7);
                }
            }
            let goal = aim.map_or(rest(0.0), |i| take.aims[i].1);
            let hz = pitch.next_hz(&take.tones[tone], now_s, self.singer.vibrato_cents, &mut self.chance);
            let force = effort.low(take.tones[tone].effort);
            let level = voice.low(goal.voice * take.tones[tone].swell(now_s)) * (0.3 + 0.7 * force);
            let level = level * (1.0 + 0.02 * self.chance.bipolar());
            let formants_hz: Vec<f64> = mouth
                .iter_mut()
                .zip(goal.formants_hz)
                .map(|(f, hz)| {
                    let once = f[0].low(hz);
                    f[1].low(once)
                })
                .collect();
            self.shape(&formants_hz, hz, nasal.low(f64::from(u8::from(goal.nasal))));
            let mut gains = Gains {
                pressed: level * force,
                soft: level * (1.0 - force),
                breath: breath.low(goal.breath),
                ..before
            };
            for (index, place) in PLACES.iter().enumerate() {
                let hiss = goal.hiss.filter(|(at, _)| at == place).map_or(0.0, |(_, hiss)| hiss);
                gains.hiss[index] = self.hiss[index].2.low(hiss) * (0.6 + 0.4 * force);
            }
            let (from, to) = (frame_of(now_s, self.rate_hz), frame_of(now_s + 1.0 / TICKS_PER_SECOND, self.rate_hz));
            self.tick(&mut track[from..to], hz, [before, gains]);
            before = gains;
        }
        track
    }

    /// Tunes the formants. A singer opens the jaw so that the first formant never falls under the note.
    fn shape(&mut self, formants_hz: &[f64], hz: f64, nasal: f64) {
        let scale = self.singer.formants;
        let widths = [85.0 + 120.0 * nasal, 105.0 + 350.0 * nasal, 155.0 + 450.0 * nasal];
        for (index, width) in widths.into_iter().enumerate() {
            let target = formants_hz[index] * scale;
            let target = if index == 0 { target.max(1.04 * hz) } else { target };
            self.formants[index].tune(target, width, self.rate_hz);
        }
        for (formant, (target, width)) in self.formants[3..].iter_mut().zip(UPPER) {
            formant.tune(target * scale, width, self.rate_hz);
        }
    }

    /// The frames of one tick, between two sets of gains.
    fn tick(&mut self, frames: &mut [f64], hz: f64, [from, to]: [Gains; 2]) {
        let silent = |g: &Gains| g.pressed + g.soft + g.breath + g.hiss.iter().sum::<f64>() < 1e-6;
        if silent(&from) && silent(&to) && self.formants[0].is_still() {
            return;
        }
        let table = self.sources[0].table(hz);
        let step = hz / self.rate_hz;
        let count = frames.len() as f64;
        let hissing: Vec<usize> = (0..6).filter(|i| from.hiss[*i] + to.hiss[*i] > 1e-5).collect();
        for (n, y) in frames.iter_mut().enumerate() {
            let along = n as f64 / count;
            let between = |a: f64, b: f64| a + along * (b - a);
            self.phase += step;
            self.phase -= self.phase.floor();
            let (pressed, soft) = (between(from.pressed, to.pressed), between(from.soft, to.soft));
            let folds = pressed * self.sources[0].at(table, self.phase) + soft * self.sources[1].at(table, self.phase);
            let noise = self.chance.bipolar();
            // Breath rushes while the folds are open: in the first half of the period.
            let open = if self.phase < 0.55 { 1.0 } else { 0.45 };
            let leak = between(from.breath, to.breath) + 0.035 * pressed + 0.09 * soft;
            let through = folds + 0.5 * leak * open * noise;
            let mouth = self.presence.tick(self.formants.iter_mut().fold(through, |x, f| f.tick(x)));
            *y += mouth + 0.02 * self.air.tick((pressed + 1.5 * soft) * open * noise);
            for index in &hissing {
                let (a, b, _) = &mut self.hiss[*index];
                let [(_, _, la), (_, _, lb)] = PLACES[*index].tones();
                let hiss = between(from.hiss[*index], to.hiss[*index]) * noise;
                *y += 0.9 * (la * a.tick(hiss) + lb * b.tick(hiss));
            }
        }
    }
}

/// The last aim that has begun.
fn advance(aims: &[(f64, Aim)], at: Option<usize>, now_s: f64) -> Option<usize> {
    let mut at = at;
    while let Some((_, _)) = aims.get(at.map_or(0, |i| i + 1)).filter(|(from, _)| *from <= now_s) {
        at = Some(at.map_or(0, |i| i + 1));
    }
    at
}
