//! The channel of sound: pieces of 10 ms, as many as the page has room for. The page that came last listens.
//!
//! A piece is binary, little endian: seconds of song time of its first frame (f64), how often the song has jumped (u32),
//! frames (u32), then left and right in turn (f32).

use std::sync::{Arc, PoisonError};

use axum::extract::State;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::response::Response;
use serde::Deserialize;
use tokio::sync::mpsc;

use super::Shared;
use crate::player::{Order, Piece};

/// Pieces that may be on their way; the page's credit keeps far below.
const MOST_PIECES: usize = 128;
/// Bytes that a page may send at once: it only tells numbers here.
const MOST_BYTES: usize = 1 << 10;

/// The way to the page that listens.
pub(crate) type Way = mpsc::Sender<Vec<u8>>;

#[derive(Deserialize)]
struct Credit {
    frames: u32,
}

pub(super) async fn connect(State(shared): State<Arc<Shared>>, upgrade: WebSocketUpgrade) -> Response {
    upgrade.max_message_size(MOST_BYTES).on_upgrade(move |socket| listen(shared, socket))
}

async fn listen(shared: Arc<Shared>, mut socket: WebSocket) {
    if shared.session().device().is_some() {
        // The machine plays: what it has been granted is not the page's.
        return;
    }
    let (way, mut pieces) = mpsc::channel(MOST_PIECES);
    let mine = way.clone();
    *shared.listener.lock().unwrap_or_else(PoisonError::into_inner) = Some(way);
    shared.order(Order::NewListener);
    loop {
        tokio::select! {
            piece = pieces.recv() => {
                let Some(piece) = piece else { return };
                if socket.send(Message::Binary(piece.into())).await.is_err() {
                    break;
                }
            }
            message = socket.recv() => match message {
                Some(Ok(Message::Text(text))) => match serde_json::from_str::<Credit>(&text) {
                    Ok(credit) if is_listening(&shared, &mine) => shared.order(Order::Credit(credit.frames as usize)),
                    Ok(_) => break,
                    Err(_) => break,
                },
                Some(Ok(Message::Ping(_) | Message::Pong(_))) => {}
                _ => break,
            },
        }
    }
    let mut listener = shared.listener.lock().unwrap_or_else(PoisonError::into_inner);
    if listener.as_ref().is_some_and(|way| way.same_channel(&mine)) {
        *listener = None;
        shared.order(Order::Pause);
    }
}

fn is_listening(shared: &Shared, mine: &Way) -> bool {
    let listener = shared.listener.lock().unwrap_or_else(PoisonError::into_inner);
    listener.as_ref().is_some_and(|way| way.same_channel(mine))
}

/// Sends a piece to the page that listens. One that has stopped taking them misses pieces.
pub(super) fn send(shared: &Shared, piece: Piece) {
    let rate_hz = f64::from(shared.rate_hz);
    let mut bytes = Vec::with_capacity(16 + 8 * piece.frames.len());
    bytes.extend((piece.at as f64 / rate_hz).to_le_bytes());
    bytes.extend(piece.generation.to_le_bytes());
    bytes.extend((piece.frames.len() as u32).to_le_bytes());
    for sample in piece.frames.iter().flatten() {
        bytes.extend((*sample as f32).to_le_bytes());
    }
    if let Some(way) = shared.listener.lock().unwrap_or_else(PoisonError::into_inner).as_ref() {
        let _ = way.try_send(bytes);
    }
}
