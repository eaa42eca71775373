//! Pages that misbehave: closed in mid-play, talking nonsense, out of all measure.

use super::*;
use crate::player::Voice;
use crate::protocol::Through;

/// Song time of the next piece of sound, once room for one more is granted.
fn heard(sound: &mut WebSocket<TcpStream>) -> f64 {
    say(sound, r#"{"frames":480}"#);
    loop {
        if let Message::Binary(piece) = sound.read().expect("it plays") {
            return f64::from_le_bytes(piece[..8].try_into().expect("eight bytes"));
        }
    }
}

#[test]
fn a_tab_that_is_closed_in_mid_play_stops_the_song_and_the_next_goes_on_there() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    let mut sound = served.channel("/sound", &cookie);
    say(&mut talk, r#"{"ask":"play"}"#);
    let last = (0..20).map(|_| heard(&mut sound)).last().expect("pieces");
    // No farewell: the tab is gone, or the machine that it was on has slept.
    sound.get_ref().shutdown(std::net::Shutdown::Both).expect("it can be cut");
    drop(sound);
    let stopped = (0..400).any(|_| told(&mut talk, "now")["now"]["playing"] == false);
    assert!(stopped, "nobody listens: it stops");
    let mut next = served.channel("/sound", &cookie);
    say(&mut talk, r#"{"ask":"play"}"#);
    let on = heard(&mut next);
    assert!((on - last).abs() < 0.5, "it goes on at {on} s, after {last} s");
}

#[test]
fn nonsense_on_the_channel_of_sound_ends_that_channel_and_nothing_else() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    let long = format!("{{\"frames\":{}}}", "9".repeat(5000));
    for nonsense in ["", "loud", "{\"frames\":-1}", "{\"frames\":1e99}", "[]", long.as_str()] {
        let mut sound = served.channel("/sound", &cookie);
        let _ = sound.send(Message::Text(nonsense.to_owned().into()));
        assert!((0..50).any(|_| sound.read().is_err()), "{nonsense:.20}");
    }
    let mut sound = served.channel("/sound", &cookie);
    let _ = sound.send(Message::Binary(vec![0; 100].into()));
    assert!((0..50).any(|_| sound.read().is_err()));
    let mut binary = served.channel("/talk", &cookie);
    let _ = binary.send(Message::Binary(vec![0xff; 100].into()));
    assert!((0..400).any(|_| binary.read().is_err()));
    let mut sound = served.channel("/sound", &cookie);
    say(&mut talk, r#"{"ask":"play"}"#);
    heard(&mut sound);
}

#[test]
fn requests_out_of_all_measure_are_refused() {
    let served = Served::new();
    let cookie = served.cookie();
    let long = "x".repeat(1 << 20);
    for (first, headers) in [
        (format!("GET /{long}"), vec![]),
        ("GET /".to_owned(), vec![("X-Long", long.as_str())]),
        ("GET /".to_owned(), vec![("X-Many", "y"); 5000]),
        ("SPLICE /\u{0}".to_owned(), vec![]),
        ("GET /talk".to_owned(), vec![("Upgrade", "websocket"), ("Sec-WebSocket-Version", "99")]),
    ] {
        let headers = [vec![("Cookie", cookie.as_str())], headers].concat();
        let answer = served.try_ask(&first, &headers);
        assert!(!answer.starts_with("HTTP/1.1 2") && !answer.starts_with("HTTP/1.1 1"), "{first:.20}: {answer:.40}");
    }
    assert_eq!(served.status("GET /", &[("Cookie", &cookie)]), 200);
}

#[test]
fn what_plays_never_falls_silent_without_a_word() {
    let served = Served::new();
    let cookie = served.cookie();
    let mut talk = served.channel("/talk", &cookie);
    let mut sound = served.channel("/sound", &cookie);
    // No page can ask for this: it stands for a fault of our own.
    let nowhere = Voice { output: 99, matched_db: 0.0, monitor_db: 0.0, through: Through::Nothing };
    served.orders.send(Order::Voice(nowhere)).expect("it listens");
    say(&mut talk, r#"{"ask":"play"}"#);
    say(&mut sound, r#"{"frames":480}"#);
    assert_eq!(told(&mut talk, "refused")["finding"]["code"], "fallen-silent");
}
