//! A desk as a program of its own, and a page that talks to it.

use std::fs;
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::process::Child;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tungstenite::client::IntoClientRequest as _;
use tungstenite::{Message, WebSocket};

use crate::song::Song;

pub type Channel = WebSocket<TcpStream>;

/// A desk that is served by the program.
pub struct Desk {
    pub program: Child,
    pub address: String,
    cookie: String,
}

impl Desk {
    pub fn open(song: &Song) -> Self {
        let mut program = song.command(&["desk", "sheet.toml", "--no-browser", "--json"]).spawn().unwrap();
        let said = serde_json::Deserializer::from_reader(program.stdout.take().unwrap()).into_iter::<Value>().next();
        let said = said.unwrap().unwrap();
        let (address, key) = said["link"].as_str().unwrap().split_once("/?key=").unwrap();
        let address = address.trim_start_matches("http://").to_owned();
        let mut stream = TcpStream::connect(&address).unwrap();
        write!(stream, "GET /?key={key} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n").unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let line = answer.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
        let cookie = line.split(';').next().unwrap().to_owned();
        Self { program, address, cookie }
    }

    /// A channel whose reader waits for no longer than a tenth of a second.
    pub fn channel(&self, path: &str) -> Channel {
        let mut request = format!("ws://{}{path}", self.address).into_client_request().unwrap();
        request.headers_mut().insert("Cookie", self.cookie.parse().unwrap());
        let (channel, _) = tungstenite::client(request, TcpStream::connect(&self.address).unwrap()).unwrap();
        channel.get_ref().set_read_timeout(Some(Duration::from_millis(100))).unwrap();
        channel
    }

    /// What it holds of the machine's memory.
    pub fn memory_mb(&self) -> f64 {
        let status = fs::read_to_string(format!("/proc/{}/status", self.program.id())).unwrap();
        let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
        resident.trim().trim_end_matches(" kB").parse::<f64>().unwrap() / 1024.0
    }

    pub fn kill(&mut self) {
        self.program.kill().unwrap();
        self.program.wait().unwrap();
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

pub fn say(channel: &mut Channel, what: &Value) {
    channel.send(Message::Text(what.to_string().into())).unwrap();
}

/// Sets the level of the keys.
pub fn level(db: f64) -> Value {
    let edit = json!({ "edit": "set", "path": ["stem", "keys", "level_db"], "value": db });
    json!({ "ask": "edit", "edits": [edit], "words": "level of keys", "goes_on": false })
}

/// The next message of a kind; none if it does not come soon.
pub fn told(channel: &mut Channel, kind: &str) -> Option<Value> {
    let until = Instant::now() + Duration::from_secs(2);
    while Instant::now() < until {
        let Ok(Message::Text(text)) = channel.read() else { continue };
        let told: Value = serde_json::from_str(&text).unwrap();
        if told["tell"] == kind {
            return Some(told);
        }
    }
    None
}
