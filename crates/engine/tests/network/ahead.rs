//! Recordings that are read ahead: what plays is the print whatever the disk does, and never waits unasked.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Condvar, Mutex};
use std::thread;
use std::time::Duration;

use engine::{Facts, Fault, Live, Playback, ReadAhead, Sources};
use units::Frame;

use crate::songs::{Songs, noise, plan, render};

const BLOCK: usize = 480;
/// At 48 kHz a recording is read a second ahead, in whole parts of 4096 frames.
const AHEAD: usize = 49_152;

const STEMS: &str = r#"
[[stem]]
name = "a"
file = "a.wav"
to = "mix"
chain = [{ compressor = { threshold_db = -30 } }]
[[stem]]
name = "b"
file = "b.wav"
from = "0:01.5"
to = "mix"
[[stem]]
name = "c"
file = "c.wav"
to = "mix"
level_db = -6
[[bus]]
name = "mix"
"#;

fn songs() -> Songs {
    Songs::default().with("a.wav", noise(200_003, 1)).with("b.wav", noise(90_000, 2)).with("c.wav", noise(130_001, 3))
}

/// What happens at a frame of a recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Trouble {
    /// The disk stands still until it is let go.
    Stuck,
    /// The file cannot be read on.
    Faulty,
    /// The decoder breaks down.
    Broken,
}

/// A disk that gives little at a time and makes trouble in one recording.
struct Disk {
    songs: Songs,
    trouble: Option<(&'static str, usize, Trouble)>,
    is_free: Arc<(Mutex<bool>, Condvar)>,
    /// Frames read of the first recording, and recordings that are open.
    read: Arc<AtomicUsize>,
    open: Arc<AtomicUsize>,
}

impl Disk {
    fn new(trouble: Option<(&'static str, usize, Trouble)>) -> Self {
        Self { songs: songs(), trouble, is_free: Arc::default(), read: Arc::default(), open: Arc::default() }
    }

    fn let_go(&self) {
        *self.is_free.0.lock().unwrap() = true;
        self.is_free.1.notify_all();
    }
}

impl Facts for Disk {
    fn frames(&self, file: &str) -> Result<u64, Fault> {
        self.songs.frames(file)
    }

    fn audio(&self, file: &str) -> Result<dsp::Channels, Fault> {
        self.songs.audio(file)
    }
}

impl Sources for Disk {
    fn open(&self, file: &str) -> Result<Box<dyn Playback>, Fault> {
        self.open.fetch_add(1, Ordering::SeqCst);
        Ok(Box::new(Reading {
            inner: self.songs.open(file)?,
            at: 0,
            trouble: self.trouble.filter(|(name, ..)| *name == file).map(|(_, at, trouble)| (at, trouble)),
            is_free: self.is_free.clone(),
            read: if file == "a.wav" { self.read.clone() } else { Arc::default() },
            open: self.open.clone(),
        }))
    }
}

struct Reading {
    inner: Box<dyn Playback>,
    at: usize,
    trouble: Option<(usize, Trouble)>,
    is_free: Arc<(Mutex<bool>, Condvar)>,
    read: Arc<AtomicUsize>,
    open: Arc<AtomicUsize>,
}

impl Playback for Reading {
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault> {
        let mut most = out.len().min(1000);
        if let Some((at, trouble)) = self.trouble {
            if self.at >= at {
                match trouble {
                    Trouble::Stuck => {
                        let is_free = self.is_free.0.lock().unwrap();
                        drop(self.is_free.1.wait_while(is_free, |is_free| !*is_free).unwrap());
                        self.trouble = None;
                    }
                    Trouble::Faulty => {
                        return Err(Fault::input("cannot-read", "b.wav", "Damaged.".to_owned(), String::new()));
                    }
                    Trouble::Broken => panic!("a decoder that breaks down"),
                }
            } else {
                most = most.min(at - self.at);
            }
        }
        let read = self.inner.read(&mut out[..most])?;
        self.at += read;
        self.read.store(self.at, Ordering::SeqCst);
        Ok(read)
    }
}

impl Drop for Reading {
    fn drop(&mut self) {
        self.open.fetch_sub(1, Ordering::SeqCst);
    }
}

fn text() -> String {
    crate::sheet(STEMS)
}

fn opened(disk: &Disk, from: u64, reader: Option<&ReadAhead>) -> Live {
    let plan = plan(&text(), disk);
    Live::open(&plan, disk, &[plan.prints[0].step], (from, BLOCK), reader).unwrap()
}

/// Looks until it is so: another thread sees to it.
fn until(what: &str, mut is_so: impl FnMut() -> bool) {
    for _ in 0..60_000 {
        if is_so() {
            return;
        }
        thread::sleep(Duration::from_millis(1));
    }
    panic!("never: {what}");
}

#[test]
fn it_plays_the_same_samples_from_anywhere_and_reads_no_more_than_it_may() {
    let reader = ReadAhead::new(|| ());
    for from in [0, 4_321, 100_000] {
        let disk = Disk::new(None);
        let (mut ahead, mut plain) = (opened(&disk, from, Some(&reader)), opened(&Disk::new(None), from, None));
        while !plain.ended() {
            plain.advance().unwrap();
            ahead.advance().unwrap();
            assert!(ahead.output(0) == plain.output(0), "from {from}, at {}", plain.position());
            let played = usize::try_from(ahead.position()).unwrap();
            let read = disk.read.load(Ordering::SeqCst);
            assert!(read <= played + AHEAD, "{read} frames were read when {played} had been played");
        }
        assert!(ahead.ended());
    }
}

#[test]
fn where_the_disk_is_late_nothing_plays_and_then_it_goes_on_with_the_print() {
    const STUCK_AT: usize = 60_000;
    let disk = Disk::new(Some(("c.wav", STUCK_AT, Trouble::Stuck)));
    let print = render(&text(), &songs());
    let reader = ReadAhead::new(|| ());
    let mut live = opened(&disk, 0, Some(&reader));
    let mut heard: Vec<Frame> = Vec::new();
    let mut play = |live: &mut Live, frames: usize| {
        while heard.len() < frames {
            until("the next block", || live.is_ready(1));
            live.advance().unwrap();
            heard.extend_from_slice(live.output(0));
        }
        heard.len()
    };
    let all = STUCK_AT / BLOCK * BLOCK;
    assert_eq!(play(&mut live, all), all, "up to there nothing is late");
    for _ in 0..50 {
        assert!(!live.is_ready(1), "one recording of three is not there");
        thread::sleep(Duration::from_millis(1));
    }
    disk.let_go();
    play(&mut live, print.len());
    assert!(heard[..print.len()] == print[..], "no frame is lost, doubled or out of step");
}

#[test]
fn what_is_not_there_in_time_is_waited_for_if_nobody_asks_first() {
    let disk = Disk::new(Some(("c.wav", 5_000, Trouble::Stuck)));
    let print = render(&text(), &songs());
    let reader = ReadAhead::new(|| ());
    let mut live = opened(&disk, 0, Some(&reader));
    thread::scope(|scope| {
        scope.spawn(|| {
            thread::sleep(Duration::from_millis(30));
            disk.let_go();
        });
        for block in 0..20 {
            live.advance().unwrap();
            assert!(live.output(0) == &print[block * BLOCK..][..BLOCK], "block {block}");
        }
    });
}

#[test]
fn a_fault_is_told_when_it_is_its_turn() {
    for (trouble, words) in [
        (Trouble::Faulty, "Damaged."),
        (Trouble::Broken, "The recordings are read no further: what reads them broke down."),
    ] {
        // The recording starts at 72,000 frames of the song.
        let disk = Disk::new(Some(("b.wav", 10_000, trouble)));
        let reader = ReadAhead::new(|| ());
        let mut live = opened(&disk, 60_000, Some(&reader));
        let mut told = None;
        while told.is_none() && live.position() < 100_000 {
            until("the next block, or a fault", || live.is_ready(1));
            told = live.advance().err();
        }
        assert_eq!(told.map(|fault| fault.to_string()).as_deref(), Some(words));
        if trouble == Trouble::Faulty {
            assert_eq!(live.position() / BLOCK as i64, 82_000 / BLOCK as i64, "not before");
        }
    }
}

#[test]
fn what_plays_no_more_is_closed() {
    let disk = Disk::new(None);
    let reader = ReadAhead::new(|| ());
    let open = || disk.open.load(Ordering::SeqCst);
    let (first, second) = (opened(&disk, 0, Some(&reader)), opened(&disk, 100_000, Some(&reader)));
    assert!(open() >= 3, "the long ones have more to give than there is room for: {}", open());
    drop(first);
    drop(second);
    until("all are closed", || open() == 0);
    let last = opened(&disk, 0, Some(&reader));
    drop(reader);
    drop(last);
    until("all are closed, and the thread ends", || open() == 0);
}
