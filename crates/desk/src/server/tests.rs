//! Who is let in, who is not, and that the rightful page is served whatever others try.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use tungstenite::client::IntoClientRequest;
use tungstenite::{Message, WebSocket};

use super::*;
use crate::testing::Song;

mod misbehaving;
mod shouting;

/// How long an answer may take: a busy machine is no fault of the desk.
const PATIENCE: Duration = Duration::from_secs(120);

/// A desk that is served on a thread of its own until the tests end.
struct Served {
    port: u16,
    key: String,
    orders: mpsc::Sender<Order>,
    _song: Song,
}

impl Served {
    fn new() -> Self {
        let song = Song::new();
        let desk = open(&Setup { sheet: song.sheet(), port: 0, threads: 1, device: None }).expect("it opens");
        let (address, key) = desk.link().split_once("/?key=").expect("a link with a key");
        let port = address.rsplit(':').next().and_then(|port| port.parse().ok()).expect("a port");
        let (key, orders) = (key.to_owned(), desk.shared().orders.clone());
        thread::spawn(move || desk.serve());
        Self { port, key, orders, _song: song }
    }

    /// Status line and headers of the answer to a request.
    fn ask(&self, first: &str, headers: &[(&str, &str)]) -> String {
        let answer = self.try_ask(first, headers);
        assert!(!answer.is_empty(), "no answer to {first:.40}");
        answer
    }

    /// The same; nothing where the connection is closed ahead of an answer.
    fn try_ask(&self, first: &str, headers: &[(&str, &str)]) -> String {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("it listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("a timeout");
        let host = format!("127.0.0.1:{}", self.port);
        let host = headers.iter().find(|(name, _)| *name == "Host").map_or(host.as_str(), |(_, host)| host);
        let others = headers.iter().filter(|(name, _)| *name != "Host");
        let lines: String = others.map(|(name, value)| format!("{name}: {value}\r\n")).collect();
        let request = format!("{first} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n{lines}\r\n");
        let mut answer = Vec::new();
        // A refused request may close the connection at once, even before all of it was sent.
        let _ = stream.write_all(request.as_bytes());
        let _ = stream.read_to_end(&mut answer);
        String::from_utf8_lossy(&answer).into_owned()
    }

    fn status(&self, first: &str, headers: &[(&str, &str)]) -> u16 {
        let answer = self.ask(first, headers);
        answer.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or_else(|| panic!("{answer}"))
    }

    /// The cookie of the browser that came with the key.
    fn cookie(&self) -> String {
        let answer = self.ask(&format!("GET /?key={}", self.key), &[]);
        let line =
            answer.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap_or_else(|| panic!("{answer}"));
        assert!(line.contains("HttpOnly") && line.contains("SameSite=Strict"), "{line}");
        line.split(';').next().expect("a value").to_owned()
    }

    fn channel(&self, path: &str, cookie: &str) -> WebSocket<TcpStream> {
        let url = format!("ws://127.0.0.1:{}{path}", self.port);
        let mut request = url.into_client_request().expect("a request");
        request.headers_mut().insert("Cookie", cookie.parse().expect("a value"));
        let stream = TcpStream::connect(("127.0.0.1", self.port)).expect("it listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("a timeout");
        tungstenite::client(request, stream).expect("it talks").0
    }
}

/// The next message of a kind.
fn told(talk: &mut WebSocket<TcpStream>, kind: &str) -> serde_json::Value {
    let until = Instant::now() + PATIENCE;
    while Instant::now() < until {
        if let Message::Text(text) = talk.read().expect("it goes on") {
            let told: serde_json::Value = serde_json::from_str(&text).expect("JSON");
            if told["tell"] == kind {
                return told;
            }
        }
    }
    panic!("nothing of the kind “{kind}” was told");
}

fn say(talk: &mut WebSocket<TcpStream>, text: &str) {
    talk.send(Message::Text(text.to_owned().into())).expect("it listens");
}

/// All of the view, as it is told to a page that has missed something.
fn view_of(talk: &mut WebSocket<TcpStream>) -> serde_json::Value {
    say(talk, r#"{"ask":"view"}"#);
    told(talk, "view")
}

#[test]
fn a_page_that_comes_later_is_told_where_the_song_rests() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut first = served.channel("/talk", &cookie);
    say(&mut first, r#"{"ask":"seek","to_s":2.5}"#);
    while told(&mut first, "now")["now"]["at_s"] != 2.5 {}
    drop(first);
    let mut later = served.channel("/talk", &cookie);
    assert_eq!(told(&mut later, "now")["now"]["at_s"], 2.5);
}

#[test]
fn only_a_browser_with_the_key_is_let_in_and_only_once() {
    let served = Served::new();
    let with_key = format!("GET /?key={}", served.key);
    assert_eq!(served.status("GET /", &[]), 403);
    assert_eq!(served.status("GET /talk", &[]), 403);
    assert_eq!(served.status("GET /?key=0123456789abcdef0123456789abcdef", &[]), 403);
    assert_eq!(served.status(&with_key, &[("Host", "desk.example")]), 403, "a name that was turned to this address");
    assert_eq!(served.status(&with_key, &[("Origin", "http://desk.example")]), 403);
    assert_eq!(served.status(&with_key, &[("Origin", "null")]), 403);
    assert_eq!(served.status(&with_key.replace("GET", "POST"), &[]), 405);
    let cookie = served.cookie();
    assert_eq!(served.status(&with_key, &[]), 403, "the key works once");
    let rightful = [("Cookie", cookie.as_str())];
    assert_eq!(served.status("GET /", &rightful), 200);
    assert_eq!(served.status("GET /", &[rightful[0], ("Origin", "http://desk.example")]), 403);
    let answer = served.ask("GET /", &rightful).to_lowercase();
    for header in ["content-security-policy: default-src 'none'", "x-content-type-options: nosniff", "no-store"] {
        assert!(answer.contains(header), "{header}");
    }
    assert!(!answer.contains("access-control-allow"));
}

#[test]
fn no_path_leads_out_of_what_is_shown() {
    let served = Served::new();
    let cookie = served.cookie();
    for path in [
        "/../../../../etc/passwd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/sheet.toml",
        "/a.wav",
        "/report/r001/../../sheet.toml",
        "/report/..%2f..%2f/sheet.toml",
        "/report/%2e%2e/report.html",
        "/report/r001/%2e%2e%2fsheet.toml",
        "/report/r00%00/report.html",
        "/figure/nobody/0",
        "/figure/b/99999999999999999999",
    ] {
        let status = served.status(&format!("GET {path}"), &[("Cookie", &cookie)]);
        assert!((400..500).contains(&status), "{path}: {status}");
    }
    assert_eq!(served.status("GET /figure/b/0", &[("Cookie", &cookie)]), 200);
}

#[test]
fn what_is_not_understood_is_refused_and_what_is_too_large_ends_the_channel() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    assert_eq!(told(&mut talk, "view")["view"]["song"]["title"], "Lantern Weather");
    for nonsense in ["", "{", "[]", "{\"ask\":\"explode\"}", "{\"ask\":\"seek\",\"to_s\":\"soon\"}", "\u{0}\u{ffff}"] {
        say(&mut talk, nonsense);
        assert_eq!(told(&mut talk, "refused")["finding"]["code"], "message");
    }
    // Numbers out of all reason are put right, names that are not there are left out.
    say(&mut talk, r#"{"ask":"seek","to_s":1e300}"#);
    say(&mut talk, r#"{"ask":"listen","ear":{"alone":["nobody"],"silent":["a"],"without":[["b",7]]}}"#);
    let ear = view_of(&mut talk)["view"]["ear"].clone();
    assert_eq!(ear, serde_json::json!({ "alone": [], "silent": ["a"], "without": [] }));
    let mut other = served.channel("/talk", &cookie);
    let _ = other.send(Message::Text("x".repeat(1 << 20).into()));
    let ended = (0..200).any(|_| other.read().is_err());
    assert!(ended, "a message of a megabyte ends its channel");
    say(&mut talk, r#"{"ask":"undo"}"#);
    say(&mut talk, r#"{"ask":"edit","edits":[],"words":"","goes_on":false}"#);
    assert_eq!(told(&mut talk, "changed")["tell"], "changed");
}

#[test]
fn two_hundred_others_do_not_keep_the_rightful_page_from_hearing() {
    let served = Served::new();
    let cookie = served.cookie();
    let idle: Vec<TcpStream> =
        (0..150).map(|_| TcpStream::connect(("127.0.0.1", served.port)).expect("it listens")).collect();
    let slow: Vec<WebSocket<TcpStream>> = (0..50).map(|_| served.channel("/talk", &cookie)).collect();
    let mut talk = served.channel("/talk", &cookie);
    let mut sound = served.channel("/sound", &cookie);
    say(&mut sound, r#"{"frames":4800}"#);
    say(&mut talk, r#"{"ask":"play"}"#);
    let mut next = None;
    for _ in 0..50 {
        let Message::Binary(piece) = sound.read().expect("it plays") else { continue };
        let seconds = f64::from_le_bytes(piece[..8].try_into().expect("eight bytes"));
        let frames = u32::from_le_bytes(piece[12..16].try_into().expect("four bytes"));
        assert_eq!((frames, piece.len()), (480, 16 + 480 * 8));
        assert!(next.is_none_or(|next: f64| (next - seconds).abs() < 1e-6), "no piece is lost");
        next = Some(seconds + 0.01);
        say(&mut sound, r#"{"frames":480}"#);
    }
    assert!(next.is_some());
    drop((idle, slow));
}

#[test]
fn the_page_that_comes_last_listens() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    let mut first = served.channel("/sound", &cookie);
    say(&mut talk, r#"{"ask":"play"}"#);
    say(&mut first, r#"{"frames":480}"#);
    assert!(matches!(first.read(), Ok(Message::Binary(_))));
    let mut second = served.channel("/sound", &cookie);
    let heard = (0..100).any(|_| {
        say(&mut second, r#"{"frames":480}"#);
        matches!(second.read(), Ok(Message::Binary(_)))
    });
    assert!(heard);
}

/// The next state of the blind test for which something holds.
fn blind_when(talk: &mut WebSocket<TcpStream>, holds: impl Fn(&serde_json::Value) -> bool) -> serde_json::Value {
    loop {
        let blind = told(talk, "blind");
        if holds(&blind["blind"]) {
            return blind;
        }
    }
}

#[test]
fn a_blind_test_tells_nothing_before_its_last_answer_and_is_kept_beside_the_sheet() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    let mut sound = served.channel("/sound", &cookie);
    say(
        &mut talk,
        r#"{"ask":"blind","blindly":{"act":"begin","rounds":5,"sides":[
            {"programme":"for mastering","all":true,"through":"nothing"},
            {"programme":"rough mix","all":true,"through":"mono"}]}}"#,
    );
    let begun = blind_when(&mut talk, |blind| blind["ready"] == true);
    assert_eq!(begun["blind"]["sides"], serde_json::json!(["for mastering", "rough mix, through mono"]));
    // An answer without listening is refused.
    say(&mut talk, r#"{"ask":"blind","blindly":{"act":"answer","is_a":true}}"#);
    assert_eq!(told(&mut talk, "refused")["finding"]["code"], "blind-test");
    let mut states = std::collections::BTreeSet::new();
    for round in 0..5 {
        say(&mut talk, r#"{"ask":"blind","blindly":{"act":"hear","what":"x"}}"#);
        let mut state = blind_when(&mut talk, |blind| blind["hears"] == "x")["blind"].clone();
        assert_eq!(state["answered"].take(), round);
        states.insert(state.to_string());
        say(&mut sound, r#"{"frames":4800}"#);
        let now = std::iter::repeat_with(|| told(&mut talk, "now")["now"].clone()).find(|now| now["playing"] == true);
        let now = now.expect("it plays");
        assert!(now["heard"]["true_peak_dbtp"].is_null() && now["matched_db"] == 0.0, "meters rest: {now}");
        say(&mut talk, r#"{"ask":"blind","blindly":{"act":"answer","is_a":true}}"#);
    }
    assert_eq!(states.len(), 1, "in every round the page is told the same: {states:?}");
    let over = blind_when(&mut talk, |blind| blind["outcome"].is_string());
    let kept = listening::blind::load(&served._song.sheet()).expect("it can be read").tests;
    assert_eq!((kept.len(), kept[0].rounds.len()), (1, 5));
    assert_eq!(over["blind"]["outcome"], kept[0].sentence());
    assert_eq!(over["before"][0]["outcome"], kept[0].sentence());
    // One that is left is kept as such; names that are not there begin nothing.
    say(&mut talk, r#"{"ask":"blind","blindly":{"act":"leave"}}"#);
    let nobody = r#"{"ask":"blind","blindly":{"act":"begin","rounds":5,"sides":[{"programme":"nobody","all":true,"through":"nothing"},
        {"programme":"rough mix","all":true,"through":"mono"}]}}"#;
    say(&mut talk, nobody);
    assert_eq!(told(&mut talk, "refused")["finding"]["code"], "blind-test");
}

#[test]
fn what_a_part_adds_is_weighed_when_its_card_opens_and_again_after_a_change() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    say(&mut talk, r#"{"ask":"open","opened":{"name":"a","from_s":0.5,"to_s":4.5}}"#);
    let adds = told(&mut talk, "adds")["adds"].clone();
    assert_eq!(
        (&adds["name"], &adds["print"], &adds["span_s"]),
        (&"a".into(), &"for mastering".into(), &serde_json::json!([0.5, 4.5]))
    );
    // Noise 6 dB under other noise, which an equaliser changes by little: 10 log10(1 + 10^(-6/10)) = 0.97 dB.
    let loudness = |adds: &serde_json::Value| adds["whole"]["loudness_lu"].as_f64().expect("it is heard");
    assert!((loudness(&adds) - 1.0).abs() < 0.25, "{adds}");
    assert!(adds["whole"]["sentence"].as_str().is_some_and(|words| words.starts_with("Adds ")), "{adds}");
    say(
        &mut talk,
        r#"{"ask":"edit","edits":[{"edit":"set","path":["stem","a","level_db"],"value":-60}],"words":"","goes_on":false}"#,
    );
    let adds = told(&mut talk, "adds")["adds"].clone();
    assert_eq!((loudness(&adds), &adds["whole"]["sentence"]), (0.0, &"Changes next to nothing.".into()));
    say(&mut talk, r#"{"ask":"open","opened":{"name":"b","from_s":-1e300,"to_s":1e300}}"#);
    let adds = told(&mut talk, "adds")["adds"].clone();
    assert_eq!(adds["processors"].as_array().map(Vec::len), Some(1), "{adds}");
    say(&mut talk, r#"{"ask":"open","opened":{"name":"nobody","from_s":0,"to_s":4}}"#);
    assert_eq!(told(&mut talk, "adds")["adds"]["print"], serde_json::Value::Null);
}

#[test]
fn pages_are_told_what_has_changed_and_have_the_view_of_one_that_is_told_all() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    let first = told(&mut talk, "view");
    let (mut view, mut number) = (first["view"].clone(), first["number"].as_u64());
    let whole = first.to_string().len();
    for (asked, most) in [
        (r#""edits":[{"edit":"set","path":["stem","a","level_db"],"value":-8}]"#, 700),
        // What is put in among others moves them along.
        (r#""edits":[{"edit":"insert","path":["stem","b","chain"],"at":0,"value":{"compressor":{}}}]"#, 2 * whole),
        (r#""edits":[{"edit":"insert","path":["bus"],"at":0,"value":{"name":"room","to":"mix"}}]"#, whole),
        (r#""edits":[{"edit":"remove","path":["stem","b","chain",1]}]"#, whole),
    ] {
        say(&mut talk, &format!("{{\"ask\":\"edit\",{asked},\"words\":\"\",\"goes_on\":false}}"));
        let changed = told(&mut talk, "changed");
        let bytes = changed.to_string().len();
        assert!(bytes < most, "{asked}: {bytes} of {whole}");
        number = number.map(|number| number + 1);
        assert_eq!(changed["number"].as_u64(), number);
        let patch: json_patch::Patch = serde_json::from_value(changed["patch"].clone()).expect("a patch");
        json_patch::patch(&mut view, &patch).expect("it fits");
    }
    let now = view_of(&mut talk);
    assert_eq!((now["number"].as_u64(), &now["view"]), (number, &view));
    let mut other = served.channel("/talk", &cookie);
    assert_eq!(told(&mut other, "view"), now);
}

#[test]
fn a_version_is_kept_told_apart_and_gone_back_to() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    told(&mut talk, "view");
    say(&mut talk, r#"{"ask":"keep","name":"soft a"}"#);
    assert_eq!(view_of(&mut talk)["view"]["versions"][0]["name"], "soft a");
    say(&mut talk, r#"{"ask":"keep","name":"soft a"}"#);
    assert_eq!(told(&mut talk, "refused")["finding"]["code"], "version");
    say(
        &mut talk,
        r#"{"ask":"edit","edits":[{"edit":"set","path":["stem","a","level_db"],"value":-3}],"words":"","goes_on":false}"#,
    );
    say(&mut talk, r#"{"ask":"differ","name":"soft a"}"#);
    let differs = told(&mut talk, "differs")["differs"].clone();
    assert_eq!(
        differs,
        serde_json::json!({ "name": "soft a", "changes": [["a", "level \u{2212}6 dB → \u{2212}3 dB"]] })
    );
    say(&mut talk, r#"{"ask":"take","name":"soft a"}"#);
    say(&mut talk, r#"{"ask":"differ","name":"soft a"}"#);
    assert_eq!(told(&mut talk, "differs")["differs"]["changes"], serde_json::json!([]));
    assert_eq!(view_of(&mut talk)["view"]["song"]["undo"], "going back to “soft a”");
    say(&mut talk, r#"{"ask":"take","name":"../sheet"}"#);
    assert_eq!(told(&mut talk, "refused")["finding"]["code"], "version");
}
