//! Nothing that leaves the desk jumps out: random moves, rewiring, seeks, and messages that are meant to hurt.

use chance::Random;
use serde_json::json;
use units::{db_from_gain, db_from_power};

use super::*;

/// A piece as the ears have it.
struct Level {
    rms_dbfs: f64,
    peak: f64,
}

/// The next piece, once room for it is granted. None if none comes: the song rests.
fn next_piece(sound: &mut WebSocket<TcpStream>) -> Option<Level> {
    say(sound, r#"{"frames":480}"#);
    let Ok(Message::Binary(piece)) = sound.read() else { return None };
    let samples: Vec<f64> =
        piece[16..].as_chunks::<4>().0.iter().map(|bytes| f64::from(f32::from_le_bytes(*bytes))).collect();
    let power = |channel: usize| samples.iter().skip(channel).step_by(2).map(|x| x * x).sum::<f64>();
    let rms_dbfs = db_from_power(power(0).max(power(1)) / (samples.len() / 2) as f64);
    assert!(!rms_dbfs.is_nan());
    Some(Level { rms_dbfs, peak: samples.iter().fold(0.0, |most, x| most.max(x.abs())) })
}

fn edit(what: &serde_json::Value) -> String {
    json!({ "ask": "edit", "edits": [what], "words": "", "goes_on": false }).to_string()
}

/// Something that a page may ask for, or that somebody hostile sends.
fn anything(random: &mut Random) -> String {
    let stem = ["a", "b"][random.below(2)];
    let loud = [
        json!({ "trim": { "gain_db": 24 } }),
        json!({ "compressor": { "threshold_db": -60, "make_up_db": 36 } }),
        json!({ "drive": { "drive_db": 48 } }),
        json!({ "delay": { "feedback_percent": 95 } }),
        json!({ "eq": { "bands": [{ "shape": "bell", "hz": 3000, "gain_db": 18, "q": 0.3 }] } }),
    ];
    let bus = json!({ "name": "louder", "to": "mix", "level_db": 12, "chain": [{ "trim": { "gain_db": 24 } }] });
    let to = ["mix", "louder"][random.below(2)];
    let silent = if random.one_in(2) { vec![stem] } else { Vec::new() };
    let level_db = [-60.0, -30.0, 0.0, 12.0][random.below(4)];
    let is_matched = random.one_in(2);
    let far_s = [-1e308, 1e308, 4.9999][random.below(3)];
    let programme = ["for mastering", "for approval", "rough mix", "nobody"][random.below(4)];
    let through = ["nothing", "mono", "small-speaker", "side"][random.below(4)];
    let monitor_db = [0.0, 1e9, -60.0, 0.0][random.below(4)];
    let processor = &loud[random.below(loud.len())];
    match random.below(16) {
        0 | 1 => edit(&json!({ "edit": "set", "path": ["stem", stem, "level_db"], "value": level_db })),
        2 => edit(&json!({ "edit": "set", "path": ["stem", stem, "level_db"], "value": 1e300 })),
        3 | 4 => edit(&json!({ "edit": "insert", "path": ["stem", stem, "chain"], "at": 0, "value": processor })),
        5 => edit(&json!({ "edit": "remove", "path": ["stem", stem, "chain", 0] })),
        6 => edit(&json!({ "edit": "insert", "path": ["bus"], "at": 0, "value": bus })),
        7 => edit(&json!({ "edit": "set", "path": ["stem", stem, "to"], "value": to })),
        8 | 9 => json!({ "ask": "seek", "to_s": 5.0 * random.share() }).to_string(),
        10 => json!({ "ask": "seek", "to_s": far_s }).to_string(),
        11 => json!({ "ask": "listen", "ear": { "alone": [], "silent": silent, "without": [[stem, 0]] } }).to_string(),
        12 | 13 => json!({ "ask": "hear", "hearing": {
            "programme": programme,
            "matched": is_matched, "through": through,
            "span_s": [0.0, 4.9], "monitor_db": monitor_db } })
        .to_string(),
        14 => r#"{"ask":["undo","redo"]}"#.to_owned(),
        _ => format!("{{\"ask\":\"{}\"}}", ["undo", "redo", "pause", "undo"][random.below(4)]),
    }
}

#[test]
fn whatever_is_asked_nothing_jumps_out_and_nothing_passes_the_ceiling() {
    /// Of the issue: within 50 ms. Above what was heard in the three seconds before, as the guard has it.
    const MOST_RISE_DB: f64 = 6.0;
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    let mut sound = served.channel("/sound", &cookie);
    sound.get_ref().set_read_timeout(Some(Duration::from_millis(200))).expect("a timeout");
    talk.get_ref().set_nonblocking(true).expect("it can");
    say(
        &mut talk,
        r#"{"ask":"hear","hearing":{"programme":"for mastering","matched":false,"through":"nothing","span_s":[0,4.9],"monitor_db":0}}"#,
    );
    let mut random = Random(10);
    let (mut heard, mut asked) = (Vec::new(), Vec::new());
    // On a busy machine, what is asked for comes late and is asked for otherwise by then: it goes on until it was loud.
    let is_loud = |heard: &[Level]| heard.iter().any(|piece| db_from_gain(piece.peak) > -3.0);
    let mut round = 0;
    while round < 150 || round < 3000 && !is_loud(&heard) {
        round += 1;
        let what = anything(&mut random);
        say(&mut talk, &what);
        asked.push((heard.len(), what));
        say(&mut talk, r#"{"ask":"play"}"#);
        for _ in 0..1 + random.below(40) {
            heard.extend(next_piece(&mut sound));
        }
        while talk.read().is_ok() {}
    }
    let peak = heard.iter().fold(0.0_f64, |most, piece| most.max(piece.peak));
    assert!(heard.len() > 1500, "{} pieces", heard.len());
    // The guard's limiter stands at -1 dBTP.
    assert!(db_from_gain(peak) < -0.98, "{}", db_from_gain(peak));
    assert!(db_from_gain(peak) > -3.0, "what was asked for was loud: {}", db_from_gain(peak));
    for now in 5..heard.len() {
        let before = heard[now.saturating_sub(300)..=now - 5].iter().map(|piece| piece.rms_dbfs).fold(-60.0, f64::max);
        let rise = heard[now].rms_dbfs - before;
        let levels = || heard[now.saturating_sub(12)..].iter().take(16).map(|piece| piece.rms_dbfs).collect::<Vec<_>>();
        let behind = || asked.iter().filter(|(at, _)| (now.saturating_sub(450)..=now).contains(at)).collect::<Vec<_>>();
        assert!(
            rise < MOST_RISE_DB,
            "{rise} dB at piece {now}, above {before} dBFS: {:.1?}, after {:#?}",
            levels(),
            behind()
        );
    }
}
