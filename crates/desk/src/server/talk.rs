//! The channel to talk on: what a page asks for is done, and every page is told.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use axum::extract::State;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::response::Response;
use tokio::sync::broadcast::error::RecvError;
use units::{Problem, Severity};

use super::{Shared, as_text, blind, earlier};
use crate::behind;
use crate::exposure;
use crate::player::Order;
use crate::protocol::{Asked, Finding, Hearing, Told};

/// Bytes that a page may send at once: a ride of some thousand points.
const MOST_BYTES: usize = 1 << 18;
/// How often the sheet's file is looked at, and unsaved changes are kept.
const LOOK: Duration = Duration::from_secs(1);
/// Looks between two times that the day's exposure is kept.
const KEEP_EXPOSURE: u32 = 10;

pub(super) async fn connect(State(shared): State<Arc<Shared>>, upgrade: WebSocketUpgrade) -> Response {
    upgrade.max_message_size(MOST_BYTES).on_upgrade(|socket| async move {
        talk(shared.clone(), socket).await;
        // Where the machine plays, the last page that goes stops it. Where a page plays, its channel of sound does.
        if shared.told.receiver_count() == 0 && shared.session().device().is_some() {
            shared.order(Order::Pause);
        }
    })
}

async fn talk(shared: Arc<Shared>, mut socket: WebSocket) {
    let mut told = shared.told.subscribe();
    if tell_all(&shared, &mut socket).await.is_err() {
        return;
    }
    shared.order(Order::Report);
    loop {
        tokio::select! {
            news = told.recv() => {
                let sent = match news {
                    Ok(text) => socket.send(Message::Text(text.to_string().into())).await,
                    // It fell behind: what it missed is in the view.
                    Err(RecvError::Lagged(_)) => tell_all(&shared, &mut socket).await,
                    Err(RecvError::Closed) => return,
                };
                if sent.is_err() {
                    return;
                }
            }
            message = socket.recv() => match message {
                Some(Ok(Message::Text(text))) => {
                    let answer = match serde_json::from_str::<Asked>(&text) {
                        // The page has missed something.
                        Ok(Asked::View) => match tell_all(&shared, &mut socket).await {
                            Ok(()) => Ok(()),
                            Err(_) => return,
                        },
                        Ok(asked) => {
                            let shared = shared.clone();
                            match tokio::task::spawn_blocking(move || answer(&shared, asked)).await {
                                Ok(answer) => answer,
                                Err(_) => return,
                            }
                        }
                        Err(error) => Err(not_understood(&error)),
                    };
                    if let Err(problem) = answer {
                        let refused = Told::Refused { finding: Finding::of(&problem) };
                        if socket.send(Message::Text(as_text(&refused).to_string().into())).await.is_err() {
                            return;
                        }
                    }
                }
                Some(Ok(Message::Ping(_) | Message::Pong(_))) => {}
                _ => return,
            },
        }
    }
}

async fn tell_all(shared: &Shared, socket: &mut WebSocket) -> Result<(), axum::Error> {
    let view = shared.shown().whole();
    let sounds = shared.session().survey().map(crate::surveyor::sounds);
    socket.send(Message::Text(as_text(&view).to_string().into())).await?;
    if let Some(sounds) = sounds {
        socket.send(Message::Text(as_text(&Told::Sounds { sounds }).to_string().into())).await?;
    }
    socket.send(Message::Text(as_text(&shared.exposure()).to_string().into())).await?;
    let blind = blind::told(shared);
    socket.send(Message::Text(as_text(&blind).to_string().into())).await?;
    Ok(())
}

fn not_understood(error: &serde_json::Error) -> Box<Problem> {
    let message = format!("The desk does not understand its page: {error}.");
    Box::new(Problem::new(Severity::Fail, "message", "desk", message, "Load the page again.".to_owned()))
}

/// Does what a page asks for.
fn answer(shared: &Arc<Shared>, asked: Asked) -> Result<(), Box<Problem>> {
    match asked {
        Asked::Play => shared.order(Order::Play),
        Asked::Pause => shared.order(Order::Pause),
        Asked::Seek { to_s } => {
            let frame = shared.session().frame(to_s);
            shared.order(Order::Seek(frame));
        }
        Asked::Hear { hearing } => hear(shared, hearing),
        Asked::Listen { ear } => {
            shared.session().listen(ear);
            shared.play_scene();
            shared.tell_view();
        }
        Asked::Edit { edits, words, goes_on } => {
            shared.session().edit(&edits, &words, goes_on)?;
            changed(shared);
        }
        Asked::Undo => {
            if shared.session().undo()? {
                changed(shared);
            }
        }
        Asked::Redo => {
            if shared.session().redo()? {
                changed(shared);
            }
        }
        Asked::Save => {
            let saved = shared.session().save();
            shared.tell_view();
            saved?;
        }
        Asked::Reload => {
            shared.session().reload()?;
            changed(shared);
        }
        Asked::Recover => {
            shared.session().recover()?;
            changed(shared);
        }
        asked @ (Asked::Keep { .. } | Asked::Differ { .. } | Asked::Take { .. } | Asked::Render { .. }) => {
            version(shared, asked)?;
        }
        Asked::Advise => shared.adviser.ask(),
        // It is told in the channel that asks: see `talk`.
        Asked::View => {}
        Asked::Open { opened } => shared.weigher.open(opened),
        Asked::Print => print(shared)?,
        Asked::Room { dba } => {
            shared.room().measure(dba)?;
            shared.tell(&shared.exposure());
        }
        Asked::Blind { blindly } => blind::answer(shared, blindly)?,
    }
    Ok(())
}

/// Hears something, or in another way.
fn hear(shared: &Arc<Shared>, hearing: Hearing) {
    let (brought, voice, span) = {
        let mut session = shared.session();
        let before = session.span();
        let brought = session.hear(hearing);
        let span = session.span();
        (brought, session.voice(), (span != before).then_some(span))
    };
    if brought {
        shared.play_scene();
        earlier::align(shared);
    } else {
        shared.order(Order::Voice(voice));
    }
    if let Some(span) = span {
        shared.order(Order::Loop(span));
    }
    shared.tell_view();
}

/// Keeps a version, says how one differs, goes back to one, or has one rendered.
fn version(shared: &Shared, asked: Asked) -> Result<(), Box<Problem>> {
    match asked {
        Asked::Keep { name } => {
            let kept = shared.session().keep_version(&name);
            shared.tell_view();
            kept?;
        }
        Asked::Differ { name } => {
            let differs = shared.session().since_version(&name)?;
            shared.tell(&Told::Differs { differs });
        }
        Asked::Take { name } => {
            shared.session().take_version(&name)?;
            changed(shared);
        }
        Asked::Render { name } => shared.renderer.render(name),
        _ => {}
    }
    Ok(())
}

/// The sheet is another one: it is played, shown, and surveyed once hands rest.
fn changed(shared: &Shared) {
    shared.play_scene();
    shared.tell_view();
    shared.surveyor.begin();
    shared.weigher.again();
}

/// Prints the saved sheet on a thread of its own. One run at a time.
fn print(shared: &Arc<Shared>) -> Result<(), Box<Problem>> {
    if shared.printing.swap(true, Ordering::SeqCst) {
        let message = "A print run is under way.".to_owned();
        let remedy = "Wait for its end.".to_owned();
        return Err(Box::new(Problem::new(Severity::Note, "printing", "desk", message, remedy)));
    }
    let shared = shared.clone();
    behind::spawn(move || {
        let sheet = shared.session().path().to_owned();
        let progress = |what: &str, part: f64| shared.tell(&Told::Progress { what: what.to_owned(), part });
        let order = prints::Order { progress: &progress, ..prints::Order::of(&sheet, shared.threads) };
        match prints::print(&order) {
            Ok(printed) => {
                let (revision, sound) = (printed.report.revision.clone(), !printed.report.failed());
                shared.session().look_at_report();
                shared.tell_view();
                shared.tell(&Told::Printed { revision, sound });
            }
            Err(stopped) => {
                let problems = match stopped {
                    prints::Stopped::Sheet(loaded) => loaded.problems,
                    prints::Stopped::Fault(fault) => vec![fault.into_problem()],
                };
                for problem in &problems {
                    shared.tell(&Told::Refused { finding: Finding::of(problem) });
                }
            }
        }
        shared.printing.store(false, Ordering::SeqCst);
    });
    Ok(())
}

/// Keeps what the ears have had today beside the sheet.
pub(super) fn keep_exposure(shared: &Shared) {
    // The player takes this lock too: nothing is written while it is held.
    let due = shared.room().due(exposure::today());
    if let Some(day) = due {
        let sheet = shared.session().path().to_owned();
        // A folder that cannot be written is told of when the sheet is saved.
        let _ = day.keep(&sheet);
    }
}

/// Looks at the sheet's file now and then, and keeps what is not saved.
pub(super) async fn watch_file(shared: &Arc<Shared>) {
    let mut tick = tokio::time::interval(LOOK);
    // A machine that has slept for an hour has not missed 3600 looks.
    tick.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    let mut count = 0_u32;
    loop {
        tick.tick().await;
        count = count.wrapping_add(1);
        let looks = shared.clone();
        let looked = tokio::task::spawn_blocking(move || {
            if count.is_multiple_of(KEEP_EXPOSURE) {
                keep_exposure(&looks);
            }
            let mut session = looks.session();
            session.keep_unsaved();
            (session.look_outside(), session.look_at_notes(), session.look_at_prints())
        });
        let Ok((changed, noted, printed)) = looked.await else { continue };
        if changed || printed {
            shared.play_scene();
        }
        if changed {
            shared.surveyor.begin();
            shared.weigher.again();
        }
        if printed {
            earlier::align(shared);
        }
        if changed || noted || printed {
            shared.tell_view();
        }
    }
}
