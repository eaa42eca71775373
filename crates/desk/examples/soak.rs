//! Plays a song of 24 stems through the desk for some minutes, as a page would, and says how well that went: how often
//! sound ran dry, how long pieces took, what it cost, and whether anything jumped out.
//!
//!     soak [MINUTES] [moves]
//!
//! With `moves`, hands move levels, take nodes in and out, switch prints and jump about, several times a second. Every
//! minute it says how much memory the process has.
//!
//! Not all that a piece is charged is its own: a virtual machine whose memory is taken away and given back pays for that in
//! processor time, whatever runs. Two figures tell that apart. What a place of the loop takes at the least, of all times
//! that it came round, is the desk's. And a yardstick beside it does the same small work every 10 ms: what that takes longer
//! than usual is the machine's.

#![expect(
    clippy::print_stdout,
    clippy::unwrap_used,
    reason = "a tool for its makers: it tells figures, and stops when it cannot go on"
)]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::net::TcpStream;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use chance::Random;
use media::{FileFormat, Metadata, WavSample};
use serde_json::{Value, json};
use tungstenite::client::IntoClientRequest;
use tungstenite::{Message, WebSocket};

const RATE_HZ: usize = 48_000;
const SECONDS: usize = 30;
const STEMS: usize = 24;
/// A piece of 10 ms.
const PIECE: usize = RATE_HZ / 100;
/// What the page keeps waiting, at first and at most, and when it starts: `crates/pages/web/desk/sound/queue.ts`.
const FIRST: usize = RATE_HZ * 60 / 1000;
const MOST: usize = RATE_HZ / 4;
/// Below this, levels are silence, out of which sound comes up: the desk lets it begin at -60 dBFS.
const SILENT_DBFS: f64 = -55.0;
/// So long after somebody asked for something, a rise is theirs.
const ASKED: Duration = Duration::from_millis(1000);

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let minutes: f64 = args.iter().find_map(|word| word.parse().ok()).unwrap_or(10.0);
    let moves = args.iter().any(|word| word == "moves");
    let folder = tempfile::tempdir().unwrap();
    write_song(folder.path());
    let desk = desk::open(&desk::Setup { sheet: folder.path().join("sheet.toml"), port: 0, threads: 1, device: None })
        .unwrap();
    let door = Door::open(desk.link().to_owned(), move || desk.serve());
    let asked = Arc::new(AtomicU64::new(0));
    let ended = Arc::new(AtomicBool::new(false));
    let listener = {
        let (line, asked, ended) = (door.channel("/sound"), asked.clone(), ended.clone());
        thread::Builder::new().name("listener".to_owned()).spawn(move || listen(line, &asked, &ended)).unwrap()
    };
    let yardstick = {
        let ended = ended.clone();
        thread::Builder::new().name("yardstick".to_owned()).spawn(move || yardstick(&ended)).unwrap()
    };
    let before = Cost::now();
    let effort = {
        let (talk, ended) = (door.channel("/talk"), ended.clone());
        thread::Builder::new().name("hands".to_owned()).spawn(move || hands(talk, moves, &asked, &ended)).unwrap()
    };
    let started = Instant::now();
    let ends = Duration::from_secs_f64(60.0 * minutes);
    while started.elapsed() < ends {
        thread::sleep(Duration::from_secs(60).min(ends - started.elapsed()));
        println!("{:.0} min: {:.1} MB", started.elapsed().as_secs_f64() / 60.0, memory_mb());
    }
    let after = Cost::now();
    ended.store(true, Ordering::Relaxed);
    let (heard, effort) = (listener.join().unwrap(), effort.join().unwrap());
    let (usual_ms, worst_ms) = yardstick.join().unwrap();
    let secs = started.elapsed().as_secs_f64();
    println!("{STEMS} stems for {:.1} minutes, {}.", secs / 60.0, if moves { "with moves" } else { "untouched" });
    println!("load of the machine at the end: {}", fs::read_to_string("/proc/loadavg").unwrap_or_default().trim());
    println!(
        "sound: {:.1} s heard, ran dry {} times, waited {} times for recordings",
        heard.frames as f64 / RATE_HZ as f64,
        heard.dry,
        effort.late
    );
    println!(
        "pieces of 10 ms: {:.1} % of their time on average, {:.0} % at worst, {:.0} % without waiting for the processor",
        100.0 * effort.mean(),
        100.0 * effort.worst,
        100.0 * effort.worst_computing
    );
    if let Some((at_s, least)) = effort.dearest_place().filter(|_| !moves) {
        println!("the dearest place of the loop: {:.0} % every time it came round, at {at_s:.2} s", 100.0 * least);
    }
    println!("the same work every 10 ms: {usual_ms:.2} ms of processor time on average, {worst_ms:.2} ms at worst");
    println!(
        "one core: {:.1} % for the player, {:.1} % for all of the desk",
        before.player_percent(&after),
        before.desk_percent(&after)
    );
    println!("worst peak: {:.2} dBFS", units::db_from_gain(heard.peak));
    println!(
        "worst rise within 50 ms: {:.2} dB unasked, {:.2} dB after a move",
        heard.worst_rise_db[0], heard.worst_rise_db[1]
    );
}

/// Steady noise, so that whatever jumps is the desk's.
fn write_song(folder: &Path) {
    let mut sheet = "fairprint = 1\n[song]\ntitle = \"Slack Water\"\nrate_hz = 48000\n".to_owned();
    for stem in 0..STEMS {
        let noise = Random(stem as u64 + 1).signal(SECONDS * RATE_HZ, 0.05);
        let format = FileFormat::Wav(WavSample::Int24);
        let path = folder.join(format!("{stem}.wav"));
        media::write_all(&path, &format, RATE_HZ as u32, &noise, &Metadata::default()).unwrap();
        let _ = write!(
            sheet,
            "[[stem]]\nname = \"part {stem}\"\nfile = \"{stem}.wav\"\nto = \"group {}\"\nchain = [{{ eq = {{ bands = [{{ shape = \"bell\", hz = {}, gain_db = 3, q = 1 }}] }} }}]\n",
            stem % 6,
            100 * (stem + 1)
        );
    }
    for group in 0..6 {
        let _ = write!(
            sheet,
            "[[bus]]\nname = \"group {group}\"\nto = \"mix\"\nsends = [{{ to = \"room\", level_db = -12 }}, {{ to = \"crush\", level_db = -6 }}]\nchain = [{{ compressor = {{ threshold_db = -30 }} }}]\n"
        );
    }
    sheet.push_str("[[bus]]\nname = \"room\"\nto = \"mix\"\nlevel_db = -12\nchain = [{ room = {} }]\n");
    sheet.push_str("[[bus]]\nname = \"crush\"\nto = \"mix\"\nlevel_db = -12\nchain = [{ compressor = { kind = \"valve\", threshold_db = -36 } }]\n");
    sheet.push_str("[[bus]]\nname = \"mix\"\n[[print]]\nname = \"for mastering\"\nfrom = \"mix\"\nfiles = [{ format = \"wav\", bits = 24 }]\n");
    sheet.push_str("[[print]]\nname = \"for approval\"\nfrom = \"mix\"\nchain = [{ tape = {} }, { limiter = { ceiling_dbtp = -1 } }]\nfiles = [{ format = \"wav\", bits = 24 }]\n");
    fs::write(folder.join("sheet.toml"), sheet).unwrap();
}

/// The way in.
struct Door {
    address: String,
    cookie: String,
}

impl Door {
    /// Serves a desk and comes in by its link.
    fn open<T: Send + 'static>(link: String, serve: impl FnOnce() -> T + Send + 'static) -> Self {
        use std::io::{Read, Write};
        thread::spawn(serve);
        let (address, key) = link.split_once("/?key=").unwrap();
        let address = address.trim_start_matches("http://").to_owned();
        let mut stream = TcpStream::connect(&address).unwrap();
        write!(stream, "GET /?key={key} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n").unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let line = answer.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
        let cookie = line.split(';').next().unwrap().to_owned();
        Self { address, cookie }
    }

    fn channel(&self, path: &str) -> WebSocket<TcpStream> {
        let mut request = format!("ws://{}{path}", self.address).into_client_request().unwrap();
        request.headers_mut().insert("Cookie", self.cookie.parse().unwrap());
        let stream = TcpStream::connect(&self.address).unwrap();
        let (socket, _) = tungstenite::client(request, stream).unwrap();
        socket.get_ref().set_nonblocking(true).unwrap();
        socket
    }
}

/// The next message, if one is there.
fn next(socket: &mut WebSocket<TcpStream>) -> Option<Message> {
    match socket.read() {
        Ok(message) => Some(message),
        Err(tungstenite::Error::Io(error)) if error.kind() == std::io::ErrorKind::WouldBlock => None,
        Err(error) => panic!("{error}"),
    }
}

/// What came to the ears.
#[derive(Default)]
struct Heard {
    frames: u64,
    dry: usize,
    peak: f64,
    /// Unasked, and after somebody moved something.
    worst_rise_db: [f64; 2],
    levels: Vec<f64>,
}

impl Heard {
    /// Takes 10 ms.
    fn take(&mut self, piece: &[f32], is_asked: bool) {
        let power = piece.iter().map(|x| f64::from(x * x)).sum::<f64>() / piece.len() as f64;
        self.peak = piece.iter().fold(self.peak, |most, x| most.max(f64::from(x.abs())));
        let level = units::db_from_power(power).max(SILENT_DBFS);
        self.levels.push(level);
        // What comes up out of silence has no level to rise from.
        if let [.., first, _, _, _, _, last] = self.levels[..]
            && first > SILENT_DBFS
        {
            let worst = &mut self.worst_rise_db[usize::from(is_asked)];
            *worst = worst.max(last - first);
        }
        if self.levels.len() > 100 {
            self.levels.drain(..90);
        }
    }
}

/// Listens as the page does, by the clock.
fn listen(mut line: WebSocket<TcpStream>, asked: &AtomicU64, ended: &AtomicBool) -> Heard {
    let mut heard = Heard::default();
    let (mut waiting, mut on_way, mut aim, mut sounding) = (0_usize, 0_usize, FIRST, false);
    let start = Instant::now();
    let mut due = start;
    while !ended.load(Ordering::Relaxed) {
        while let Some(message) = next(&mut line) {
            let Message::Binary(bytes) = message else { continue };
            let samples: Vec<f32> =
                bytes[16..].as_chunks::<4>().0.iter().map(|bytes| f32::from_le_bytes(*bytes)).collect();
            let at = start.elapsed().as_millis() as u64;
            let last = asked.load(Ordering::Relaxed);
            heard.take(&samples, last > 0 && at.saturating_sub(last) < ASKED.as_millis() as u64);
            (waiting, on_way) = (waiting + samples.len() / 2, on_way.saturating_sub(samples.len() / 2));
        }
        sounding |= waiting * 10 >= aim * 6;
        // The sound card takes 128 frames at a time.
        while due.elapsed() >= Duration::from_secs_f64(128.0 / RATE_HZ as f64) {
            due += Duration::from_secs_f64(128.0 / RATE_HZ as f64);
            if sounding && waiting < 128 {
                (heard.dry, sounding, aim) = (heard.dry + 1, false, (aim * 3 / 2).min(MOST));
            } else if sounding {
                waiting -= 128;
                heard.frames += 128;
            }
        }
        let missing = aim.saturating_sub(waiting + on_way);
        if missing >= PIECE {
            line.send(Message::Text(json!({ "frames": missing }).to_string().into())).unwrap();
            on_way += missing;
        }
        thread::sleep(Duration::from_millis(1));
    }
    heard
}

/// How long pieces took, as parts of their time.
#[derive(Default)]
struct Effort {
    sum: f64,
    reports: usize,
    worst: f64,
    worst_computing: f64,
    late: u64,
    /// For each place of the song, in reports of 50 ms: how often it came round, and the least that its dearest piece took.
    places: BTreeMap<i64, (usize, f64)>,
}

/// Times that a place must have come round to be told of.
const ROUNDS: usize = 3;

impl Effort {
    fn take(&mut self, at_s: f64, [mean, worst, computing]: [f64; 3]) {
        self.sum += mean;
        self.reports += 1;
        self.worst = self.worst.max(worst);
        self.worst_computing = self.worst_computing.max(computing);
        let (rounds, least) = self.places.entry((at_s / 0.05).round() as i64).or_insert((0, f64::INFINITY));
        (*rounds, *least) = (*rounds + 1, least.min(computing));
    }

    /// The place of the loop that took the most at the least, in seconds, and what it took.
    fn dearest_place(&self) -> Option<(f64, f64)> {
        let known = self.places.iter().filter(|(_, (rounds, _))| *rounds >= ROUNDS);
        let dearest = known.max_by(|(_, (_, a)), (_, (_, b))| a.total_cmp(b));
        dearest.map(|(place, (_, least))| (*place as f64 * 0.05, *least))
    }

    fn mean(&self) -> f64 {
        self.sum / self.reports.max(1) as f64
    }
}

/// Plays, loops, and moves things about if it is to.
fn hands(mut talk: WebSocket<TcpStream>, moves: bool, asked: &AtomicU64, ended: &AtomicBool) -> Effort {
    let mut effort = Effort::default();
    let start = Instant::now();
    let say = |talk: &mut WebSocket<TcpStream>, what: Value| {
        asked.store(start.elapsed().as_millis() as u64, Ordering::Relaxed);
        talk.send(Message::Text(what.to_string().into())).unwrap();
    };
    let mut hearing = json!({ "programme": "for mastering", "matched": true, "through": "nothing", "span_s": [0.0, 29.5], "monitor_db": -18.0 });
    say(&mut talk, json!({ "ask": "hear", "hearing": hearing }));
    say(&mut talk, json!({ "ask": "play" }));
    let mut random = Random(12_345);
    let mut next_move = start + Duration::from_secs(5);
    while !ended.load(Ordering::Relaxed) {
        while let Some(message) = next(&mut talk) {
            let Message::Text(text) = message else { continue };
            let told: Value = serde_json::from_str(&text).unwrap();
            let now = &told["now"];
            if let [Some(mean), Some(worst), Some(computing), Some(at_s)] =
                [&now["effort"][0], &now["effort"][1], &now["effort"][2], &now["at_s"]].map(Value::as_f64)
            {
                effort.take(at_s, [mean, worst, computing]);
                effort.late = now["late"].as_u64().unwrap_or(0);
            }
            if told["tell"] == "refused" {
                println!("refused: {}", told["finding"]["message"]);
            }
        }
        if moves && Instant::now() > next_move {
            next_move += Duration::from_millis(200 + random.below(600) as u64);
            let stem = random.below(STEMS);
            let what = match random.below(8) {
                0..=3 => {
                    let path = json!(["stem", format!("part {stem}"), "level_db"]);
                    let value = -(random.below(120) as f64) / 10.0;
                    json!({ "ask": "edit", "edits": [{ "edit": "set", "path": path, "value": value }], "words": "level", "goes_on": false })
                }
                4 => json!({ "ask": "seek", "to_s": random.below(28) }),
                5 => {
                    json!({ "ask": "listen", "ear": { "alone": [], "silent": [format!("part {stem}")], "without": [[format!("group {}", stem % 6), 0]] } })
                }
                6 => json!({ "ask": "listen", "ear": { "alone": [], "silent": [], "without": [] } }),
                _ => {
                    hearing["programme"] = json!(["for mastering", "for approval"][random.below(2)]);
                    hearing["through"] = json!(["nothing", "mono", "small-speaker", "mp3 128"][random.below(4)]);
                    json!({ "ask": "hear", "hearing": hearing })
                }
            };
            say(&mut talk, what);
        }
        thread::sleep(Duration::from_millis(5));
    }
    effort
}

/// Does the same work every 10 ms, on as much memory as a piece touches: processor time in ms, on average and at worst.
fn yardstick(ended: &AtomicBool) -> (f64, f64) {
    const PAGE: usize = 4096;
    let mut memory = vec![1_u8; 2000 * PAGE];
    let (mut sum_ms, mut worst_ms, mut rounds) = (0.0, 0.0_f64, 0_u32);
    while !ended.load(Ordering::Relaxed) {
        let before_ms = processor_time_ms();
        for place in 0..4 * memory.len() / PAGE {
            let at = place * (PAGE + 64) % memory.len();
            memory[at] = std::hint::black_box(memory[at]).wrapping_add(1);
        }
        let took_ms = processor_time_ms() - before_ms;
        (sum_ms, worst_ms, rounds) = (sum_ms + took_ms, worst_ms.max(took_ms), rounds + 1);
        thread::sleep(Duration::from_millis(10));
    }
    (sum_ms / f64::from(rounds.max(1)), worst_ms)
}

/// Processor time that this thread has had.
#[cfg(target_os = "linux")]
fn processor_time_ms() -> f64 {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    now.tv_sec as f64 * 1e3 + now.tv_nsec as f64 / 1e6
}

/// What comes nearest to it: time that passes.
#[cfg(not(target_os = "linux"))]
fn processor_time_ms() -> f64 {
    static START: std::sync::LazyLock<Instant> = std::sync::LazyLock::new(Instant::now);
    START.elapsed().as_secs_f64() * 1e3
}

/// What the process has cost so far.
struct Cost {
    at: Instant,
    player_ticks: f64,
    desk_ticks: f64,
}

/// Ticks of the kernel's clock for processes in a second: `USER_HZ` of Linux.
const TICKS: f64 = 100.0;

impl Cost {
    fn now() -> Self {
        let (mut player_ticks, mut desk_ticks) = (0.0, 0.0);
        let tasks = fs::read_dir("/proc/self/task").into_iter().flatten().flatten();
        for task in tasks {
            let Ok(stat) = fs::read_to_string(task.path().join("stat")) else { continue };
            let Some((name, rest)) = stat.rsplit_once(')') else { continue };
            let fields: Vec<f64> = rest.split_whitespace().filter_map(|field| field.parse().ok()).collect();
            // After the name and the state: user time is field 14 of the line, system time field 15.
            let ticks = fields[10] + fields[11];
            if name.ends_with("(player") {
                player_ticks += ticks;
            }
            if !["(listener", "(hands", "(yardstick"].iter().any(|other| name.ends_with(other)) {
                desk_ticks += ticks;
            }
        }
        Self { at: Instant::now(), player_ticks, desk_ticks }
    }

    fn player_percent(&self, after: &Self) -> f64 {
        (after.player_ticks - self.player_ticks) / TICKS / (after.at - self.at).as_secs_f64() * 100.0
    }

    /// Threads that have ended meanwhile are not in it.
    fn desk_percent(&self, after: &Self) -> f64 {
        (after.desk_ticks - self.desk_ticks) / TICKS / (after.at - self.at).as_secs_f64() * 100.0
    }
}

/// What the process holds of the machine's memory.
fn memory_mb() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:")?.split_whitespace().next()?.parse().ok());
    resident.unwrap_or(0.0) / 1024.0
}
