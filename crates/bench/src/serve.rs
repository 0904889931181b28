//! Starting and stopping the server.

use crate::guard::Guard;
use crate::services::Services;
use crate::state::{State, Wake};
use crate::{routes, watch};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;

/// What to serve.
#[derive(Clone, Debug)]
pub struct Options {
    /// The lesson's folder; `None` lets the teacher choose or create one on the page.
    pub lesson: Option<PathBuf>,
    /// Where lessons to choose from lie, and new ones go.
    pub shelf: PathBuf,
    /// 0 for any free one.
    pub port: u16,
}

impl Default for Options {
    fn default() -> Options {
        Options { lesson: None, shelf: PathBuf::from("."), port: 0 }
    }
}

/// Why the bench does not open.
#[derive(Debug)]
pub enum Fault {
    /// The lesson cannot be opened, or is open in another bench: a sentence.
    Lesson(String),
    /// No port on the loopback, no threads, no random bytes.
    System(std::io::Error),
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Fault::Lesson(why) => f.write_str(why),
            Fault::System(e) => write!(f, "the bench could not be opened: {e}"),
        }
    }
}

impl std::error::Error for Fault {}

/// A bench at work. Dropped, it saves and stops.
pub struct Running {
    address: String,
    state: Arc<State>,
    server: Option<JoinHandle<()>>,
    saver: Option<JoinHandle<()>>,
}

impl Running {
    /// The address to open in a browser. Its key works once.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// Saves what is not saved, and stops.
    pub fn stop(self) {}

    /// Waits until the server stops by itself.
    pub fn wait(mut self) {
        if let Some(t) = self.server.take() {
            let _ = t.join();
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.state.wake.send(Wake::Stop);
        let _ = self.state.stopping.send(true);
        for t in [self.saver.take(), self.server.take()].into_iter().flatten() {
            let _ = t.join();
        }
    }
}

/// Opens the lesson and serves it on the loopback, in threads of its own.
///
/// # Errors
/// See [`Fault`].
pub fn start(options: Options, services: Arc<dyn Services>) -> Result<Running, Fault> {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().map_err(Fault::System)?;
    let listener = runtime.block_on(tokio::net::TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, options.port)))).map_err(Fault::System)?;
    let port = listener.local_addr().map_err(Fault::System)?.port();
    let (wake, wakes) = std::sync::mpsc::channel();
    let (news, _) = tokio::sync::broadcast::channel(256);
    let (stopping, mut stop) = tokio::sync::watch::channel(false);
    let guard = Guard::new(port).map_err(Fault::System)?;
    let address = guard.address();
    let state = Arc::new(State::new(guard, services, options.shelf, news, wake, stopping));
    if let Some(folder) = &options.lesson {
        state.open_lesson(folder).map_err(Fault::Lesson)?;
    }
    let weak = Arc::downgrade(&state);
    let saver = std::thread::Builder::new().name("saving".into()).spawn(move || watch::keep(&weak, &wakes)).map_err(Fault::System)?;
    let app = routes::routes(state.clone());
    let server = std::thread::Builder::new()
        .name("serving".into())
        .spawn(move || {
            runtime.block_on(async {
                tokio::select! {
                    _ = axum::serve(listener, app) => {}
                    _ = async { let _ = stop.wait_for(|s| *s).await; } => {}
                }
            });
            runtime.shutdown_timeout(std::time::Duration::from_secs(2));
        })
        .map_err(Fault::System)?;
    Ok(Running { address, state, server: Some(server), saver: Some(saver) })
}

/// Serves until the process ends; `ready` is told the address.
///
/// # Errors
/// See [`Fault`].
pub fn serve(options: Options, services: Arc<dyn Services>, ready: impl FnOnce(&str)) -> Result<(), Fault> {
    let running = start(options, services)?;
    ready(running.address());
    running.wait();
    Ok(())
}
