//! The page's files, and reports of print runs.

use std::fs;
use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::Shared;

/// Files of a revision that are shown, and what they are.
const SHOWN: &[(&str, &str)] = &[
    ("report.html", "text/html; charset=utf-8"),
    ("report.json", "application/json"),
    ("sheet.toml", "text/plain; charset=utf-8"),
];

pub(super) async fn index() -> Response {
    page(Path("index.html".to_owned())).await
}

pub(super) async fn page(Path(path): Path<String>) -> Response {
    match pages::desk().iter().find(|file| file.path == path) {
        Some(file) => ([(header::CONTENT_TYPE, file.content_type)], file.bytes).into_response(),
        None => missing(),
    }
}

/// A document of a revision. Both names are compared with what may be there, so that no other file can be read.
pub(super) async fn report(
    State(shared): State<Arc<Shared>>,
    Path((revision, file)): Path<(String, String)>,
) -> Response {
    let Some((name, kind)) =
        SHOWN.iter().find(|(name, _)| *name == file).filter(|_| prints::history::is_revision(&revision))
    else {
        return missing();
    };
    let path = prints::revisions_of(shared.session().path(), None).join(revision).join(name);
    match fs::read(path) {
        Ok(bytes) => ([(header::CONTENT_TYPE, *kind)], bytes).into_response(),
        Err(_) => missing(),
    }
}

/// The figure of a processor as it is set now. Its place is that of the card: node or print, and index in the chain.
pub(super) async fn figure(State(shared): State<Arc<Shared>>, Path((owner, place)): Path<(String, usize)>) -> Response {
    let found = shared.session().settings(&owner, place);
    let Some((settings, tempo_bpm)) = found else { return missing() };
    match tokio::task::spawn_blocking(move || reference::figure_of(&settings, tempo_bpm)).await {
        Ok(Some(svg)) => ([(header::CONTENT_TYPE, "image/svg+xml")], svg).into_response(),
        _ => missing(),
    }
}

fn missing() -> Response {
    (StatusCode::NOT_FOUND, "There is nothing here.\n").into_response()
}
