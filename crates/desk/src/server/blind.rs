//! Blind tests: two sounds are rendered behind the scenes, then played from memory. What X is never leaves this side
//! before all is answered, and the meters say nothing meanwhile.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use engine::Fault;
use listening::blind::{self as held, BlindTest, ROUNDS, Side};
use units::{Frame, Problem, Severity};

use super::Shared;
use crate::behind;
use crate::blind::Blind;
use crate::pair::{Pair, Unfit};
use crate::passage;
use crate::player::Order;
use crate::protocol::{self, Blindly, Compared, Ear, Finding, Through, Told};
use crate::session::Session;
use crate::take::Scene;

/// The longest passage that is compared; without a loop it is this long. Excerpts of 10 to 25 s are usual: Rec. ITU-R
/// BS.1116-3, as far as it is remembered.
const LONGEST_S: f64 = 25.0;

/// How a test stands.
#[derive(Default)]
enum Stage {
    #[default]
    Nothing,
    /// Both sounds are being rendered.
    Preparing(BlindTest, Arc<AtomicBool>),
    /// It goes on, or its result is shown.
    Open(Blind),
}

/// The place where blind tests are held.
#[derive(Default)]
pub(crate) struct Booth(Mutex<Stage>);

impl Booth {
    fn stage(&self) -> MutexGuard<'_, Stage> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Booth {
    /// Whether a test plays.
    pub(super) fn is_open(&self) -> bool {
        matches!(&*self.stage(), Stage::Open(blind) if !blind.is_whole())
    }
}

/// Does what a page asks for.
pub(super) fn answer(shared: &Arc<Shared>, asked: Blindly) -> Result<(), Box<Problem>> {
    match asked {
        Blindly::Begin { sides, rounds } => begin(shared, &sides, rounds)?,
        Blindly::Hear { what } => {
            if let Stage::Open(blind) = &mut *shared.booth.stage()
                && !blind.is_whole()
            {
                shared.order(Order::Compare(blind.hear(what)));
                shared.order(Order::Play);
            }
        }
        Blindly::Answer { is_a } => take(shared, if is_a { Side::A } else { Side::B })?,
        Blindly::Leave => leave(shared),
    }
    shared.tell(&told(shared));
    Ok(())
}

/// How the test stands, and what was found before.
pub(super) fn told(shared: &Shared) -> Told {
    let blind = match &*shared.booth.stage() {
        Stage::Nothing => None,
        Stage::Preparing(test, _) => Some(protocol::Blind { ready: false, ..Blind::new(test.clone(), Side::A).view() }),
        Stage::Open(blind) => Some(blind.view()),
    };
    let path = shared.session().path().to_owned();
    // A file that cannot be read is told of when the next test is to be added to it.
    let tests = held::load(&path).map_or_else(|_| Vec::new(), |all| all.tests);
    let before = tests.iter().rev().map(|test| protocol::BlindBefore {
        written: test.written.clone(),
        sides: [test.a.clone(), test.b.clone()],
        outcome: test.sentence(),
    });
    Told::Blind { blind, before: before.collect() }
}

/// Draws what X is.
fn draw() -> Result<Side, Box<Problem>> {
    let mut byte = [0];
    getrandom::fill(&mut byte).map_err(|error| {
        let message = format!("There are no random numbers to draw from: {error}.");
        refused("no-random-numbers", message, "Try again.")
    })?;
    Ok(if byte[0] & 1 == 0 { Side::A } else { Side::B })
}

fn refused(code: &'static str, message: String, remedy: &str) -> Box<Problem> {
    Box::new(Problem::new(Severity::Note, code, "blind test", message, remedy.to_owned()))
}

/// What is rendered for one side.
struct Job {
    ear: Ear,
    scene: Arc<Scene>,
    way: (usize, Through),
}

fn begin(shared: &Arc<Shared>, sides: &[Compared; 2], rounds: usize) -> Result<(), Box<Problem>> {
    let x = draw()?;
    let [fewest, most] = ROUNDS;
    let brought = sides.each_ref().map(|side| shared.session().bring(&side.programme));
    if brought.contains(&true) {
        shared.play_scene();
    }
    let (jobs, span, test) = {
        let session = shared.session();
        let [a, b] = sides.each_ref().map(|side| job(&session, side));
        let span = passage_of(&session, shared.place());
        let rate_hz = f64::from(shared.rate_hz);
        let test = BlindTest {
            a: words(&session, &sides[0]),
            b: words(&session, &sides[1]),
            passage_secs: [span.0 as f64 / rate_hz, (span.0 + span.1 as i64) as f64 / rate_hz],
            turned_down_db: [0.0; 2],
            planned: rounds.clamp(fewest, most),
            rounds: Vec::new(),
            written: String::new(),
        };
        ([a?, b?], span, test)
    };
    let stop = Arc::new(AtomicBool::new(false));
    {
        let mut stage = shared.booth.stage();
        if !matches!(*stage, Stage::Nothing) {
            let message = "A blind test is under way.".to_owned();
            return Err(refused("blind-test", message, "Answer its rounds or leave it."));
        }
        *stage = Stage::Preparing(test.clone(), stop.clone());
    }
    let shared = shared.clone();
    behind::spawn(move || {
        match prepare(&jobs, span, f64::from(shared.rate_hz), &stop) {
            Ok(Some(pair)) => open(&shared, test, x, pair, &stop),
            Ok(None) => return,
            Err(problem) => {
                *shared.booth.stage() = Stage::Nothing;
                shared.tell(&Told::Refused { finding: Finding::of(&problem) });
            }
        }
        shared.tell(&told(&shared));
    });
    Ok(())
}

fn open(shared: &Shared, test: BlindTest, x: Side, pair: Pair, stop: &AtomicBool) {
    let mut stage = shared.booth.stage();
    if stop.load(Ordering::Relaxed) {
        return;
    }
    let test = BlindTest { turned_down_db: pair.turned_down_db(), ..test };
    *stage = Stage::Open(Blind::new(test, x));
    shared.order(Order::Blind(Some(Arc::new(pair))));
}

fn job(session: &Session, side: &Compared) -> Result<Job, Box<Problem>> {
    let Some(output) = session.output(&side.programme) else {
        let message = format!("There is no “{}” to compare.", side.programme);
        return Err(refused("blind-test", message, "Choose a print or a reference."));
    };
    let ear = if side.all { Ear::default() } else { session.ear().clone() };
    Ok(Job { scene: Arc::new(session.scene_of(&ear)), ear, way: (output, side.through) })
}

/// The loop, or what comes from here on: first frame, and frames.
fn passage_of(session: &Session, here: i64) -> (i64, usize) {
    let longest = session.frame(LONGEST_S);
    let end = session.frame(f64::MAX);
    let (from, to) = session.span().unwrap_or((here.min(end - longest).max(0), end));
    (from, usize::try_from((to - from).min(longest)).unwrap_or(0))
}

fn prepare(
    [a, b]: &[Job; 2],
    span: (i64, usize),
    rate_hz: f64,
    stop: &AtomicBool,
) -> Result<Option<Pair>, Box<Problem>> {
    let machine = |fault: Fault| Box::new(fault.into_problem());
    let render = |scene, ways: &[(usize, Through)]| passage::render(scene, ways, span, stop).map_err(machine);
    let heard: Option<Vec<Vec<Frame>>> = if a.ear == b.ear {
        render(&a.scene, &[a.way, b.way])?
    } else {
        let first = render(&a.scene, &[a.way])?;
        let second = render(&b.scene, &[b.way])?;
        first.zip(second).map(|(first, second)| [first, second].concat())
    };
    let Some(sides) = heard.and_then(|heard| <[Vec<Frame>; 2]>::try_from(heard).ok()) else { return Ok(None) };
    let pair = Pair::new(rate_hz, span.0, sides).map_err(|unfit| match unfit {
        Unfit::Silent(index) => {
            let message = format!("{} is silent in this passage.", ["A", "B"][index]);
            refused("blind-test", message, "Loop a passage in which both sound.")
        }
        Unfit::Same => {
            let message = "At the same loudness both are the same samples: there is nothing to tell apart.".to_owned();
            refused("blind-test", message, "Choose two that differ.")
        }
    })?;
    Ok(Some(pair))
}

/// What is compared, in words: `for approval without the compressor of crush, through mono`.
fn words(session: &Session, side: &Compared) -> String {
    let mut words = side.programme.clone();
    let ear = session.ear();
    if !side.all {
        if !ear.alone.is_empty() {
            words += &format!(", {} alone", ear.alone.join(" and "));
        }
        let title = |(owner, place): &(String, usize)| {
            let settings = session.settings(owner, *place);
            settings.map(|(settings, _)| format!("the {} of {owner}", settings.spec().title))
        };
        let left: Vec<String> = ear.silent.iter().cloned().chain(ear.without.iter().filter_map(title)).collect();
        if !left.is_empty() {
            words += &format!(", without {}", left.join(" and "));
        }
    }
    match side.through.words() {
        None => words,
        Some(through) => format!("{words}, through {through}"),
    }
}

fn take(shared: &Shared, answer: Side) -> Result<(), Box<Problem>> {
    let x = draw()?;
    let mut stage = shared.booth.stage();
    let Stage::Open(blind) = &mut *stage else { return Ok(()) };
    if !blind.answer(answer, x) {
        return Err(refused("blind-test", "X was not heard in this round.".to_owned(), "Listen to X, then answer."));
    }
    if blind.is_whole() {
        let test = blind.test().clone();
        drop(stage);
        shared.order(Order::Blind(None));
        keep(shared, test)?;
    }
    Ok(())
}

/// Ends what is under way. A test with answers is kept, and says that it was left.
fn leave(shared: &Shared) {
    let stage = std::mem::take(&mut *shared.booth.stage());
    match stage {
        Stage::Nothing => {}
        Stage::Preparing(_, stop) => stop.store(true, Ordering::Relaxed),
        Stage::Open(blind) => {
            shared.order(Order::Blind(None));
            if !blind.is_whole()
                && !blind.test().rounds.is_empty()
                && let Err(problem) = keep(shared, blind.test().clone())
            {
                shared.tell(&Told::Refused { finding: Finding::of(&problem) });
            }
        }
    }
}

fn keep(shared: &Shared, test: BlindTest) -> Result<(), Box<Problem>> {
    let path = shared.session().path().to_owned();
    let test = BlindTest { written: listening::now(), ..test };
    held::keep(&path, &test).map_err(|fault| Box::new(fault.into_problem()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_x_is_is_drawn_by_lot() {
        let drawn: Vec<Side> = (0..1000).map(|_| draw().expect("there are random numbers")).collect();
        // 1000 tosses: 500 with a deviation of 15.8; six of them either way.
        let count = |of: &dyn Fn(&[Side]) -> bool| drawn.windows(2).filter(|pair| of(pair)).count();
        assert!((405..595).contains(&count(&|pair| pair[0] == Side::A)));
        assert!((405..595).contains(&count(&|pair| pair[0] == pair[1])), "one says nothing about the next");
    }
}
