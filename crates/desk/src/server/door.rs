//! Who is let in: a browser on this machine that came with the key, and pages of our own address.
//!
//! - The address is the loopback's, so that no other machine reaches it.
//! - `Host` must be that address by name or number: a page of another site whose name was turned to it is refused.
//! - `Origin`, where a browser sends one, must be our own: other sites cannot open a channel.
//! - The link's key works once. Whoever comes with it gets a cookie, which no script can read and no other site can send.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use subtle::ConstantTimeEq;

use super::Shared;

/// No script, style, font, picture or connection from elsewhere; nothing may frame the page.
const CONTENT_POLICY: &str = "default-src 'none'; script-src 'self'; worker-src 'self'; style-src 'self'; img-src 'self' \
                              data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
/// The same for reports and figures, which carry their style with them and run nothing.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action \
                             'none'; frame-ancestors 'none'";

/// Keys of a desk.
pub(crate) struct Door {
    port: u16,
    key: String,
    used: AtomicBool,
    cookie: String,
}

impl Door {
    /// Keys for the desk at a port.
    pub(super) fn new(port: u16) -> Result<Self, String> {
        Ok(Self { port, key: secret()?, used: AtomicBool::new(false), cookie: secret()? })
    }

    /// The link that is let in, once.
    pub(super) fn link(&self) -> String {
        format!("http://127.0.0.1:{}/?key={}", self.port, self.key)
    }

    fn is_ours(&self, host: &str) -> bool {
        [format!("127.0.0.1:{}", self.port), format!("localhost:{}", self.port)].iter().any(|ours| ours == host)
    }

    /// Cookies do not know ports: each desk has a name of its own.
    fn cookie_name(&self) -> String {
        format!("fairprint-{}", self.port)
    }

    fn knows(&self, headers: &HeaderMap) -> bool {
        let name = format!("{}=", self.cookie_name());
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut values =
            cookies.flat_map(|line| line.split(';')).filter_map(|cookie| cookie.trim().strip_prefix(&name));
        values.any(|value| same(value, &self.cookie))
    }

    /// Whether a query holds the key for the first time.
    fn opens(&self, query: &str) -> bool {
        let mut parts = query.split('&').filter_map(|part| part.strip_prefix("key="));
        parts.any(|key| same(key, &self.key)) && !self.used.swap(true, Ordering::SeqCst)
    }
}

fn secret() -> Result<String, String> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).map_err(|error| format!("no random numbers: {error}"))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// Compares in a time that does not tell where two texts differ.
fn same(a: &str, b: &str) -> bool {
    a.as_bytes().ct_eq(b.as_bytes()).into()
}

/// Lets a request in or refuses it, and says with every answer what the page may do.
pub(super) async fn guard(State(shared): State<Arc<Shared>>, request: Request, next: Next) -> Response {
    let path = request.uri().path();
    let is_report = path.starts_with("/report/") || path.starts_with("/figure/");
    let mut response = match admitted(&shared.door, &request) {
        Ok(None) => next.run(request).await,
        Ok(Some(cookie)) => {
            let headers = [(header::SET_COOKIE, cookie), (header::LOCATION, "/".to_owned())];
            (StatusCode::SEE_OTHER, headers).into_response()
        }
        Err((status, words)) => (status, words).into_response(),
    };
    let policy = if is_report { REPORT_POLICY } else { CONTENT_POLICY };
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, policy),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    headers.insert("cross-origin-opener-policy", HeaderValue::from_static("same-origin"));
    response
}

/// Whether a request is let in; with a new cookie if it came with the key.
fn admitted(door: &Door, request: &Request) -> Result<Option<String>, (StatusCode, &'static str)> {
    let text = |name| request.headers().get(name).and_then(|value: &HeaderValue| value.to_str().ok());
    if !text(header::HOST).is_some_and(|host| door.is_ours(host)) {
        return Err((StatusCode::FORBIDDEN, "This is not the address of the desk.\n"));
    }
    let ours = |origin: &str| origin.strip_prefix("http://").is_some_and(|host| door.is_ours(host));
    if request.headers().contains_key(header::ORIGIN) && !text(header::ORIGIN).is_some_and(ours) {
        return Err((StatusCode::FORBIDDEN, "The desk talks to its own page only.\n"));
    }
    if request.method() != Method::GET {
        return Err((StatusCode::METHOD_NOT_ALLOWED, "The desk is asked by GET.\n"));
    }
    if door.knows(request.headers()) {
        return Ok(None);
    }
    if request.uri().path() == "/" && door.opens(request.uri().query().unwrap_or("")) {
        let (name, value) = (door.cookie_name(), &door.cookie);
        return Ok(Some(format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict")));
    }
    Err((StatusCode::FORBIDDEN, "Open the desk by the link that `fairprint desk` has printed. It works once.\n"))
}
