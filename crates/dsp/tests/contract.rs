//! What every processor of the catalogue must keep, whatever its settings: the contract of `dsp::Processor`.
//!
//! Settings and signals are pseudo-random and the same on every run. A processor that joins the catalogue is tested
//! here without a further line.

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};

use dsp::ramp::RAMP_FRAMES;
use dsp::{BuildError, CATALOGUE, Channels, Context, Entry, Processor};
use units::{At, Block, Fit, Frame, Kind, MAX_BLOCK_FRAMES, Param, Settings, Unit, Value};

const RATES_HZ: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];
/// Random settings drawn for each processor and rate, on top of its defaults.
const DRAWS: u64 = 8;
/// Key, three followers and the residue.
const LANES: usize = 5;
/// -140 dB.
const ROUNDING: f64 = 1e-7;
/// The loudest that is let in: 180 dB over full scale.
const LOUDEST: f64 = 1e9;
/// Processors whose output is noise by their nature.
const NOISY: &[&str] = &["dither"];
/// Parameters that add noise when they leave their lowest value.
const NOISE_PARAMS: &[&str] = &["hiss_db", "noise_db"];
/// Processors whose sound comes later than their latency: that is what they are for.
const LATER: &[&str] = &["delay", "room", "convolution"];

// --- Allocation counter ---------------------------------------------------------------------------------------------

thread_local! {
    static ALLOCATIONS: Cell<usize> = const { Cell::new(0) };
}

struct Counting;

// Allocations can be seen in no other way than by standing in for the allocator, whose trait is unsafe; every call goes
// on to the system's unchanged.
#[allow(unsafe_code)]
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        ALLOCATIONS.with(|count| count.set(count.get() + 1));
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        ALLOCATIONS.with(|count| count.set(count.get() + 1));
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

fn allocations(work: impl FnOnce()) -> usize {
    let before = ALLOCATIONS.with(Cell::get);
    work();
    ALLOCATIONS.with(Cell::get) - before
}

#[test]
fn the_counter_counts() {
    assert!(allocations(|| drop(std::hint::black_box(vec![1_u8; 100]))) >= 2);
    assert_eq!(allocations(|| ()), 0);
}

// --- Cases ----------------------------------------------------------------------------------------------------------

/// SplitMix64 (Steele, Lea, Flood 2014).
struct Random(u64);

impl Random {
    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0 (included) to 1.
    fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }

    fn signal(&mut self, frames: usize, peak: f64) -> Vec<Frame> {
        (0..frames).map(|_| [peak * (2.0 * self.share() - 1.0), peak * (2.0 * self.share() - 1.0)]).collect()
    }

    fn value(&mut self, param: &Param) -> Value {
        match param.kind {
            Kind::Number { unit, low, high, .. } => Value::Number(self.number(unit, low, high)),
            Kind::Choice { options, .. } => Value::Choice(self.below(options.len())),
            Kind::Switch { .. } => Value::Switch(self.below(2) == 1),
            Kind::File => Value::File(Some("response.wav".to_owned())),
        }
    }

    /// Frequencies and times spread by ratio, the ends now and then.
    fn number(&mut self, unit: Unit, low: f64, high: f64) -> f64 {
        match (self.below(8), unit) {
            (0, _) => low,
            (1, _) => high,
            (_, Unit::Hertz | Unit::Millisecond | Unit::Second) if high > 0.0 => {
                let from = low.max(high * 1e-3);
                (from * libm::pow(high / from, self.share())).clamp(low, high)
            }
            _ => low + (high - low) * self.share(),
        }
    }

    /// Random settings. A third of the parameters, another third in each draw, stay at their defaults in every row, so
    /// that what excludes something else is left alone often enough.
    fn settings(&mut self, entry: &Entry) -> Settings {
        let mut settings = default_settings(entry);
        for (param, spec) in entry.spec.params.iter().enumerate() {
            if self.below(3) > 0 {
                settings.set(At { row: None, param }, self.value(spec));
            }
        }
        let Some(rows) = entry.spec.rows else { return settings };
        let moved: Vec<bool> = rows.params.iter().map(|_| self.below(3) > 0).collect();
        for _ in 0..=self.below(rows.most.min(4)) {
            let row = settings.add_row();
            for (param, spec) in rows.params.iter().enumerate().filter(|(param, _)| moved[*param]) {
                settings.set(At { row: Some(row), param }, self.value(spec));
            }
        }
        settings
    }

    /// Any of the numbers, with a value that may lie outside its range.
    fn move_of(&mut self, settings: &Settings) -> Option<(At, f64)> {
        let rows = settings.row_count();
        let row = if rows > 0 && self.below(4) > 0 { Some(self.below(rows)) } else { None };
        let params = match row {
            None => settings.spec().params,
            Some(_) => settings.spec().rows?.params,
        };
        let numbers: Vec<usize> =
            (0..params.len()).filter(|i| matches!(params[*i].kind, Kind::Number { .. })).collect();
        if numbers.is_empty() {
            return None;
        }
        let param = numbers[self.below(numbers.len())];
        let Kind::Number { unit, low, high, .. } = params[param].kind else { return None };
        let value = match self.below(12) {
            0 => high + 1e6,
            1 => low - 1e6,
            2 => f64::NAN,
            _ => self.number(unit, low, high),
        };
        Some((At { row, param }, value))
    }
}

fn default_settings(entry: &Entry) -> Settings {
    let mut settings = Settings::defaults(entry.spec);
    for (param, spec) in entry.spec.params.iter().enumerate() {
        if spec.kind == Kind::File {
            settings.set(At { row: None, param }, Value::File(Some("response.wav".to_owned())));
        }
    }
    settings
}

fn without_noise(mut settings: Settings) -> Settings {
    for (param, spec) in settings.spec().params.iter().enumerate() {
        if let (true, Kind::Number { low, .. }) = (NOISE_PARAMS.contains(&spec.name), spec.kind) {
            settings.set(At { row: None, param }, Value::Number(low));
        }
    }
    settings
}

/// A short decaying response for processors that read one.
fn response(_path: &str) -> Result<Channels, BuildError> {
    let mut random = Random(7);
    let frames = (0..3000).map(|i| random.signal(1, 0.3 * libm::exp(-f64::from(i) / 500.0))[0]);
    let (left, right) = frames.map(|frame| (frame[0], frame[1])).unzip();
    Ok(vec![left, right].into())
}

fn build(entry: &Entry, settings: &Settings, rate_hz: f64, lanes: usize) -> Option<Box<dyn Processor>> {
    match entry.build(settings, &Context { audio: &response, ..Context::plain(rate_hz, lanes) }) {
        Ok(processor) => Some(processor),
        Err(refusal) => {
            assert!(!refusal.message.is_empty() && !refusal.remedy.is_empty(), "a refusal must say what to do");
            None
        }
    }
}

/// Runs a check over the catalogue: defaults and random settings, every rate. A failure names the case.
fn for_every_case(check: impl Fn(&Entry, &Settings, f64, Random)) {
    for entry in CATALOGUE {
        let mut refused = 0;
        for rate_hz in RATES_HZ {
            for draw in 0..=DRAWS {
                let mut random = Random(draw * 1000 + rate_hz as u64);
                let settings = if draw == 0 { default_settings(entry) } else { random.settings(entry) };
                if build(entry, &settings, rate_hz, 1).is_none() {
                    refused += 1;
                    continue;
                }
                let outcome = catch_unwind(AssertUnwindSafe(|| check(entry, &settings, rate_hz, random)));
                if let Err(fault) = outcome {
                    let fault = fault.downcast_ref::<String>().map(String::as_str).or(fault.downcast_ref().copied());
                    let fault = fault.unwrap_or("a panic");
                    panic!("{} at {rate_hz} Hz, draw {draw}: {fault}\n{settings:?}", entry.spec.name);
                }
            }
        }
        assert!(refused * 2 < RATES_HZ.len() * DRAWS as usize, "{} refuses most settings", entry.spec.name);
    }
}

/// All lanes one after another: followers and residue are noise, the key is their sum.
fn lanes_of_noise(random: &mut Random, frames: usize, peak: f64) -> Vec<Frame> {
    let mut data = vec![[0.0; 2]; frames];
    for _ in 1..LANES {
        data.extend(random.signal(frames, peak));
    }
    for at in 0..frames {
        data[at] = sum_of_others(&data, frames, at);
    }
    data
}

/// What the followers and the residue add up to at a frame.
fn sum_of_others(data: &[Frame], frames: usize, at: usize) -> Frame {
    (1..LANES).map(|lane| data[lane * frames + at]).fold([0.0; 2], |sum, frame| [sum[0] + frame[0], sum[1] + frame[1]])
}

/// Processes in place in pieces of at most `block_frames`, with moves at their frames.
fn run(
    processor: &mut dyn Processor,
    data: &mut [Frame],
    frames: usize,
    block_frames: usize,
    outside: Option<&[Frame]>,
    moves: &[(usize, At, f64)],
) {
    let mut from = 0;
    let mut moves = moves.iter().peekable();
    while from < frames {
        while let Some((_, at, value)) = moves.next_if(|(when, ..)| *when == from) {
            processor.set(*at, *value);
        }
        let until = moves.peek().map_or(frames, |(when, ..)| *when);
        let length = block_frames.min(until - from);
        let mut whole = Block::new(data, frames, frames);
        processor.process(&mut whole.part(from, length), outside.map(|key| &key[from..from + length]));
        from += length;
    }
}

fn outside_for<'a>(entry: &Entry, key: &'a [Frame]) -> Option<&'a [Frame]> {
    entry.spec.outside_key.then_some(key)
}

fn all_finite(data: &[Frame]) -> bool {
    data.as_flattened().iter().all(|x| x.is_finite())
}

fn peak(data: &[Frame]) -> f64 {
    data.as_flattened().iter().fold(0.0, |peak: f64, x| peak.max(x.abs()))
}

// --- The contract ---------------------------------------------------------------------------------------------------

#[test]
fn the_same_samples_for_every_block_size() {
    const FRAMES: usize = 9000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let input = lanes_of_noise(&mut random, FRAMES, 0.3);
        let outside = random.signal(FRAMES, 0.5);
        let moves: Vec<_> = (0..12)
            .filter_map(|i| random.move_of(settings).map(|(at, value)| (3000 + i * RAMP_FRAMES, at, value)))
            .collect();
        let once = |block_frames| {
            let mut data = input.clone();
            let mut processor = build(entry, settings, rate_hz, LANES).unwrap();
            run(processor.as_mut(), &mut data, FRAMES, block_frames, outside_for(entry, &outside), &moves);
            data
        };
        let reference = once(64);
        for block_frames in [1, 7, 1000, MAX_BLOCK_FRAMES] {
            let first = once(block_frames).iter().zip(&reference).position(|(a, b)| a != b);
            assert_eq!(first, None, "first difference with blocks of {block_frames} (frame, lanes in a row)");
        }
    });
}

#[test]
fn reset_equals_fresh() {
    const FRAMES: usize = 6000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let input = random.signal(FRAMES, 0.8);
        let outside = random.signal(FRAMES, 0.5);
        let mut processor = build(entry, settings, rate_hz, 1).unwrap();
        let mut once = || {
            let mut data = input.clone();
            run(processor.as_mut(), &mut data, FRAMES, 1024, outside_for(entry, &outside), &[]);
            processor.reset();
            data
        };
        let fresh = once();
        assert!(fresh == once(), "after a reset the output differs");
    });
}

#[test]
fn nothing_but_finite_numbers_comes_out() {
    const FRAMES: usize = 12_000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let mut input = random.signal(FRAMES, 100.0);
        input[FRAMES / 4..][..500].fill([1.0, -1.0]);
        for frame in &mut input[FRAMES / 2..] {
            *frame = frame.map(|x| x * 1e-311);
        }
        input[FRAMES - 500..].fill([LOUDEST, -LOUDEST]);
        let outside = random.signal(FRAMES, LOUDEST);
        let mut processor = build(entry, settings, rate_hz, 1).unwrap();
        run(processor.as_mut(), &mut input, FRAMES, 512, outside_for(entry, &outside), &[]);
        assert!(all_finite(&input));
    });
}

/// What is no sound: in either channel, and in the outside key.
const NO_SOUND: [Frame; 5] =
    [[f64::NAN, 0.1], [0.1, f64::INFINITY], [f64::NEG_INFINITY, f64::NAN], [1e300, 0.1], [0.1, -2.0 * LOUDEST]];

#[test]
fn what_is_no_sound_is_silence_and_spoils_nothing() {
    const FRAMES: usize = 9000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let sound = lanes_of_noise(&mut random, FRAMES, 0.3);
        let outside = random.signal(FRAMES, 0.5);
        let [mut faulty, mut silenced] = [sound.clone(), sound];
        let [mut faulty_key, mut silenced_key] = [outside.clone(), outside];
        for at in (2000..2100).chain([4095, 4096, 8000]) {
            let fault = NO_SOUND[random.below(NO_SOUND.len())];
            match random.below(3) {
                0 => (faulty_key[at], silenced_key[at]) = (fault, [0.0; 2]),
                lane => {
                    faulty[(lane - 1) * FRAMES + at] = fault;
                    (0..LANES).for_each(|lane| silenced[lane * FRAMES + at] = [0.0; 2]);
                }
            }
        }
        for (data, key) in [(&mut faulty, &faulty_key), (&mut silenced, &silenced_key)] {
            let mut processor = build(entry, settings, rate_hz, LANES).unwrap();
            run(processor.as_mut(), data, FRAMES, 512, outside_for(entry, key), &[]);
        }
        assert!(all_finite(&faulty), "no number came out");
        assert!(faulty == silenced, "a fault sounds different from silence");
    });
}

/// Every number of some settings.
fn numbers(settings: &Settings) -> Vec<(At, [f64; 2])> {
    let spec = settings.spec();
    let of = |row: Option<usize>, params: &'static [Param]| {
        params.iter().enumerate().filter_map(move |(param, spec)| match spec.kind {
            Kind::Number { low, high, .. } => Some((At { row, param }, [low, high])),
            _ => None,
        })
    };
    let rows = (0..settings.row_count()).flat_map(|row| of(Some(row), spec.rows.map_or(&[][..], |rows| rows.params)));
    of(None, spec.params).chain(rows).collect()
}

#[test]
fn numbers_outside_their_ranges_sound_like_the_nearer_end_and_nan_like_no_move() {
    const FRAMES: usize = 2000;
    for entry in CATALOGUE {
        for draw in 0..4 {
            let mut random = Random(draw);
            let settings = if draw == 0 { default_settings(entry) } else { random.settings(entry) };
            if build(entry, &settings, 48_000.0, 1).is_none() {
                continue;
            }
            let (input, outside) = (random.signal(FRAMES, 0.3), random.signal(FRAMES, 0.5));
            let with = |at: At, value: Option<f64>| {
                let mut data = input.clone();
                let mut processor = build(entry, &settings, 48_000.0, 1).unwrap();
                let moves: Vec<_> = value.into_iter().map(|value| (16 * RAMP_FRAMES, at, value)).collect();
                run(processor.as_mut(), &mut data, FRAMES, 512, outside_for(entry, &outside), &moves);
                assert!(all_finite(&data), "{} {at:?} set to {value:?}", entry.spec.name);
                data
            };
            for (at, [low, high]) in numbers(&settings) {
                // A seed may be as large as 2^32.
                for (given, taken) in [(1e12, high), (-1e12, low), (f64::INFINITY, high), (f64::NEG_INFINITY, low)] {
                    assert_eq!(settings.clone().set(at, Value::Number(given)), Fit::Clamped);
                    let alike = with(at, Some(given)) == with(at, Some(taken));
                    assert!(alike, "{} draw {draw}, {at:?} set to {given}", entry.spec.name);
                }
                assert_eq!(settings.clone().set(at, Value::Number(f64::NAN)), Fit::Refused);
                let alike = with(at, Some(f64::NAN)) == with(at, None);
                assert!(alike, "{} draw {draw}, {at:?} set to NaN", entry.spec.name);
            }
        }
    }
}

#[test]
fn silence_stays_silence_and_tails_end() {
    for_every_case(|entry, settings, rate_hz, mut random| {
        if NOISY.contains(&entry.spec.name) {
            return;
        }
        let settings = without_noise(settings.clone());
        let mut processor = build(entry, &settings, rate_hz, 1).unwrap();
        let mut silence = vec![[0.0; 2]; 8192];
        run(processor.as_mut(), &mut silence, 8192, 1024, None, &[]);
        assert!(peak(&silence) < 1e-15, "silence came out as {}", peak(&silence));
        processor.reset();
        let mut sound = random.signal(4096, 0.5);
        run(processor.as_mut(), &mut sound, 4096, 1024, None, &[]);
        let tail = processor.tail_frames() + processor.latency_frames();
        // A feedback loop may go round for many minutes; that is too long to wait for here.
        if tail > 60 * rate_hz as usize {
            assert_eq!(entry.spec.name, "delay", "a tail of {tail} frames");
            return;
        }
        for _ in 0..tail.div_ceil(4096) {
            run(processor.as_mut(), &mut vec![[0.0; 2]; 4096], 4096, 4096, None, &[]);
        }
        let mut after = vec![[0.0; 2]; 4096];
        run(processor.as_mut(), &mut after, 4096, 1024, None, &[]);
        // -120 dB of what went in.
        assert!(peak(&after) < 0.5e-6, "after the tail there is still {}", peak(&after));
    });
}

#[test]
fn the_latency_is_as_reported() {
    for entry in CATALOGUE {
        for rate_hz in RATES_HZ {
            let mut processor = build(entry, &without_noise(default_settings(entry)), rate_hz, 1).unwrap();
            let latency = processor.latency_frames();
            let frames = latency + 8192;
            let mut data = vec![[0.0; 2]; frames];
            data[0] = [0.25, 0.25];
            run(processor.as_mut(), &mut data, frames, 512, None, &[]);
            let energy = |part: &[Frame]| part.as_flattened().iter().map(|x| x * x).sum::<f64>();
            // Linear-phase resampling filters ring a little ahead of the impulse.
            let early = energy(&data[..latency]) / energy(&data);
            assert!(early < 0.1 || energy(&data) == 0.0, "{}: {early} of the energy is early", entry.spec.name);
            let loudest = (0..frames).max_by(|a, b| data[*a][0].abs().total_cmp(&data[*b][0].abs()));
            if !LATER.contains(&entry.spec.name) {
                assert_eq!(loudest, Some(latency), "{} at {rate_hz} Hz", entry.spec.name);
            }
        }
    }
}

#[test]
fn moving_numbers_stays_finite_and_nothing_allocates() {
    const FRAMES: usize = 200 * RAMP_FRAMES;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let mut data = lanes_of_noise(&mut random, FRAMES, 0.5);
        let outside = random.signal(FRAMES, 0.5);
        let moves: Vec<_> = (0..FRAMES / RAMP_FRAMES)
            .filter_map(|i| random.move_of(settings).map(|(at, value)| (i * RAMP_FRAMES, at, value)))
            .collect();
        let mut processor = build(entry, settings, rate_hz, LANES).unwrap();
        let count = allocations(|| {
            run(processor.as_mut(), &mut data, FRAMES, RAMP_FRAMES, outside_for(entry, &outside), &moves);
        });
        assert_eq!(count, 0, "allocations while running");
        assert!(all_finite(&data));
        let most = peak(&data);
        assert!(most < 1e6, "a move made a level of {most}");
    });
}

#[test]
fn followers_and_residue_sum_to_the_key() {
    const FRAMES: usize = 8000;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let mut data = lanes_of_noise(&mut random, FRAMES, 0.25);
        let mut alone = data[..FRAMES].to_vec();
        let outside = random.signal(FRAMES, 0.8);
        let outside = outside_for(entry, &outside);
        let mut processor = build(entry, settings, rate_hz, LANES).unwrap();
        run(processor.as_mut(), &mut data, FRAMES, 512, outside, &[]);
        let mut worst = 0.0_f64;
        for at in 0..FRAMES {
            let others = sum_of_others(&data, FRAMES, at);
            worst = worst.max((data[at][0] - others[0]).abs()).max((data[at][1] - others[1]).abs());
        }
        let level = peak(&data).max(1.0);
        assert!(worst < ROUNDING * level, "followers are off by {worst} at a level of {level}");
        let mut processor = build(entry, settings, rate_hz, 1).unwrap();
        run(processor.as_mut(), &mut alone, FRAMES, 512, outside, &[]);
        assert!(alone == data[..FRAMES], "the key sounds different when followers are there");
    });
}

/// Whether some work computes with denormal numbers: the processor notes it in a sticky flag of its control register
/// (Intel 64 manual, volume 1, section 11.5.2.2: the denormal-operand flag, bit 1 of MXCSR). Unlike a stopwatch it cannot
/// err, and it also sees what never comes out.
#[cfg(target_arch = "x86_64")]
#[allow(unsafe_code)]
fn meets_denormals(work: impl FnOnce()) -> bool {
    use std::arch::asm;
    const MET: u32 = 1 << 1;
    let mut register = 0_u32;
    let place = &raw mut register;
    // The register holds flags and the rounding mode; only the one flag is changed.
    unsafe { asm!("stmxcsr [{}]", in(reg) place) };
    register &= !MET;
    unsafe { asm!("ldmxcsr [{}]", in(reg) place) };
    work();
    unsafe { asm!("stmxcsr [{}]", in(reg) place) };
    register & MET != 0
}

#[test]
#[cfg(target_arch = "x86_64")]
fn the_flag_tells_denormals() {
    let multiply = |a: f64, b: f64| {
        std::hint::black_box(std::hint::black_box(a) * std::hint::black_box(b));
    };
    assert!(meets_denormals(|| multiply(1e-310, 0.5)) && !meets_denormals(|| multiply(0.0, 0.5)));
}

/// What rings on must end, not crawl: after a fade to -600 dB and in the silence after it. What dies away may pass
/// through the denormals once on its way.
#[test]
#[cfg(target_arch = "x86_64")]
fn nothing_crawls_on_denormals() {
    const FRAMES: usize = 1024;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let mut processor = build(entry, settings, rate_hz, 1).unwrap();
        let mut met = 0;
        for block in 0..100 {
            let mut data = random.signal(FRAMES, if block < 30 { libm::pow(10.0, -f64::from(block)) } else { 0.0 });
            met += usize::from(meets_denormals(|| run(processor.as_mut(), &mut data, FRAMES, FRAMES, None, &[])));
        }
        assert!(met <= 3, "{met} of 100 blocks computed with denormals");
    });
}
