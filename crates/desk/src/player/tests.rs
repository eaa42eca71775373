//! What the player sends, piece by piece.

use std::slice;
use std::sync::mpsc;
use std::sync::{Condvar, Mutex};
use std::thread;
use std::time::Duration;

use engine::{Facts, Folder, Playback, Setup, Sink, Sources, Stream, Taken};
use sheet::Edit;

use super::*;
use crate::session::Session;
use crate::testing::Song;

/// A player at work.
struct Listening {
    orders: Sender<Order>,
    pieces: Receiver<Piece>,
    now: Receiver<Now>,
    thread: Option<thread::JoinHandle<()>>,
}

impl Listening {
    fn to(session: &Session) -> Self {
        Self::to_scene(session, session.scene())
    }

    fn to_scene(session: &Session, scene: Scene) -> Self {
        let (orders, received) = mpsc::channel();
        let (sound, pieces) = mpsc::channel();
        let (tell, now) = mpsc::channel();
        let ears = Ears {
            sound: Box::new(move |piece| drop(sound.send(piece))),
            now: Box::new(move |now| drop(tell.send(now))),
            fault: Box::new(|fault| panic!("{fault:?}")),
        };
        let voice = Voice { monitor_db: 0.0, ..session.voice() };
        let player = Player::new(received, orders.clone(), ears, Arc::new(scene), voice);
        Self { orders, pieces, now, thread: Some(thread::spawn(move || player.run())) }
    }

    fn order(&self, order: Order) {
        self.orders.send(order).expect("it listens");
    }

    /// The next pieces, granted one by one.
    fn hear(&self, pieces: usize) -> Vec<Piece> {
        let next = |_| {
            self.order(Order::Credit(480));
            self.pieces.recv_timeout(Duration::from_secs(120)).expect("it plays")
        };
        (0..pieces).map(next).collect()
    }

    /// Pieces up to the first that is what it is to be: what comes in is made ready behind the scenes, where a busy machine
    /// may leave it waiting, so the test takes longer and longer rests.
    fn hear_until(&self, most: usize, is_it: impl Fn(&Piece) -> bool) -> Vec<Piece> {
        let mut rest = Duration::from_millis(5);
        let mut pieces = self.hear(1);
        while !is_it(&pieces[pieces.len() - 1]) {
            assert!(pieces.len() < most, "it never came");
            thread::sleep(rest);
            rest = (rest * 11 / 10).min(Duration::from_millis(500));
            pieces.extend(self.hear(1));
        }
        pieces
    }
}

impl Drop for Listening {
    fn drop(&mut self) {
        self.order(Order::End);
        if let Some(thread) = self.thread.take() {
            thread.join().expect("it ended well");
        }
    }
}

struct Keep<'a>(&'a mut Vec<Frame>);

impl Sink for Keep<'_> {
    fn take(&mut self, taken: &Taken<'_>) -> Result<(), Fault> {
        self.0.extend_from_slice(taken.lane(0));
        Ok(())
    }
}

/// The print as it is rendered to a file.
fn printed(session: &Session) -> Vec<Frame> {
    let (sheet, sources) = session.for_survey();
    let sources: &Folder = &sources;
    let plan = engine::compile(&sheet, sources).expect("it compiles");
    let mut frames = Vec::new();
    let stream = Stream::open(&plan, sources, &[plan.prints[0].step], &Setup::default()).expect("it opens");
    stream.run(1, vec![Box::new(Keep(&mut frames))], &|_| ()).expect("it renders");
    frames
}

/// Largest difference between pieces and the frames of a print at the same place.
fn difference(pieces: &[Piece], print: &[Frame]) -> f64 {
    let pairs = pieces.iter().flat_map(|piece| {
        let at = usize::try_from(piece.at).expect("after the start");
        piece.frames.iter().zip(&print[at..])
    });
    pairs.map(|(a, b)| (a[0] - b[0]).abs().max((a[1] - b[1]).abs())).fold(0.0, f64::max)
}

#[test]
fn it_plays_the_samples_of_the_print() {
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let print = printed(&session);
    let listening = Listening::to(&session);
    listening.order(Order::Play);
    let pieces = listening.hear(100);
    assert!(pieces[0].frames.iter().flatten().all(|x| x.abs() < 1e-3), "it comes up from silence");
    assert!(pieces.windows(2).all(|pair| pair[1].at - pair[0].at == 480));
    // The guard watches the first second; then nothing stands between, and the print is far below its ceiling.
    listening.hear(20);
    assert!(difference(&listening.hear(80), &print) < 1e-12);
    // From anywhere else too, once the equaliser has its history; and the place is the one that was asked for.
    listening.order(Order::Seek(123_456));
    let pieces = listening.hear_until(150, |piece| piece.generation == 2);
    let late = 1200;
    let found = &pieces[pieces.len() - 1];
    assert!((found.at - 123_456).abs() < late, "{}", found.at);
    listening.hear(30);
    assert!(difference(&listening.hear(20), &print) < 1e-9);
}

#[test]
fn a_processor_that_is_taken_out_fades_over_at_the_same_frame() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let before = printed(&session);
    let listening = Listening::to(&session);
    listening.order(Order::Play);
    listening.hear(130);
    let off =
        Edit::Set { path: vec!["stem".into(), "b".into(), "chain".into(), 0.into(), "off".into()], value: true.into() };
    session.edit(&[off], "equaliser of b taken out", false).expect("it can be taken out");
    let after = printed(&session);
    listening.order(Order::Scene(Arc::new(session.scene()), Voice { monitor_db: 0.0, ..session.voice() }));
    let mut pieces = listening.hear_until(200, |piece| difference(slice::from_ref(piece), &before) >= 1e-9);
    let taken_over = pieces.len();
    pieces.extend(listening.hear(150));
    assert!(pieces.windows(2).all(|pair| pair[1].at - pair[0].at == 480), "no piece is lost or doubled");
    assert!(taken_over > 1, "what was heard goes on until then");
    assert!(difference(&pieces[taken_over + 120..], &after) < 1e-9);
    let step = |frames: &[Frame]| frames.windows(2).map(|p| (p[1][0] - p[0][0]).abs()).fold(0.0, f64::max);
    let played: Vec<Frame> = pieces.iter().flat_map(|piece| piece.frames.iter().copied()).collect();
    assert!(step(&played) <= 1.05 * step(&before).max(step(&after)), "nothing clicks");
}

/// A disk that stands still at a frame of one recording until it is let go.
struct Stuck {
    folder: Arc<Folder>,
    at: u64,
    is_free: Arc<(Mutex<bool>, Condvar)>,
}

impl Facts for Stuck {
    fn frames(&self, file: &str) -> Result<u64, Fault> {
        self.folder.frames(file)
    }

    fn audio(&self, file: &str) -> Result<dsp::Channels, Fault> {
        self.folder.audio(file)
    }
}

impl Sources for Stuck {
    fn open(&self, file: &str) -> Result<Box<dyn Playback>, Fault> {
        let inner = self.folder.open(file)?;
        let left = if file == "b.wav" { self.at } else { u64::MAX };
        Ok(Box::new(Standing { inner, left, is_free: self.is_free.clone() }))
    }
}

struct Standing {
    inner: Box<dyn Playback>,
    left: u64,
    is_free: Arc<(Mutex<bool>, Condvar)>,
}

impl Playback for Standing {
    fn read(&mut self, out: &mut [Frame]) -> Result<usize, Fault> {
        if self.left == 0 {
            let is_free = self.is_free.0.lock().expect("nobody fails");
            drop(self.is_free.1.wait_while(is_free, |is_free| !*is_free).expect("nobody fails"));
            self.left = u64::MAX;
        }
        let most = out.len().min(usize::try_from(self.left).unwrap_or(usize::MAX));
        let read = self.inner.read(&mut out[..most])?;
        self.left -= read as u64;
        Ok(read)
    }
}

#[test]
fn where_the_disk_is_late_it_is_silent_says_so_and_goes_on_where_it_was() {
    const STUCK_AT: u64 = 150_000;
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let print = printed(&session);
    let is_free: Arc<(Mutex<bool>, Condvar)> = Arc::default();
    let folder = session.for_survey().1;
    let sources = Arc::new(Stuck { folder, at: STUCK_AT, is_free: is_free.clone() });
    let listening = Listening::to_scene(&session, Scene { sources, ..session.scene() });
    listening.order(Order::Play);
    let mut pieces = listening.hear(290);
    listening.order(Order::Credit(48_000));
    let mut reports = std::iter::from_fn(|| listening.now.recv_timeout(Duration::from_secs(120)).ok());
    let told = reports.find(|now| now.late > 0).expect("it says so");
    assert!(told.late == 1 && told.playing, "it plays on as soon as it can: {}", told.late);
    pieces.extend(listening.pieces.try_iter());
    assert!(listening.pieces.recv_timeout(Duration::from_millis(100)).is_err(), "nothing is made up");
    let last = pieces[pieces.len() - 1].at;
    assert!((145_000..STUCK_AT as i64).contains(&last), "all that was read is played: {last}");
    *is_free.0.lock().expect("nobody fails") = true;
    is_free.1.notify_all();
    pieces.extend(listening.hear(60));
    assert!(pieces.windows(2).all(|pair| pair[1].at - pair[0].at == 480), "no piece is lost or doubled");
    assert!(difference(&pieces[130..], &print) < 1e-12, "it is the print before and after");
}

#[test]
fn while_it_rests_it_is_where_it_was_sent() {
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let listening = Listening::to(&session);
    listening.order(Order::Play);
    listening.hear(20);
    listening.order(Order::Pause);
    listening.order(Order::Seek(120_000));
    listening.order(Order::Voice(Voice { monitor_db: -6.0, ..session.voice() }));
    listening.order(Order::Report);
    let mut rests = listening.now.iter().skip_while(|now| now.playing).map(|now| now.at_s);
    assert!(rests.next() < Some(1.0), "it was paused near the start");
    assert_eq!([rests.next(), rests.next(), rests.next()], [Some(2.5); 3], "and stays where it was sent");
}

/// A player without a thread of its own, so that what it is told and what it plays come in this order. It listens to the last
/// output of a sheet, and its network is ready.
fn by_hand(session: &Session) -> Player {
    let (orders, received) = mpsc::channel();
    let ears = Ears { sound: Box::new(|_| ()), now: Box::new(|_| ()), fault: Box::new(|fault| panic!("{fault:?}")) };
    let scene = Arc::new(session.scene());
    let voice = Voice { output: scene.outputs.len() - 1, monitor_db: 0.0, ..session.voice() };
    let mut player = Player::new(received, orders, ears, scene, voice);
    be_told(&mut player);
    player
}

fn be_told(player: &mut Player) {
    let order = player.orders.recv_timeout(Duration::from_secs(120)).expect("it is opened");
    player.follow(order);
}

#[test]
fn what_comes_too_late_catches_up_off_the_thread_that_plays() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let mut player = by_hand(&session);
    let voice = player.voice;
    player.play_piece();
    let off =
        Edit::Set { path: vec!["stem".into(), "b".into(), "chain".into(), 0.into(), "off".into()], value: true.into() };
    session.edit(&[off], "equaliser of b taken out", false).expect("it can be taken out");
    let scene = Arc::new(session.scene());
    player.follow(Order::Scene(scene.clone(), voice));
    for late in 1..4 {
        for _ in 0..20 * late {
            player.play_piece();
        }
        be_told(&mut player);
        assert!(player.next.is_none() && player.opening.is_some(), "{late}: it was ready behind what plays");
    }
    let is_new = |player: &Player| player.now.as_ref().is_some_and(|take| Arc::ptr_eq(take.scene(), &scene));
    be_told(&mut player);
    let at = player.next.as_ref().map(|(_, take)| take.at()).expect("it is there in time");
    assert!(at > player.now.as_ref().expect("it plays").at() && !is_new(&player));
    while player.at < at {
        player.play_piece();
    }
    assert!(player.at == at && is_new(&player), "it takes over where it was ready: {} and {at}", player.at);
}

#[test]
fn what_goes_back_to_a_level_of_before_comes_up_by_less_than_6_db_in_50_ms() {
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let listening = Listening::to(&session);
    let voice = |through| Voice { monitor_db: 0.0, through, ..session.voice() };
    listening.order(Order::Play);
    let loud = listening.hear(130);
    listening.order(Order::Voice(voice(Through::SmallSpeaker)));
    let soft = listening.hear(60);
    listening.order(Order::Voice(voice(Through::Nothing)));
    let back = listening.hear(60);
    let levels = |pieces: &[Piece]| pieces.iter().map(|piece| crate::guard::level_dbfs(&piece.frames)).collect();
    let [loud, soft, back]: [Vec<f64>; 3] = [&loud, &soft, &back].map(|pieces| levels(pieces));
    assert!(loud[129] - soft[59] > 6.5, "otherwise nothing is to be seen: {} {}", loud[129], soft[59]);
    let heard: Vec<f64> = soft[50..].iter().chain(&back).copied().collect();
    for window in heard.windows(6) {
        assert!(window[5] - window[0] < 6.0, "{window:?}");
    }
    assert!((back[59] - loud[129]).abs() < 1.0, "and it is all there again: {} {}", back[59], loud[129]);
}

#[test]
fn a_loop_comes_round_and_round() {
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let listening = Listening::to(&session);
    listening.order(Order::Loop(Some((48_000, 96_000))));
    listening.order(Order::Seek(90_000));
    listening.order(Order::Play);
    // The start of the loop is made ready on another thread, which on a busy machine takes longer than a passage that is
    // played ten times as fast as it sounds: after a late turn the test takes its time.
    let (mut jumps, mut on_time, mut last) = (0, 0, i64::MIN);
    let mut rest = Duration::from_millis(1);
    while on_time < 3 {
        for piece in listening.hear(10) {
            if last > piece.at {
                assert!(last >= 94_000 && (46_000..49_000).contains(&piece.at), "from {last} to {}", piece.at);
                jumps += 1;
                if last < 97_500 { on_time += 1 } else { rest = (2 * rest).min(Duration::from_millis(250)) }
            }
            last = piece.at;
            thread::sleep(rest);
        }
        assert!(
            jumps < 12 && last < 96_000 + LATE_PIECES * 480,
            "{on_time} of {jumps} turns were on time, now at {last}"
        );
    }
}

#[test]
fn it_sends_no_more_than_the_page_can_take() {
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let listening = Listening::to(&session);
    listening.order(Order::Play);
    listening.hear(3);
    assert!(listening.pieces.recv_timeout(Duration::from_millis(200)).is_err());
    listening.order(Order::Credit(480));
    listening.order(Order::Pause);
    listening.order(Order::Credit(48_000));
    let sent = std::iter::from_fn(|| listening.pieces.recv_timeout(Duration::from_millis(200)).ok()).count();
    assert!(sent <= 1, "{sent} after the pause");
}

#[test]
fn nodes_and_prints_come_and_go_while_it_plays() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let listening = Listening::to(&session);
    listening.order(Order::Play);
    listening.hear(110);
    let table = |entries: &[(&str, sheet::Plain)]| {
        sheet::Plain::Table(entries.iter().map(|(key, value)| ((*key).to_owned(), value.clone())).collect())
    };
    let files = sheet::Plain::List(vec![table(&[("format", "wav".into()), ("bits", 24.0.into())])]);
    let bus = table(&[("name", "room".into()), ("to", "mix".into())]);
    let print = table(&[("name", "for the car".into()), ("from", "mix".into()), ("files", files)]);
    let print_at = |at| Edit::Insert { path: vec!["print".into()], at, value: print.clone() };
    let gone = |path: [&str; 2]| Edit::Remove { path: path.map(Into::into).to_vec() };
    for edit in [
        Edit::Insert { path: vec!["bus".into()], at: 0, value: bus },
        print_at(0),
        gone(["print", "for the car"]),
        gone(["reference", "rough mix"]),
        gone(["bus", "room"]),
    ] {
        // The print for approval is as loud as the reference that goes.
        let edits = match &edit {
            Edit::Remove { path } if path[0] == "reference".into() => vec![gone(["print", "for approval"]), edit],
            _ => vec![edit],
        };
        session.edit(&edits, "by hand", false).expect("it can be made");
        let voice = Voice { output: session.scene().outputs.len() - 1, monitor_db: 0.0, ..session.voice() };
        listening.order(Order::Scene(Arc::new(session.scene()), voice));
        let pieces = listening.hear(40);
        assert!(pieces.windows(2).all(|pair| pair[1].at - pair[0].at == 480), "no piece is lost or doubled");
    }
}

/// The sheet without its reference and the print that is as loud as it: two outputs less.
fn with_less_to_hear(session: &mut Session) -> Order {
    let gone = |path: [&str; 2]| Edit::Remove { path: path.map(Into::into).to_vec() };
    session
        .edit(&[gone(["print", "for approval"]), gone(["reference", "rough mix"])], "less", false)
        .expect("it can be");
    Order::Scene(Arc::new(session.scene()), Voice { output: 0, monitor_db: 0.0, ..session.voice() })
}

#[test]
fn what_is_heard_may_be_gone_before_the_first_piece() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let mut player = by_hand(&session);
    player.follow(with_less_to_hear(&mut session));
    be_told(&mut player);
    player.play_piece();
    assert_eq!(player.now.as_ref().map(|take| take.scene().outputs.len()), Some(player.scene.outputs.len()));
}

#[test]
fn a_network_that_is_out_of_date_when_it_is_ready_never_sounds() {
    let song = Song::new();
    let mut session = Session::open(&song.sheet()).expect("it opens");
    let whole = session.scene();
    let mut player = by_hand(&session);
    player.play_piece();
    // What has less to hear is ready, and does not sound yet; then all is there again.
    player.follow(with_less_to_hear(&mut session));
    be_told(&mut player);
    assert!(player.next.is_some());
    let voice = player.sounding.0;
    player.follow(Order::Scene(Arc::new(whole), voice));
    (0..2 * LEAD_PIECES).for_each(|_| player.play_piece());
    be_told(&mut player);
    (0..20 * LEAD_PIECES).for_each(|_| player.play_piece());
    assert!(player.now.as_ref().is_some_and(|take| Arc::ptr_eq(take.scene(), &player.scene)), "it takes over");
    assert_eq!(player.now.as_ref().map(|take| take.scene().outputs.len()), Some(player.scene.outputs.len()));
}

#[test]
fn a_blind_test_plays_from_memory_and_the_song_goes_on_where_it_was() {
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let print = printed(&session);
    let scene = Arc::new(session.scene());
    let stop = std::sync::atomic::AtomicBool::new(false);
    let ways = [0, 2].map(|output| (output, Through::Nothing));
    let heard = crate::passage::render(&scene, &ways, (60_000, 48_000), &stop).expect("it renders").expect("all of it");
    let largest = |a: &[Frame], b: &[Frame]| {
        a.iter().zip(b).map(|(a, b)| (a[0] - b[0]).abs().max((a[1] - b[1]).abs())).fold(0.0, f64::max)
    };
    assert!(largest(&heard[0], &print[60_000..108_000]) < 1e-9, "the passage is that of the print");
    let sides = <[Vec<Frame>; 2]>::try_from(heard).expect("two");
    let pair = Arc::new(Pair::new(48_000.0, 60_000, sides.clone()).expect("they differ"));
    let gains = pair.turned_down_db().map(units::gain_from_db);
    let listening = Listening::to(&session);
    listening.order(Order::Play);
    listening.hear(10);
    listening.order(Order::Blind(Some(pair)));
    listening.order(Order::Compare(Side::B));
    listening.order(Order::Play);
    // Once the guard has let it up, it is the second one, to the sample, and stays in step when it changes.
    let late = Guard::new(48_000.0).latency_frames() as i64;
    for (side, index) in [(Side::B, 1), (Side::A, 0), (Side::B, 1)] {
        listening.order(Order::Compare(side));
        let pieces = listening.hear(120);
        let piece = pieces.last().expect("a piece");
        let at = usize::try_from(piece.at + late - 60_000).expect("inside the passage");
        let expected: Vec<Frame> = (0..480)
            .map(|n| sides[index][(at + n + 48_000 - late as usize) % 48_000].map(|x| x * gains[index]))
            .collect();
        let error = largest(&piece.frames, &expected);
        assert!(error < 1e-9 || !(960..=47_000).contains(&at), "{side:?} at {at}: {error}");
    }
    listening.order(Order::Blind(None));
    assert!(listening.pieces.recv_timeout(Duration::from_millis(100)).is_err(), "it waits to be played");
    listening.order(Order::Play);
    let pieces = listening.hear(20);
    assert!((4_000..30_000).contains(&pieces[19].at), "the song goes on where it was: {}", pieces[19].at);
}

#[test]
fn a_codec_comes_in_behind_the_scenes_and_goes_in_step() {
    let song = Song::new();
    let session = Session::open(&song.sheet()).expect("it opens");
    let print = printed(&session);
    let listening = Listening::to(&session);
    let plain = Voice { monitor_db: 0.0, ..session.voice() };
    let through = Voice { through: "mp3 320".parse().expect("a codec"), ..plain };
    listening.order(Order::Play);
    listening.hear(130);
    listening.order(Order::Voice(through));
    let late = Guard::new(48_000.0).latency_frames() as i64;
    // The plain sound goes on until the codec is there; no piece is lost, and nothing jumps.
    let mut pieces = listening.hear_until(350, |piece| difference(slice::from_ref(piece), &print) >= 1e-9);
    pieces.extend(listening.hear(20));
    assert!(pieces.windows(2).all(|pair| pair[1].at - pair[0].at == 480), "no piece is lost or doubled");
    let heard: Vec<Frame> = pieces[pieces.len() - 18..].iter().flat_map(|piece| piece.frames.iter().copied()).collect();
    let from = usize::try_from(pieces[pieces.len() - 18].at).expect("after the start");
    let fit = measure::align(&print[from..from + heard.len()], &heard, 2_400).expect("it sounds");
    assert!(fit.delay_samples.abs() < 0.5 && fit.correlation > 0.8, "in step: {fit:?}");
    listening.order(Order::Voice(plain));
    listening.hear(110 + usize::try_from(late / 480).unwrap_or(0));
    assert!(difference(&listening.hear(10), &print) < 1e-9, "without it, the print again");
}
