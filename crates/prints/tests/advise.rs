//! Advice on small songs, each made for one finding, and on one that deserves none.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::fs;
use std::sync::atomic::AtomicBool;

use prints::Stopped;
use prints::advise::{Advice, PathKind, Question, advise};
use units::{Frame, Problem, Severity};

use song::{HEAD, RATE_HZ, signal, write_stem};

mod song;

const STEMS: &str = r#"
[[stem]]
name = "bass"
file = "bass.wav"
to = "band"
[[stem]]
name = "keys"
file = "keys.wav"
to = "band"
"#;

const MIX: &str = r#"
[[bus]]
name = "mix"
[[print]]
name = "for mastering"
from = "mix"
files = [{ format = "wav", bits = 24 }]
"#;

/// Noise that falls by 6 dB an octave from 100 Hz on, with notes of half a second that die away.
fn stem(seed: u64, secs: f64, width: f64) -> Vec<Frame> {
    let mut random = chance::Random(seed);
    let pole = libm::exp(-std::f64::consts::TAU * 100.0 / f64::from(RATE_HZ));
    let mut held = [0.0; 2];
    signal(secs, |n| {
        let (middle, side) = (random.even(), width * random.even());
        let level = 6.0 * libm::exp(-6.0 * (n % 24_000) as f64 / f64::from(RATE_HZ));
        for (held, x) in held.iter_mut().zip([middle + side, middle - side]) {
            *held = (1.0 - pole) * x + pole * *held;
        }
        held.map(|x| level * (x + 0.02 * middle))
    })
}

/// Advice on a sheet around `nodes`, with stems of three seconds.
fn advice(nodes: &str) -> Advice {
    advice_in(&tempfile::tempdir().unwrap(), nodes)
}

fn advice_in(folder: &tempfile::TempDir, nodes: &str) -> Advice {
    write_stem(folder.path(), "bass.wav", &stem(1, 3.2, 0.0));
    write_stem(folder.path(), "keys.wav", &stem(2, 3.2, 0.3));
    let sheet = folder.path().join("sheet.toml");
    fs::write(&sheet, format!("{HEAD}{STEMS}{nodes}")).unwrap();
    let page = folder.path().join("advice.html");
    let residual = folder.path().join("residual.wav");
    let question = Question {
        sheet: &sheet,
        page: Some(&page),
        residual: Some(&residual),
        hear: None,
        threads: 2,
        stop: &AtomicBool::new(false),
        progress: &|_, _| (),
    };
    let advice = advise(&question).unwrap_or_else(|stopped| match stopped {
        Stopped::Sheet(loaded) => panic!("{:#?}", loaded.problems),
        Stopped::Fault(fault) => panic!("{fault}"),
    });
    assert!(fs::read_to_string(&page).unwrap().contains("What each processor does"));
    advice
}

fn finding<'a>(advice: &'a Advice, code: &str) -> Option<&'a Problem> {
    advice.findings.iter().find(|finding| finding.code == code)
}

fn parallel(chain: &str, more: &str) -> String {
    format!(
        r#"
[[bus]]
name = "band"
to = "mix"
sends = [{{ to = "beside" }}]
[[bus]]
name = "beside"
to = "mix"
{more}
chain = [{chain}]
{MIX}"#
    )
}

#[test]
fn a_copy_six_decibels_under_adds_what_two_like_waves_add() {
    // 20 log10(1 + 10^(-6/20)) = 3.53 dB (the sum of two like waves, any handbook of acoustics).
    let advice = advice(&parallel("", "level_db = -6"));
    let path = advice.paths.iter().find(|path| path.name == "beside").unwrap();
    assert_eq!(path.kind, PathKind::Return);
    assert!((path.change.loudness_lu.unwrap() - 3.5287).abs() < 1e-3, "{path:?}");
    assert!((path.under_lu.unwrap() + 6.0).abs() < 1e-3 && (path.correlation.unwrap() - 1.0).abs() < 1e-6);
    let point = path.blend.iter().find(|point| point.level_db == -6.0).unwrap();
    assert!((point.loudness_lu.unwrap() - 1.9465).abs() < 1e-3, "6 dB lower it is at -12 dB: {point:?}");
    assert_eq!(path.sentence, "Adds 3.5 LU.");
    let mix = advice.alignment.iter().find(|sum| sum.bus == "mix").unwrap();
    assert!(mix.apart_samples.unwrap() < 0.05 && mix.deepest().unwrap().1 > -0.001, "{mix:?}");
    // It does nothing but add: the one thing to say about it. (Half of these stems lies below 200 Hz, which is told too.)
    let of_buses = advice.findings.iter().filter(|finding| finding.at.starts_with("bus "));
    let codes: Vec<&str> = of_buses.map(|finding| finding.code).collect();
    assert_eq!(codes, ["doubled-path"], "{:#?}", advice.findings);
    // In the ledger: energies 1 and 10^(-0.6) of their sum.
    for record in &advice.ledger {
        let levels: Vec<f64> = record.ways.iter().map(|way| way.level_db.unwrap()).collect();
        assert!((levels[0] + 0.9732).abs() < 1e-3 && (levels[1] + 6.9732).abs() < 1e-3, "{record:?}");
    }
}

#[test]
fn a_path_upside_down_is_told_twice() {
    let advice = advice(&parallel("", "level_db = -6\npolarity = \"inverted\""));
    let path = advice.paths.iter().find(|path| path.name == "beside").unwrap();
    // 20 log10(1 - 10^(-6/20)) = -6.04 dB.
    assert!((path.change.loudness_lu.unwrap() + 6.0412).abs() < 1e-3);
    assert_eq!(finding(&advice, "return-cancels").unwrap().severity, Severity::Warn);
    assert_eq!(finding(&advice, "turned-path").unwrap().at, "bus mix");
}

#[test]
fn a_short_delay_of_the_whole_band_bites_its_low_end() {
    let slap = r#"{ delay = { time_ms = 5, feedback_percent = 0, low_cut_hz = 20, high_cut_hz = 20000 } }"#;
    let advice = advice(&parallel(slap, "level_db = -6"));
    let found = finding(&advice, "low-end-comb").unwrap();
    assert_eq!(found.severity, Severity::Warn, "{found:?}");
    let space = &advice.pre_delays[0];
    assert_eq!((space.parameter, space.in_use_ms), ("time_ms", 5.0));
    assert_eq!(space.notches_hz, [100.0]);
    let (hz, db) = space.comb_db.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
    // A repeat at -6 dB takes (1 - g)^2 / (1 + g^2) at its notch: 7 dB, a little less over a third octave.
    assert!(hz == 100.0 && (-7.1..-4.5).contains(&db), "{hz} {db}");
    // In the paths it is late on purpose, and no fault.
    assert!(finding(&advice, "late-path").is_none());
}

#[test]
fn a_room_that_starts_above_the_low_end_spares_it() {
    let room = "{ room = { decay_s = 0.5, pre_delay_ms = 25, low_cut_hz = 300 } }";
    let advice = advice(&parallel(room, "level_db = -15"));
    assert!(advice.pre_delays[0].now.least_db > -0.5, "{:?}", advice.pre_delays[0].now);
    assert!(finding(&advice, "low-end-comb").is_none());
}

#[test]
fn a_path_that_moves_by_itself_is_told() {
    let tape = r#"{ tape = { wow_percent = 0.3, flutter_percent = 0.2 } }"#;
    let advice = advice(&parallel(tape, "level_db = -6"));
    assert_eq!(finding(&advice, "moving-path").unwrap().at, "bus mix", "{:#?}", advice.alignment);
}

#[test]
fn a_steep_cut_beside_the_dry_path_hollows_the_sum() {
    let cut = r#"{ eq = { bands = [{ shape = "low cut", hz = 200, slope_db_per_octave = 24 }] } }"#;
    let found = advice(&parallel(cut, ""));
    assert!(finding(&found, "hollow-sum").is_some(), "{:#?}", found.alignment);
    // A fourth-order Butterworth turns by 180 degrees at its corner, where it has -3 dB: the two nearly cancel.
    let mix = found.alignment.iter().find(|sum| sum.bus == "mix").unwrap();
    let (hz, db) = mix.deepest().unwrap();
    assert!((160.0..=250.0).contains(&hz) && db < -10.0, "{hz} {db}");
    let linear = cut.replace("eq = {", "eq = { phase = \"linear\",");
    assert!(finding(&advice(&parallel(&linear, "")), "hollow-sum").is_none());
}

#[test]
fn loudness_beyond_the_knee_has_its_price_told() {
    let print = r#"
[[bus]]
name = "band"
to = "mix"
[[bus]]
name = "mix"
[[print]]
name = "for approval"
from = "mix"
chain = [{ limiter = { ceiling_dbtp = -1.0 } }]
loudness = { lufs = -7.0 }
files = [{ format = "wav" }]
"#;
    let folder = tempfile::tempdir().unwrap();
    let advice = advice_in(&folder, print);
    let cost = &advice.costs[0];
    assert_eq!(cost.whole_less_cells_lu, None, "a song this short is rendered whole");
    // While nothing is limited, a decibel is a loudness unit.
    let (first, second) = (&cost.points[0], &cost.points[1]);
    assert!((second.lufs - first.lufs - 1.0).abs() < 0.01 || first.reduction_most_db > 0.0);
    // Noise up to half the rate: see the limiter's own promise.
    assert!(cost.points.iter().all(|point| point.true_peak_dbtp <= -0.9), "{:#?}", cost.points);
    assert!(cost.points.windows(2).all(|pair| pair[1].reduction_most_db + 0.05 >= pair[0].reduction_most_db));
    // A player that turns down to -14 LUFS leaves the peak at PLR - 14.
    let last = cost.points.last().unwrap();
    assert!((last.normalised_dbtp[1] - (last.plr_db - 14.0)).abs() < 1e-9);
    assert!(finding(&advice, "beyond-knee").is_some(), "{cost:#?}");
    // What codecs leave: the less, the higher the rate; and the residual file holds as much.
    for codec in ["mp3", "opus", "vorbis"] {
        let of_it = cost.codecs.iter().filter(|record| record.codec.starts_with(codec));
        let residuals: Vec<f64> = of_it.map(|record| record.residual_db.unwrap()).collect();
        assert!(
            residuals.len() > 1 && residuals.windows(2).all(|pair| pair[1] < pair[0] + 0.5),
            "{codec}: {residuals:?}"
        );
    }
    let (info, left) = media::read_all(&folder.path().join("residual.wav"), None).unwrap();
    assert_eq!((info.rate_hz, left.len()), (RATE_HZ, (cost.secs[1] * f64::from(RATE_HZ)).round() as usize));
    let power = left.iter().map(|x| x[0] * x[0] + x[1] * x[1]).sum::<f64>() / left.len() as f64;
    assert!(power > 0.0 && units::db_from_power(power) < -20.0, "{}", units::db_from_power(power));
}

#[test]
fn a_clean_sheet_has_nothing_to_be_told() {
    let crush = "{ compressor = { kind = \"valve\", threshold_db = -30, ratio = 8, attack_ms = 0.4 } }";
    let advice = advice(&parallel(crush, "level_db = -12"));
    assert!(advice.findings.iter().all(|finding| finding.severity == Severity::Note), "{:#?}", advice.findings);
    assert!(!advice.failed() && advice.drivers.iter().any(|driver| driver.name == "beside, compressor"));
}

#[test]
fn files_and_parts_that_nobody_plays_are_told() {
    let folder = tempfile::tempdir().unwrap();
    write_stem(folder.path(), "take 2.wav", &stem(3, 0.5, 0.0));
    let last = format!(
        "{HEAD}{}\n[[stem]]\nname = \"pad\"\nfile = \"pad.wav\"\nto = \"band\"\n{}",
        STEMS.replace("file = \"keys.wav\"", "file = \"keys.wav\"\ntrim_db = -5"),
        parallel("", "level_db = -6")
    );
    write_stem(folder.path(), "pad.wav", &stem(4, 1.0, 0.0));
    fs::create_dir_all(folder.path().join("prints/r002")).unwrap();
    fs::write(folder.path().join("prints/r002/sheet.toml"), last).unwrap();
    let advice = advice_in(&folder, &parallel("", "level_db = -6"));
    let all = |code: &str| -> Vec<&str> {
        advice.findings.iter().filter(|finding| finding.code == code).map(|finding| finding.at.as_str()).collect()
    };
    assert_eq!(all("orphan-file"), ["pad.wav", "take 2.wav"]);
    assert_eq!(all("missing-part"), ["stem pad"]);
    assert_eq!(all("part-jumped"), ["stem keys"], "{:#?}", advice.ledger);
    let keys = advice.ledger.iter().find(|record| record.stem == "keys").unwrap();
    assert!((keys.lufs.unwrap() - keys.last_lufs.unwrap() - 5.0).abs() < 1e-6);
}

#[test]
fn a_send_that_carries_nothing_is_told() {
    let advice = advice(&parallel("{ drive = { drive_db = 6 } }", "level_db = -120"));
    let found: Vec<&str> =
        advice.findings.iter().filter(|finding| finding.code == "silent-path").map(|finding| &*finding.at).collect();
    assert_eq!(found, ["stem bass", "stem keys"]);
    assert!(finding(&advice, "return-unheard").is_some());
}

#[test]
fn one_stem_that_leads_a_compressor_by_the_nose_is_told() {
    let nodes = r#"
[[stem]]
name = "kick"
file = "bass.wav"
to = "band"
trim_db = 14
[[bus]]
name = "band"
to = "mix"
chain = [{ compressor = { threshold_db = -30, ratio = 4 } }]
"#;
    let advice = advice(&format!("{nodes}{MIX}"));
    let found = finding(&advice, "one-driver").unwrap();
    assert!(found.message.contains("“kick”"), "{found:?}");
    // Energies: bass and kick hold the same sound, the kick 14 dB over it.
    let driver = &advice.drivers[0];
    assert!(driver.drivers[0].1 > 0.8 && driver.reduction_db > 1.0, "{driver:?}");
}

#[test]
fn a_wider_side_plays_a_one_sided_stem_in_the_far_speaker_by_the_closed_form() {
    // 3 dB more side: (1 + s)/2 near, (1 - s)/2 far, upside down; mono keeps the middle, so that what it loses of a stem
    // on one side goes from (M + S)/M = 2 to 1 + s^2.
    let nodes = |percent: f64| {
        format!(
            r#"
[[stem]]
name = "guitar"
file = "bass.wav"
to = "band"
pan_percent = -100
[[bus]]
name = "band"
to = "mix"
chain = [{{ width = {{ width_percent = {percent} }} }}]
{MIX}"#
        )
    };
    let found = advice(&nodes(141.253_754));
    let record = found.sides.iter().find(|record| record.stem == "guitar").unwrap();
    assert_eq!(record.by, "band, width");
    let side: f64 = 1.412_537_54;
    let far_db = units::db_from_gain((1.0 - side) / (1.0 + side));
    assert!((record.far_db[1].unwrap() - far_db).abs() < 0.05 && record.far_turned, "{record:?}, expected {far_db}");
    assert!((record.mono_loss_db[0].unwrap() - 3.0103).abs() < 0.01);
    assert!((record.mono_loss_db[1].unwrap() - units::db_from_power(1.0 + side * side)).abs() < 0.05, "{record:?}");
    assert!(finding(&found, "far-speaker").is_none(), "-15.3 dB is told, and no warning");
    let wide = advice(&nodes(200.0));
    assert_eq!(finding(&wide, "far-speaker").unwrap().at, "stem guitar");
    assert_eq!(finding(&wide, "mono-loss").unwrap().at, "stem guitar");
}

#[test]
fn a_return_that_takes_a_stems_low_end_is_told_by_stem() {
    let turned = "polarity = \"inverted\"\nlevel_db = -9";
    let found = advice(&parallel(r#"{ eq = { bands = [{ shape = "high cut", hz = 300 }] } }"#, turned));
    let all: Vec<&str> = found.findings.iter().filter(|f| f.code == "low-end-lost").map(|f| &*f.at).collect();
    assert_eq!(all, ["stem bass", "stem keys"], "{:#?}", found.sides);
}

#[test]
fn a_print_that_clips_after_its_own_codec_is_told() {
    let print = |survive: &str| {
        format!(
            r#"
[[bus]]
name = "band"
to = "mix"
[[bus]]
name = "mix"
[[print]]
name = "for approval"
from = "mix"
chain = [{{ limiter = {{ ceiling_dbtp = 0.0 }} }}]
loudness = {{ lufs = -9.0 }}
{survive}
files = [{{ format = "mp3", kbps = 320 }}]
"#
        )
    };
    // A print at full scale overshoots after any lossy codec: common practice, no source.
    let told = advice(&print(""));
    let found = finding(&told, "codec-clips").unwrap();
    assert_eq!(found.severity, Severity::Warn, "{found:?}");
    let codec = told.costs[0].codecs.iter().find(|codec| codec.kbps == 320).unwrap();
    assert!(codec.decoded_dbtp > 0.0 && codec.overs > 0 && codec.first_over_secs.is_some(), "{codec:?}");
    assert!((codec.surviving_ceiling_dbtp + codec.decoded_dbtp).abs() < 1e-9);
    let asked = advice(&print("survive = [\"mp3 96\"]"));
    let left = finding(&asked, "codec-clips");
    assert!(left.is_none_or(|left| !left.message.contains("mp3")), "the print itself sees to it: {left:?}");
}

#[test]
fn an_equaliser_of_one_side_moves_the_image() {
    let nodes = r#"
[[bus]]
name = "band"
to = "mix"
chain = [{ eq = { of = "left", bands = [{ shape = "low shelf", hz = 2000, gain_db = 6 }] } }]
"#;
    let advice = advice(&format!("{nodes}{MIX}"));
    let found = finding(&advice, "image-shift").unwrap();
    assert_eq!((found.severity, found.at.as_str()), (Severity::Note, "stem bass"));
    assert!(found.message.contains("to the left"), "{found:?}");
}

#[test]
fn a_repeat_that_is_heard_by_itself_is_told() {
    let echo = |more: &str| format!("{{ delay = {{ time_ms = 80, feedback_percent = 0, low_cut_hz = 500{more} }} }}");
    let found = advice(&parallel(&echo(""), "level_db = -15"));
    assert_eq!(finding(&found, "late-repeat").unwrap().severity, Severity::Note);
    let noted = advice(&parallel(&echo(", note = \"1/8\""), "level_db = -15"));
    assert!(finding(&noted, "late-repeat").is_none(), "in time with the song it is meant");
}
