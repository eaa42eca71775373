//! The desk at its address: the page, a channel to talk on, a channel of sound.
//!
//! It answers on the loopback address only, to a browser that came with the one-time key of the link that was printed;
//! from then on the browser is known by a cookie. See `door` for who is let in.

use std::net::{Ipv4Addr, SocketAddr};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, mpsc};
use std::{io, thread};

use axum::Router;
use axum::middleware;
use axum::routing::get;
use engine::Fault;
use tokio::net::TcpListener;
use tokio::sync::broadcast;
use units::{Problem, Severity};

use crate::adviser::Adviser;
use crate::behind;
use crate::device::{Device, Feed};
use crate::exposure::{self, Room};
use crate::held::Held;
use crate::player::{Ears, Order, Player};
use crate::protocol::{Finding, Told};
use crate::renderer::Renderer;
use crate::session::Session;
use crate::surveyor::Surveyor;
use crate::weigher::Weigher;

mod blind;
mod door;
pub(crate) mod earlier;
mod files;
pub(crate) mod shown;
mod sound;
mod talk;

use door::Door;
use shown::Shown;

/// Messages that a slow page may fall behind by; then it is sent everything anew.
const BACKLOG: usize = 256;

/// How a desk is opened.
pub struct Setup {
    /// The sheet.
    pub sheet: PathBuf,
    /// Port; any that is free when 0.
    pub port: u16,
    /// Threads for printing.
    pub threads: usize,
    /// The machine's sound device that plays in the place of the page: part of its name, or nothing for the machine's own
    /// choice. Only a program that was built with the feature `device` has any.
    pub device: Option<String>,
}

/// A desk that has its address and is ready to be served.
pub struct Desk {
    runtime: tokio::runtime::Runtime,
    listener: TcpListener,
    shared: Arc<Shared>,
    player: thread::JoinHandle<()>,
    /// What works behind the scenes.
    behind: Vec<thread::JoinHandle<()>>,
    link: String,
    held: Option<Held>,
    device: Option<Device>,
}

/// Why there is no desk.
#[derive(Debug)]
pub enum Closed {
    /// The sheet must be mended first.
    Sheet(Vec<Problem>),
    /// The machine stands in the way.
    Fault(Fault),
}

/// What all connections share.
pub(crate) struct Shared {
    pub session: Mutex<Session>,
    /// Locked ahead of the session, never behind it.
    pub shown: Mutex<Shown>,
    pub orders: mpsc::Sender<Order>,
    pub told: broadcast::Sender<Arc<str>>,
    pub listener: Mutex<Option<sound::Way>>,
    pub surveyor: Surveyor,
    pub weigher: Weigher,
    pub renderer: Renderer,
    pub adviser: Adviser,
    pub door: Door,
    /// Sample rate of what is played, from the start of the desk to its end.
    pub rate_hz: u32,
    pub threads: usize,
    pub printing: AtomicBool,
    pub booth: blind::Booth,
    pub aligning: AtomicBool,
    pub room: Mutex<Room>,
    /// The frame of the song where the player was last.
    pub at: AtomicI64,
}

impl Shared {
    pub(crate) fn session(&self) -> MutexGuard<'_, Session> {
        self.session.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Tells every page.
    pub(crate) fn tell(&self, told: &Told) {
        // No page is open: nobody misses it.
        let _ = self.told.send(as_text(told));
    }

    /// Tells every page what has changed of the view.
    pub(crate) fn tell_view(&self) {
        let mut shown = self.shown();
        let view = self.session().view();
        self.tell(&shown.take(&view));
    }

    pub(crate) fn shown(&self) -> MutexGuard<'_, Shown> {
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Plays the network as the session has it now.
    pub(crate) fn play_scene(&self) {
        let (scene, voice) = {
            let session = self.session();
            (Arc::new(session.scene()), session.voice())
        };
        self.order(Order::Scene(scene, voice));
    }

    pub(crate) fn room(&self) -> MutexGuard<'_, Room> {
        self.room.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How much the ears have had.
    pub(crate) fn exposure(&self) -> Told {
        Told::Exposure { sentence: self.room().exposure().sentence() }
    }

    /// The frame of the song where the player was last.
    pub(crate) fn place(&self) -> i64 {
        self.at.load(Ordering::Relaxed)
    }

    pub(crate) fn order(&self, order: Order) {
        // The player ends with the desk only.
        let _ = self.orders.send(order);
    }
}

pub(crate) fn as_text(told: &Told) -> Arc<str> {
    serde_json::to_string(told).unwrap_or_default().into()
}

/// Opens a desk. [`Desk::serve`] lets people in.
///
/// # Errors
/// What is wrong with the sheet, or why the address cannot be had.
pub fn open(setup: &Setup) -> Result<Desk, Closed> {
    let mut session = Session::open(&setup.sheet).map_err(Closed::Sheet)?;
    let held = Held::claim(&setup.sheet).map_err(Closed::Fault)?;
    let machine = |error: io::Error| {
        let remedy = "Name another port with --port, or leave it out.".to_owned();
        let at = format!("port {}", setup.port);
        Closed::Fault(Fault::machine("no-address", &at, format!("The desk has no address: {error}."), remedy))
    };
    // One thread does all that pages ask for: the memory of threads that come and go is never given back.
    let mut threads = tokio::runtime::Builder::new_multi_thread();
    let runtime = threads.worker_threads(2).max_blocking_threads(1).enable_all().build().map_err(machine)?;
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, setup.port));
    let listener = runtime.block_on(TcpListener::bind(address)).map_err(machine)?;
    let port = listener.local_addr().map_err(machine)?.port();
    let door = Door::new(port).map_err(|error| machine(io::Error::other(error)))?;
    let link = door.link();
    let (orders, received) = mpsc::channel();
    let (told, _) = broadcast::channel(BACKLOG);
    let scene = Arc::new(session.scene());
    let voice = session.voice();
    let (device, feed) = match &setup.device {
        None => (None, None),
        Some(wanted) => {
            let told = told.clone();
            // No page is open: nobody misses it.
            let lost = move |fault| drop(told.send(as_text(&refused(fault))));
            let opened = Device::open(wanted, scene.plan.rate_hz as u32, orders.clone(), lost);
            let (device, feed) = opened.map_err(Closed::Fault)?;
            session.plays_on(device.name());
            (Some(device), Some(feed))
        }
    };
    let shared = Arc::new(Shared {
        shown: Mutex::new(Shown::new(&session.view())),
        session: Mutex::new(session),
        orders: orders.clone(),
        told,
        listener: Mutex::new(None),
        surveyor: Surveyor::default(),
        weigher: Weigher::default(),
        renderer: Renderer::default(),
        adviser: Adviser::default(),
        door,
        rate_hz: scene.plan.rate_hz as u32,
        threads: setup.threads,
        printing: AtomicBool::new(false),
        booth: blind::Booth::default(),
        aligning: AtomicBool::new(false),
        room: Mutex::new(Room::of(&setup.sheet, exposure::today())),
        at: AtomicI64::new(0),
    });
    let player = Player::new(received, orders, ears(&shared, feed), scene, voice);
    let silent = Arc::downgrade(&shared);
    let play = move || {
        // A fault of our own must not leave a page that only looks as if it played.
        if catch_unwind(AssertUnwindSafe(|| player.run())).is_err()
            && let Some(shared) = silent.upgrade()
        {
            shared.tell(&refused(fallen_silent()));
        }
    };
    let player = thread::Builder::new().name("player".to_owned()).spawn(play).map_err(machine)?;
    let works: [fn(&Arc<Shared>); 4] = [
        |shared| shared.surveyor.work(shared),
        |shared| shared.weigher.work(shared),
        |shared| shared.renderer.work(shared),
        |shared| shared.adviser.work(shared),
    ];
    let begin = |work: fn(&Arc<Shared>)| {
        let shared = shared.clone();
        behind::spawn(move || work(&shared))
    };
    let behind = works.into_iter().map(begin).collect();
    Ok(Desk { runtime, listener, shared, player, behind, link, held, device })
}

fn fallen_silent() -> Fault {
    let message =
        "What plays has come to a fault of Fairprint's own, and is silent. The sheet is untouched.".to_owned();
    let remedy = "Save, end the desk, open it again; and report what you did last, with the sheet.".to_owned();
    Fault::machine("fallen-silent", "the desk", message, remedy)
}

/// Where the player's sound and reports go.
fn ears(shared: &Arc<Shared>, device: Option<Feed>) -> Ears {
    let [to_sound, to_now, to_fault] = [0; 3].map(|_| Arc::downgrade(shared));
    let to_page = move |piece| {
        if let Some(shared) = to_sound.upgrade() {
            sound::send(&shared, piece);
        }
    };
    Ears {
        sound: match device {
            Some(mut feed) => Box::new(move |piece| feed(&piece.frames)),
            None => Box::new(to_page),
        },
        now: Box::new(move |now| {
            if let Some(shared) = to_now.upgrade() {
                shared.at.store(units::frames_from_secs(now.at_s, f64::from(shared.rate_hz)), Ordering::Relaxed);
                let is_due = shared.room().hear(&now);
                shared.tell(&Told::Now { now });
                // In a blind test, the level would say what X is.
                if is_due && !shared.booth.is_open() {
                    shared.tell(&shared.exposure());
                }
            }
        }),
        fault: Box::new(move |fault| {
            if let Some(shared) = to_fault.upgrade() {
                shared.tell(&refused(fault));
            }
        }),
    }
}

fn refused(fault: Fault) -> Told {
    Told::Refused { finding: Finding::of(&fault.into_problem()) }
}

impl Desk {
    /// The sound device of the machine that plays, if the page does not.
    #[must_use]
    pub fn device(&self) -> Option<&str> {
        self.device.as_ref().map(Device::name)
    }

    /// The link that lets one browser in.
    #[must_use]
    pub fn link(&self) -> &str {
        &self.link
    }

    /// What its connections share.
    #[cfg(test)]
    pub(crate) fn shared(&self) -> &Arc<Shared> {
        &self.shared
    }

    /// Lets people in until the program is told to end.
    ///
    /// # Errors
    /// The address is lost.
    pub fn serve(self) -> Result<(), Fault> {
        let Self { runtime, listener, shared, player, behind, held: _held, device: _device, .. } = self;
        shared.surveyor.begin();
        earlier::align(&shared);
        let app = Router::new()
            .route("/", get(files::index))
            .route("/talk", get(talk::connect))
            .route("/sound", get(sound::connect))
            .route("/report/{revision}/{file}", get(files::report))
            .route("/figure/{owner}/{place}", get(files::figure))
            .route("/{*path}", get(files::page))
            .layer(middleware::from_fn_with_state(shared.clone(), door::guard))
            .with_state(shared.clone());
        let ended = runtime.block_on(async {
            let watched = shared.clone();
            tokio::spawn(async move { talk::watch_file(&watched).await });
            let service = axum::serve(listener, app);
            tokio::select! {
                ended = service => ended,
                _ = tokio::signal::ctrl_c() => Ok(()),
            }
        });
        shared.session().keep_unsaved();
        talk::keep_exposure(&shared);
        shared.order(Order::End);
        shared.surveyor.end();
        shared.weigher.end();
        shared.renderer.end();
        shared.adviser.end();
        runtime.shutdown_background();
        // Their files go with them.
        behind.into_iter().chain([player]).for_each(|thread| drop(thread.join()));
        ended.map_err(|error| {
            let remedy = "Open the desk again.".to_owned();
            Fault::machine("no-address", "desk", format!("The desk has lost its address: {error}."), remedy)
        })
    }
}

impl Finding {
    /// A problem as the page shows it.
    #[must_use]
    pub fn of(problem: &Problem) -> Self {
        let severity = match problem.severity {
            Severity::Note => "note",
            Severity::Warn => "warn",
            Severity::Fail => "fail",
        };
        Self {
            severity: severity.to_owned(),
            code: problem.code.to_owned(),
            at: problem.at.clone(),
            message: problem.message.clone(),
            remedy: problem.remedy.clone(),
            at_s: problem.at_ms.map(secs),
            revision: None,
            advised: false,
        }
    }

    /// What advice has found.
    #[must_use]
    pub fn of_advice(problem: &Problem) -> Self {
        Self { advised: true, ..Self::of(problem) }
    }

    /// A finding of a print run.
    #[must_use]
    pub fn reported(revision: &str, finding: &prints::history::PastFinding) -> Self {
        let finding = finding.clone();
        Self {
            severity: finding.severity,
            code: finding.code,
            at: finding.at,
            message: finding.message,
            remedy: finding.remedy,
            at_s: finding.at_ms.map(secs),
            revision: Some(revision.to_owned()),
            advised: false,
        }
    }
}

fn secs(ms: u64) -> f64 {
    ms as f64 / 1000.0
}

#[cfg(test)]
mod tests;
