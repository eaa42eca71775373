//! What must be true of every network, tried on random ones.
//!
//! What a single processor promises is held by the contract of `dsp`; here stands what only a network can break.

use chance::Random;
use engine::{Setup, Stream};
use units::Frame;

use crate::HEAD;
use crate::sheets::{self, sheet, songs};
use crate::songs::{Keep, Songs, difference_db, impulse, noise, plan, render};

const PRINT: &str = "[[print]]\nname = \"p\"\nfrom = \"mix\"\nfiles = [{ format = \"wav\", bits = 32 }]\n";

/// Frames of a render here, and those of a tick of moving numbers' clock that they are whole multiples of.
const FRAMES: usize = 12_000;

/// Runs of a property, each with its own seed. The soak's count is for whole sheets; here a tenth of it.
fn seeds(few: u64) -> std::ops::Range<u64> {
    1000..1000 + (crate::cases(10 * few) / 10)
}

/// Whether all processors of a sheet can be built: some refuse a combination of settings.
fn builds(text: &str, songs: &Songs) -> bool {
    let (sheet, _) = sheet::read(text, &engine::specs());
    sheet.is_some_and(|sheet| engine::compile(&sheet, songs).is_ok())
}

/// Random sheets whose processors can all be built.
fn random_sheets(few: u64, of: impl Fn(&mut Random) -> String) -> Vec<(u64, String)> {
    let songs = songs(FRAMES);
    let made = seeds(few).map(|seed| (seed, of(&mut Random(seed))));
    made.filter(|(_, text)| builds(text, &songs)).collect()
}

fn any(random: &mut Random) -> String {
    sheet(random, -1.0)
}

/// Sheets without the recording that holds no numbers, whose sums say nothing.
fn of_numbers(random: &mut Random) -> String {
    any(random).replace("no numbers.wav", "soft.wav")
}

/// The lanes of the first print.
fn lanes(text: &str, songs: &Songs, setup: &Setup, threads: usize) -> Vec<Vec<Frame>> {
    let plan = plan(text, songs);
    let stream = Stream::open(&plan, songs, &[plan.prints[0].step], setup).unwrap();
    let mut keep = Keep::of_lanes(stream.lanes());
    stream.run(threads, vec![Box::new(&mut keep)], &|_| ()).unwrap();
    keep.lanes
}

fn peak(frames: &[Frame]) -> f64 {
    frames.as_flattened().iter().fold(0.0, |most, x| most.max(x.abs()))
}

/// Bits, so that even a zero's sign counts.
fn bits(frames: &[Frame]) -> Vec<u64> {
    frames.as_flattened().iter().map(|x| x.to_bits()).collect()
}

#[test]
fn blocks_and_threads_change_not_a_bit() {
    for (seed, text) in random_sheets(6, any) {
        let songs = songs(FRAMES);
        let first = bits(&lanes(&text, &songs, &Setup::default(), 1)[0]);
        for (block_frames, depth, threads) in [(64, 2, 2), (777, 4, 3), (4096, 1, 1)] {
            let setup = Setup { block_frames, depth, ..Setup::default() };
            assert!(bits(&lanes(&text, &songs, &setup, threads)[0]) == first, "seed {seed}, {block_frames}\n{text}");
        }
    }
}

#[test]
fn followers_and_residue_sum_to_the_print() {
    for (seed, text) in random_sheets(6, of_numbers) {
        let followers = vec![vec!["stem 0".to_owned()], vec!["stem 1".to_owned()]];
        let setup = Setup { followers, ..Setup::default() };
        let lanes = lanes(&text, &songs(FRAMES), &setup, 2);
        let sum: Vec<Frame> = (0..lanes[0].len())
            .map(|at| (1..lanes.len()).fold([0.0; 2], |sum, lane| [0, 1].map(|side| sum[side] + lanes[lane][at][side])))
            .collect();
        // -140 dB of what sounds loudest in any lane: parts may be louder than their sum.
        let level = lanes.iter().map(|lane| peak(lane)).fold(1.0, f64::max);
        let off = difference_db(&sum, &lanes[0]) - units::db_from_gain(level);
        assert!(off < -140.0, "seed {seed}: {off} dB\n{text}");
    }
}

/// Parameters of linear processors that make them anything else, as `name = `: they stay where they are when silent.
const BENT: [&str; 9] = [
    "threshold_db",
    "character",
    "duck_db",
    "duck_threshold_db",
    "even_percent",
    "ratio",
    "range_db",
    "attack_ms",
    "release_ms",
];

/// Processors that promise to be linear, moved by the clock at most.
const LINEAR: [&str; 7] = ["trim", "eq", "delay", "room", "convolution", "width", "spread"];

/// A network of linear processors: two stems through buses, sends and rides.
fn linear(random: &mut Random) -> String {
    let mut link = || loop {
        let name = LINEAR[random.below(LINEAR.len())];
        let entry = dsp::CATALOGUE.iter().find(|entry| entry.spec.name == name).expect("it is in the catalogue");
        let link = sheets::link(random, entry.spec, &[]);
        if !BENT.iter().any(|bent| link.contains(&format!("{bent} ="))) {
            return link;
        }
    };
    format!(
        "{HEAD}[[stem]]\nname = \"a\"\nfile = \"a.wav\"\nto = \"mix\"\nchain = [{}]\nsends = [{{ to = \"send\", level_db = -6 }}]\n\
         rides = [{{ what = \"level_db\", points = [[0.02, -20], [0.1, 0]] }}]\n\
         [[stem]]\nname = \"b\"\nfile = \"b.wav\"\nto = \"mix\"\nchain = [{}]\nsends = [{{ to = \"send\" }}]\n\
         [[bus]]\nname = \"send\"\nto = \"mix\"\nchain = [{}]\n[[bus]]\nname = \"mix\"\nchain = [{}]\n{PRINT}",
        link(),
        link(),
        link(),
        link()
    )
}

fn two(a: Vec<Frame>, b: Vec<Frame>) -> Songs {
    Songs::default().with("a.wav", a).with("b.wav", b).with("response.wav", noise(2000, 9))
}

fn scaled(frames: &[Frame], gain: f64) -> Vec<Frame> {
    frames.iter().map(|frame| frame.map(|x| gain * x)).collect()
}

#[test]
fn a_linear_network_superposes_and_scales() {
    let silence = || vec![[0.0; 2]; FRAMES];
    let (a, b) = (noise(FRAMES, 1), noise(FRAMES, 2));
    for seed in seeds(8) {
        let text = linear(&mut Random(seed));
        if !builds(&text, &two(a.clone(), b.clone())) {
            continue;
        }
        let both = render(&text, &two(a.clone(), b.clone()));
        let (alone_a, alone_b) = (render(&text, &two(a.clone(), silence())), render(&text, &two(silence(), b.clone())));
        let sum: Vec<Frame> = alone_a.iter().zip(&alone_b).map(|(a, b)| [a[0] + b[0], a[1] + b[1]]).collect();
        let level = units::db_from_gain(peak(&both).max(1.0));
        let off = difference_db(&both, &sum) - level;
        assert!(off < -180.0, "seed {seed}: superposition off by {off} dB\n{text}");
        let louder = render(&text, &two(scaled(&a, 8.0), scaled(&b, 8.0)));
        let off = difference_db(&louder, &scaled(&both, 8.0)) - level;
        assert!(off < -180.0, "seed {seed}: scaling off by {off} dB\n{text}");
    }
}

/// Processors that do at any time what they would do at any other: neither noise nor a clock of their own.
const TIMELESS: [&str; 6] = ["trim", "eq", "compressor", "drive", "width", "limiter"];

#[test]
fn a_song_that_starts_later_sounds_the_same_later() {
    const LATER: usize = 4800;
    for seed in seeds(8) {
        let mut random = Random(seed);
        let mut link = || {
            let name = TIMELESS[random.below(TIMELESS.len())];
            let entry = dsp::CATALOGUE.iter().find(|entry| entry.spec.name == name).expect("it is in the catalogue");
            sheets::link(&mut random, entry.spec, &[])
        };
        let text = |from: &str, links: &[String]| {
            format!(
                "{HEAD}[[stem]]\nname = \"a\"\nfile = \"a.wav\"\nto = \"mix\"\nfrom = \"{from}\"\nchain = [{}]\n\
                 [[bus]]\nname = \"mix\"\nchain = [{}]\n{PRINT}",
                links[0], links[1]
            )
        };
        let links = [link(), link()];
        let songs = two(noise(FRAMES, 3), Vec::new());
        if !builds(&text("0", &links), &songs) {
            continue;
        }
        let (now, later) = (render(&text("0", &links), &songs), render(&text("0.1", &links), &songs));
        let off =
            difference_db(&later[LATER..LATER + FRAMES], &now[..FRAMES]) - units::db_from_gain(peak(&now).max(1.0));
        assert!(off < -200.0, "seed {seed}: {off} dB\n{links:?}");
    }
}

#[test]
fn an_impulse_arrives_at_one_sample_through_any_graph() {
    for seed in seeds(20) {
        let mut random = Random(seed);
        let count = 2 + random.below(8);
        let mut text = HEAD.to_owned();
        let mut gains = vec![0.0; count + 1];
        gains[count] = 1.0;
        // Bus 0 is the sum. Each bus feeds lower ones; at neutral settings only its latency is left of its compressor.
        for bus in (1..=count).rev() {
            let (to, send) = (random.below(bus), random.below(bus));
            let look_ahead_ms = 10.0 * random.share();
            text += &format!(
                "[[bus]]\nname = \"b{bus}\"\nto = \"b{to}\"\nsends = [{{ to = \"b{send}\", level_db = 0 }}]\n\
                 chain = [{{ compressor = {{ threshold_db = 0, ratio = 1, look_ahead_ms = {look_ahead_ms:?} }} }}]\n"
            );
            gains[to] += gains[bus];
            gains[send] += gains[bus];
        }
        text += &format!(
            "[[bus]]\nname = \"b0\"\n[[stem]]\nname = \"a\"\nfile = \"a.wav\"\nto = \"b{count}\"\n{}",
            PRINT.replace("\"mix\"", "\"b0\"")
        );
        let got = render(&text, &Songs::default().with("a.wav", impulse(3000, 1234)));
        for (at, frame) in got.iter().enumerate() {
            let expected = if at == 1234 { gains[0] } else { 0.0 };
            assert!((frame[0] - expected).abs() < 1e-9 * gains[0], "seed {seed}, frame {at}: {frame:?}\n{text}");
        }
    }
}

#[test]
fn a_ride_that_only_rises_makes_a_level_that_only_rises() {
    let steady = Songs::default().with("a.wav", vec![[0.5, 0.5]; FRAMES]);
    for seed in seeds(20) {
        let mut random = Random(seed);
        let (mut secs, mut db) = (0.0, -60.0 * random.share());
        let mut points = Vec::new();
        for _ in 0..1 + random.below(6) {
            points.push(format!("[{secs:?}, {db:?}]"));
            secs += 0.0001 + 0.1 * random.share() * random.share();
            db = (db + 40.0 * random.share()).min(24.0);
        }
        let what = ["level_db", "trim_db"][random.below(2)];
        let text = format!(
            "{HEAD}[[stem]]\nname = \"a\"\nfile = \"a.wav\"\nto = \"mix\"\nrides = [{{ what = \"{what}\", points = [{}] }}]\n\
             [[bus]]\nname = \"mix\"\n{PRINT}",
            points.join(", ")
        );
        let got = render(&text, &steady);
        let falls = got.windows(2).position(|pair| pair[1][0] < pair[0][0] * (1.0 - 1e-12));
        assert_eq!(falls, None, "seed {seed}\n{text}");
    }
}

/// What makes sound of its own, as parameters and processors.
const NOISY: [&str; 3] = ["hiss_db =", "noise_db =", "dither"];

#[test]
fn silence_in_is_silence_out() {
    let quiet = |random: &mut Random| {
        let text = any(random);
        crate::sheets::FILES.iter().fold(text, |text, file| text.replace(file, "silence.wav"))
    };
    for (seed, text) in random_sheets(15, quiet) {
        if NOISY.iter().any(|noisy| text.contains(noisy)) {
            continue;
        }
        let level = peak(&lanes(&text, &songs(FRAMES), &Setup::default(), 1)[0]);
        assert!(level < 1e-12, "seed {seed}: {level}\n{text}");
    }
}

#[test]
fn a_start_in_the_middle_is_a_start_after_silence() {
    const FROM: usize = 4800;
    let mut tried = 0;
    for (seed, text) in random_sheets(40, of_numbers) {
        if NOISY.iter().any(|noisy| text.contains(noisy)) {
            continue;
        }
        tried += 1;
        let whole = songs(FRAMES);
        let silenced = crate::sheets::FILES.iter().fold(songs(FRAMES), |songs, file| {
            let mut frames = match *file {
                "soft.wav" => scaled(&noise(FRAMES, 1), 0.05),
                "loud.wav" => scaled(&noise(FRAMES, 2), 4.0),
                "clicks.wav" => (0..FRAMES).map(|n| if n % 997 == 0 { [1.0, -1.0] } else { [0.0; 2] }).collect(),
                _ => vec![[0.0; 2]; FRAMES],
            };
            frames[..FROM].fill([0.0; 2]);
            songs.with(file, frames)
        });
        let setup = Setup { from: FROM as u64, ..Setup::default() };
        let (sought, fresh) = (lanes(&text, &whole, &setup, 1), lanes(&text, &silenced, &Setup::default(), 1));
        let sought = &sought[0];
        let fresh = &fresh[0][fresh[0].len() - sought.len()..];
        let off = difference_db(sought, fresh) - units::db_from_gain(peak(fresh).max(1.0));
        assert!(off < -200.0, "seed {seed}: {off} dB\n{text}");
    }
    assert!(tried > 1, "some sheets make no noise of their own");
}
