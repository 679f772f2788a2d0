//! A page that follows its patch, served on this machine and to whoever has the secret of the run alone.

mod answers;
mod asking;
mod changes;
mod counsel;
mod desk;
mod desk_now;
mod file;
mod gallery;
mod guard;
mod hears;
mod history;
mod job;
mod journal;
mod keys;
mod maker;
mod mending;
mod opened;
mod pace;
mod past;
mod shown;
mod telling;
mod tempo;
#[cfg(test)]
mod tests;
mod watched;

pub use maker::Subject;

use self::guard::{ENTRANCE, LARGEST_BODY, Refusal, WRITES, admit};
use self::keys::Keys;
use self::opened::Opened;
use self::pace::Pace;
use crate::export::ExportError;
use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::header::{ALLOW, CACHE_CONTROL, CONTENT_SECURITY_POLICY, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS};
use axum::http::{HeaderName, HeaderValue, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post, put};
use std::io;
use std::net::{Ipv4Addr, TcpListener};
use std::sync::{Arc, Mutex, PoisonError};

/// Why a page is not served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The patch, at the start.
    #[error(transparent)]
    Patch(#[from] ExportError),
    /// The port.
    #[error("port {port} of this machine could not be had: {cause}")]
    Port {
        /// Which.
        port: u16,
        /// What the system says.
        cause: io::Error,
    },
    /// The system gives no secret, or does not tell of changes, or takes the server away.
    #[error("{0}")]
    System(String),
}

impl ServeError {
    fn system(error: impl std::fmt::Display) -> Self {
        Self::System(error.to_string())
    }
}

/// The patch that is open, if one is.
#[derive(Default)]
struct Current(Mutex<Option<Arc<Opened>>>);

impl Current {
    fn get(&self) -> Option<Arc<Opened>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn set(&self, opened: Arc<Opened>) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(opened);
    }
}

/// A page that is ready to be served.
pub struct Server {
    listener: TcpListener,
    run: Arc<Run>,
}

/// What all requests share.
struct Run {
    port: u16,
    keys: Keys,
    pace: Pace,
    /// The patch that is open; none yet where there is a gallery to choose from.
    opened: Current,
    /// How a patch of the gallery is opened, and one at a time.
    subject: Mutex<Subject>,
}

impl Server {
    /// Makes the first page and takes the port: 0 is any that is free. Where the subject names no patch, the page is a gallery.
    ///
    /// # Errors
    /// For what the patch is refused for, and where the system does not play along.
    pub fn new(subject: Subject, port: u16) -> Result<Self, ServeError> {
        let opened = Current::default();
        if !subject.patch.as_os_str().is_empty() {
            opened.set(Opened::new(subject.clone())?);
        }
        let taken = |cause| ServeError::Port { port, cause };
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(taken)?;
        listener.set_nonblocking(true).map_err(taken)?;
        let port = listener.local_addr().map_err(taken)?.port();
        let keys = Keys::new().map_err(ServeError::system)?;
        Ok(Self {
            listener,
            run: Arc::new(Run { port, keys, pace: Pace::new(), opened, subject: Mutex::new(subject) }),
        })
    }

    /// What is said where the program is asked to end: `None` where all is saved.
    pub fn parting(&self) -> impl Fn() -> Option<String> + Send + Sync + 'static {
        let run = Arc::clone(&self.run);
        move || run.opened.get()?.desk.parting()
    }

    /// The address to be printed, and the one to start a browser with, which opens once.
    #[must_use]
    pub fn addresses(&self) -> [String; 2] {
        let port = self.run.port;
        self.run.keys.outward().map(|secret| format!("http://127.0.0.1:{port}{ENTRANCE}{secret}"))
    }

    /// Serves until the program ends.
    ///
    /// # Errors
    /// Where the system takes the server away.
    pub fn serve(self) -> Result<(), ServeError> {
        let Self { listener, run } = self;
        let runtime = tokio::runtime::Builder::new_current_thread().enable_io().build().map_err(ServeError::system)?;
        runtime
            .block_on(async {
                let listener = tokio::net::TcpListener::from_std(listener)?;
                axum::serve(listener, router(run)).await
            })
            .map_err(ServeError::system)
    }
}

fn router(run: Arc<Run>) -> Router {
    let [edit, text, undo, redo, save, take, begin, files, stop, hear] = WRITES;
    Router::new()
        .route("/", get(answers::page))
        .route("/enter/{secret}", get(answers::enter))
        .route("/now", get(answers::now))
        .route("/events", get(answers::events))
        .route("/voice/{id}", get(answers::voice))
        .route(edit, post(changes::edit))
        .route(text, put(changes::text))
        .route(undo, post(changes::undo))
        .route(redo, post(changes::redo))
        .route(save, post(changes::save))
        .route(take, post(changes::take))
        .route(begin, post(answers::begin))
        .route(files, post(answers::files))
        .route(stop, post(answers::stop))
        .route(hear, post(answers::hear))
        .route("/progress", get(answers::progress))
        .route("/advise", get(answers::advise))
        .route("/mend", get(mending::cures))
        .route("/past", get(past::past))
        .route("/near", get(tempo::near))
        .route("/gallery", get(answers::gallery))
        .fallback(|| async { (StatusCode::NOT_FOUND, "there is nothing here") })
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(from_fn_with_state(Arc::clone(&run), guarded))
        .with_state(run)
}

/// What every answer says beside what it answers.
const ALWAYS: [(HeaderName, HeaderValue); 5] = [
    (CACHE_CONTROL, HeaderValue::from_static("no-store")),
    (X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")),
    (REFERRER_POLICY, HeaderValue::from_static("no-referrer")),
    (HeaderName::from_static("cross-origin-opener-policy"), HeaderValue::from_static("same-origin")),
    (HeaderName::from_static("cross-origin-resource-policy"), HeaderValue::from_static("same-origin")),
];
/// The policy of what is no page: nothing of it acts.
const NOTHING: HeaderValue = HeaderValue::from_static("default-src 'none'; frame-ancestors 'none'");

/// Answers whom the guard admits, and others with why not.
async fn guarded(State(run): State<Arc<Run>>, request: Request, next: Next) -> Response {
    let (parts, body) = request.into_parts();
    let admitted = admit(&parts, run.port, &run.keys).and_then(|()| run.pace.admit());
    let mut answer = match admitted {
        Ok(()) => next.run(Request::from_parts(parts, body)).await,
        Err(refusal) => refused(refusal),
    };
    let headers = answer.headers_mut();
    headers.extend(ALWAYS);
    headers.entry(CONTENT_SECURITY_POLICY).or_insert(NOTHING);
    answer
}

fn refused(refusal: Refusal) -> Response {
    let mut answer = refusal.into_response();
    if refusal.0 == StatusCode::METHOD_NOT_ALLOWED {
        answer.headers_mut().insert(ALLOW, HeaderValue::from_static("GET, POST, PUT"));
    }
    answer
}
