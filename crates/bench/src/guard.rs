//! Who may ask: the browser that came with the key, on this very address, and no page of another origin.
//!
//! The address holds a key that works once: it is exchanged for a cookie (`HttpOnly`, `SameSite=Strict`) that no script and no other site can
//! use. A request must name our host (so that a name that resolves to the loopback gives nothing), and what changes anything must come from our origin.
//! The pack is shown in a frame that has no origin at all and so no cookie; it has a key of its own in its path, good for reading the pack alone.

use crate::routes::{BODY_MAX, UPLOAD_MAX};
use crate::state::State;
use axum::body::Body;
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::{Arc, Mutex};

/// The page may load its own scripts, style, sounds and frames, and nothing else; no markup in it can bring a script.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; media-src 'self'; frame-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
/// The pack's files may be anyone's: they run without an origin, so that no script in them can ask the bench for anything.
const PACK_POLICY: &str = "sandbox allow-scripts allow-popups; default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; img-src 'self' data:; media-src 'self' data: blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'self'";

/// Keys of one run.
pub struct Guard {
    /// `127.0.0.1:PORT`.
    host: String,
    port: u16,
    /// The key in the address, until it is used.
    key: Mutex<Option<String>>,
    session: String,
    pub pack: String,
}

impl Guard {
    /// # Errors
    /// Where the system gives no random bytes.
    pub fn new(port: u16) -> std::io::Result<Guard> {
        Ok(Guard { host: format!("127.0.0.1:{port}"), port, key: Mutex::new(Some(random()?)), session: random()?, pack: random()? })
    }

    /// The address to open, with the key.
    pub fn address(&self) -> String {
        let key = self.key.lock().unwrap_or_else(|e| e.into_inner()).clone().unwrap_or_default();
        format!("http://{}/?key={key}", self.host)
    }

    fn cookie(&self) -> String {
        format!("bench-{}={}", self.port, self.session)
    }

    /// Whether the request carries the session's cookie.
    fn knows(&self, headers: &HeaderMap) -> bool {
        let want = self.cookie();
        headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok()).flat_map(|v| v.split(';')).any(|c| same(c.trim(), &want))
    }

    /// Uses the key up.
    fn exchange(&self, given: &str) -> bool {
        let mut key = self.key.lock().unwrap_or_else(|e| e.into_inner());
        let good = key.as_deref().is_some_and(|k| same(k, given));
        if good {
            *key = None;
        }
        good
    }
}

/// Sixteen random bytes as hexadecimal digits.
fn random() -> std::io::Result<String> {
    let mut bytes = [0u8; 16];
    getrandom::fill(&mut bytes).map_err(|e| std::io::Error::other(e.to_string()))?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

/// Equality that takes as long whichever byte differs.
pub fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |d, (x, y)| d | (x ^ y)) == 0
}

/// Lets a request through, or answers it with a refusal; lays the safety headers on every answer.
pub async fn guard(axum::extract::State(state): axum::extract::State<Arc<State>>, request: Request, next: Next) -> Response {
    let pack = request.uri().path().starts_with("/pack/");
    let mut response = match verdict(&state.guard, &request) {
        // A claimed length is refused before the bytes come; those that claim none are counted as they come.
        Verdict::In if claimed(&request) > most(request.uri().path()) => StatusCode::PAYLOAD_TOO_LARGE.into_response(),
        Verdict::In => next.run(request).await,
        Verdict::Exchanged => {
            let mut r = (StatusCode::SEE_OTHER, [(header::LOCATION, "/")]).into_response();
            let cookie = format!("{}; Path=/; HttpOnly; SameSite=Strict", state.guard.cookie());
            if let Ok(v) = HeaderValue::from_str(&cookie) {
                r.headers_mut().insert(header::SET_COOKIE, v);
            }
            r
        }
        Verdict::Out(why) => (StatusCode::FORBIDDEN, [(header::CONTENT_TYPE, "text/plain; charset=utf-8")], Body::from(why)).into_response(),
    };
    let pdf = response.headers().get(header::CONTENT_TYPE).is_some_and(|t| t == "application/pdf");
    let h = response.headers_mut();
    let mut set = |name: HeaderName, value: &'static str| {
        h.insert(name, HeaderValue::from_static(value));
    };
    // A viewer of PDF files does not run in a sandbox, and has no scripts of the file's to fear.
    let policy = if !pack { POLICY } else if pdf { "default-src 'none'; object-src 'self'; plugin-types application/pdf; style-src 'unsafe-inline'; frame-ancestors 'self'" } else { PACK_POLICY };
    set(header::CONTENT_SECURITY_POLICY, policy);
    set(header::REFERRER_POLICY, "no-referrer");
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(header::CACHE_CONTROL, "no-store");
    set(HeaderName::from_static("cross-origin-opener-policy"), "same-origin");
    set(HeaderName::from_static("cross-origin-resource-policy"), if pack { "cross-origin" } else { "same-origin" });
    set(HeaderName::from_static("permissions-policy"), "camera=(), geolocation=(), microphone=(self)");
    response
}

fn claimed(request: &Request) -> u64 {
    request.headers().get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok()).map_or(0, |v| v.parse().unwrap_or(u64::MAX))
}

fn most(path: &str) -> u64 {
    (if path == "/takes" { UPLOAD_MAX } else { BODY_MAX }) as u64
}

enum Verdict {
    In,
    Exchanged,
    Out(&'static str),
}

fn verdict(guard: &Guard, request: &Request) -> Verdict {
    let headers = request.headers();
    let text = |name: HeaderName| headers.get(name).map(|v| v.to_str().unwrap_or("?"));
    let hosts: Vec<_> = headers.get_all(header::HOST).iter().collect();
    if hosts.len() != 1 || hosts[0].as_bytes() != guard.host.as_bytes() || request.uri().authority().is_some_and(|a| a.as_str() != guard.host) {
        return Verdict::Out("This is not the address of the bench.\n");
    }
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    if let Some(rest) = request.uri().path().strip_prefix("/pack/") {
        let key = rest.split('/').next().unwrap_or("");
        return if reads && same(key, &guard.pack) { Verdict::In } else { Verdict::Out("This is not the key of the pack.\n") };
    }
    let own = format!("http://{}", guard.host);
    match text(header::ORIGIN) {
        Some(origin) if origin != own => return Verdict::Out("Another page may not ask the bench.\n"),
        None if !reads => return Verdict::Out("Another page may not ask the bench.\n"),
        _ => {}
    }
    if text(HeaderName::from_static("sec-fetch-site")).is_some_and(|s| !matches!(s, "same-origin" | "none")) {
        return Verdict::Out("Another page may not ask the bench.\n");
    }
    if guard.knows(headers) {
        return Verdict::In;
    }
    let key = request.uri().query().and_then(|q| q.split('&').find_map(|p| p.strip_prefix("key=")));
    match key {
        Some(k) if reads && request.uri().path() == "/" && guard.exchange(k) => Verdict::Exchanged,
        Some(_) => Verdict::Out("This address has been used already, by this or another browser. Close the bench and open it again.\n"),
        None => Verdict::Out("Open the bench by the address that it printed when it started.\n"),
    }
}
