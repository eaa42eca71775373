//! Desks that are killed, come twice, fall asleep, or have readers that do not read.

use std::fs;
use std::io::Read as _;
use std::net::TcpStream;
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, Instant};

use chance::Random;
use serde_json::json;
use tungstenite::Message;

use crate::kills::kills;
use crate::page::{Channel, Desk, level, say, told};
use crate::song::{Song, WRITTEN, entries, said, whole_revisions};

#[test]
fn a_desk_killed_while_it_saves_leaves_the_sheet_whole_and_the_next_one_opens() {
    let song = Song::new();
    let sheet = song.path("sheet.toml");
    let end = fs::read_to_string(&sheet).unwrap().lines().last().unwrap().to_owned();
    let is_whole = |text: &str| text.starts_with("fairprint = 1") && text.trim_end().ends_with(&end);
    let (mut random, mut saves) = (Random(3), 0);
    for _ in 0..kills() {
        let mut desk = Desk::open(&song);
        let mut talk = desk.channel("/talk");
        let until = Instant::now() + Duration::from_secs_f64(0.05 + 0.3 * random.share());
        let mut db = 0.0;
        while Instant::now() < until {
            db = (db - 0.1) % 20.0;
            say(&mut talk, &level(db));
            say(&mut talk, &json!({ "ask": "save" }));
            saves += u32::from(told(&mut talk, "changed").is_some());
        }
        say(&mut talk, &level(-3.0));
        say(&mut talk, &json!({ "ask": "save" }));
        sleep(Duration::from_secs_f64(0.01 * random.share()));
        desk.kill();
        assert!(is_whole(&fs::read_to_string(&sheet).unwrap()));
        assert!(fs::read_to_string(song.path(".sheet.toml.before")).is_ok_and(|before| is_whole(&before)));
        assert_eq!(song.run(&["check", "sheet.toml", "--quiet"]).status.code(), Some(0));
        let left = entries(song.folder.path());
        assert!(left.iter().all(|name| name.starts_with('.') || WRITTEN.contains(&&**name)), "{left:?}");
    }
    println!("desk: {} kills, {saves} saves", kills());
}

#[test]
fn a_sheet_lies_on_one_desk_at_a_time() {
    let song = Song::new();
    let mut first = Desk::open(&song);
    let second = song.run(&["desk", "sheet.toml", "--no-browser"]);
    assert_eq!(second.status.code(), Some(2), "{}", said(&second));
    assert!(said(&second).contains("on another desk already"), "{}", said(&second));
    // A print meanwhile takes the sheet as it was saved last, whatever is moved and saved.
    let mut talk = first.channel("/talk");
    let run = song.command(&["print", "sheet.toml", "--quiet"]).spawn().unwrap();
    for turn in 0..20 {
        say(&mut talk, &level(-f64::from(turn)));
        say(&mut talk, &json!({ "ask": "save" }));
        told(&mut talk, "changed");
    }
    let output = run.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(song.path("prints/r001/report.json").is_file());
    first.kill();
    let mut next = Desk::open(&song);
    next.kill();
}

/// How long the desk is besieged.
fn siege() -> Duration {
    let secs = std::env::var("FAIRPRINT_SIEGE_SECS").ok().and_then(|secs| secs.parse().ok());
    Duration::from_secs(secs.unwrap_or(2))
}

/// Who listens: takes pieces by the clock, as a page does.
struct Listener {
    sound: Channel,
    /// How often the song had jumped, and where the next piece starts.
    next: Option<(u32, f64)>,
    pieces: u32,
    /// When the next piece is due, and how often one was not there.
    due: Instant,
    dry: u32,
}

impl Listener {
    /// What a page keeps waiting at most: `crates/pages/web/desk/sound/queue.ts`.
    const AHEAD: Duration = Duration::from_millis(250);

    fn new(desk: &Desk) -> Self {
        let mut sound = desk.channel("/sound");
        say(&mut sound, &json!({ "frames": 12_000 }));
        Self { sound, next: None, pieces: 0, due: Instant::now(), dry: 0 }
    }

    /// Takes a piece, which goes on where the last one ended, and asks for another when there is room.
    fn take(&mut self) {
        let Ok(Message::Binary(piece)) = self.sound.read() else { return };
        let starts_s = f64::from_le_bytes(piece[..8].try_into().unwrap());
        let jumps = u32::from_le_bytes(piece[8..12].try_into().unwrap());
        if let Some((_, next_s)) = self.next.filter(|(before, _)| *before == jumps) {
            assert!((next_s - starts_s).abs() < 1e-6, "from {next_s} to {starts_s}");
        }
        self.next = Some((jumps, starts_s + 0.01));
        self.pieces += 1;
        if self.due.elapsed() > Self::AHEAD {
            self.dry += u32::from(self.pieces > 1);
            self.due = Instant::now();
        }
        self.due += Duration::from_millis(10);
        sleep(self.due.saturating_duration_since(Instant::now()));
        say(&mut self.sound, &json!({ "frames": 480 }));
    }
}

#[test]
fn readers_that_do_not_read_cost_little_memory_and_no_sound() {
    let song = Song::with_seconds(20);
    let desk = Desk::open(&song);
    let mut talk = desk.channel("/talk");
    let mut listener = Listener::new(&desk);
    say(&mut talk, &json!({ "ask": "play" }));
    let until = Instant::now() + Duration::from_secs(1);
    while Instant::now() < until {
        listener.take();
    }
    let before_mb = desk.memory_mb();
    // Connections without a word, pages that never read, pages that read a byte now and then.
    let idle: Vec<TcpStream> = (0..120).map(|_| TcpStream::connect(&desk.address).unwrap()).collect();
    let deaf: Vec<Channel> = (0..60).map(|_| desk.channel("/talk")).collect();
    let mut slow: Vec<Channel> = (0..20).map(|_| desk.channel("/talk")).collect();
    slow.iter().chain([&talk]).for_each(|channel| channel.get_ref().set_nonblocking(true).unwrap());
    let (started, mut turn, mut most_mb) = (Instant::now(), 0, before_mb);
    let mut due = started;
    while started.elapsed() < siege() {
        listener.take();
        if Instant::now() > due {
            due += Duration::from_millis(500);
            turn += 1;
            say(&mut talk, &level(-f64::from(turn % 12)));
            if turn % 20 == 0 {
                say(&mut talk, &json!({ "ask": "seek", "to_s": 0.0 }));
            }
            while talk.read().is_ok() {}
            for channel in &mut slow {
                let _ = channel.get_mut().read(&mut [0]);
            }
            most_mb = most_mb.max(desk.memory_mb());
        }
    }
    println!(
        "besieged for {:.0} s by 200: {} pieces of 10 ms, ran dry {} times, {before_mb:.1} MB before, {most_mb:.1} MB at most",
        started.elapsed().as_secs_f64(),
        listener.pieces,
        listener.dry
    );
    assert!(most_mb < before_mb + 60.0, "{before_mb} MB, then {most_mb} MB");
    drop((idle, deaf, slow));
}

/// A desk whose song is being heard, who hears it, and the page that asked for it.
fn heard(song: &Song) -> (Desk, Listener, Channel) {
    let desk = Desk::open(song);
    let mut talk = desk.channel("/talk");
    let mut listener = Listener::new(&desk);
    say(&mut talk, &json!({ "ask": "play" }));
    hear(&mut listener);
    (desk, listener, talk)
}

/// Half a second of what is played; each piece goes on where the one before it ended.
fn hear(listener: &mut Listener) {
    let until = listener.pieces + 50;
    // Each waits for a tenth of a second at most: a minute without a piece is silence.
    for _ in 0..600 {
        listener.take();
        if listener.pieces == until {
            return;
        }
    }
    panic!("it has fallen silent");
}

#[test]
fn a_desk_that_slept_goes_on_where_it_was() {
    let song = Song::with_seconds(20);
    let (desk, mut listener, _talk) = heard(&song);
    let signal = |name: &str| {
        let id = desk.program.id().to_string();
        assert!(Command::new("kill").args([name, &id]).status().unwrap().success());
    };
    let before_mb = desk.memory_mb();
    signal("-STOP");
    sleep(siege());
    signal("-CONT");
    hear(&mut listener);
    println!(
        "a desk slept for {:.0} s, {before_mb:.1} MB before, {:.1} MB after",
        siege().as_secs_f64(),
        desk.memory_mb()
    );
}

#[test]
fn a_page_that_slept_hears_the_song_go_on_where_it_was() {
    let song = Song::with_seconds(20);
    let (desk, mut listener, _talk) = heard(&song);
    let before_mb = desk.memory_mb();
    // It takes nothing and grants nothing.
    sleep(siege());
    hear(&mut listener);
    println!(
        "a page slept for {:.0} s, {before_mb:.1} MB before, {:.1} MB after",
        siege().as_secs_f64(),
        desk.memory_mb()
    );
}

#[test]
fn revisions_stay_whole_while_a_desk_prints_and_is_killed() {
    let song = Song::new();
    let mut random = Random(4);
    for _ in 0..kills().div_ceil(4) {
        let mut desk = Desk::open(&song);
        let mut talk = desk.channel("/talk");
        say(&mut talk, &json!({ "ask": "print" }));
        sleep(Duration::from_secs_f64(0.8 * random.share()));
        desk.kill();
        whole_revisions(&song.path("prints"));
    }
    song.print();
}
