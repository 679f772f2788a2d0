//! A page that follows its patch, served on this machine and to whoever has the secret of the run alone.

mod answers;
mod desk;
mod file;
mod guard;
mod history;
mod journal;
mod keys;
mod maker;
mod pace;
mod shown;
mod watched;

pub use maker::Subject;

use self::desk::Desk;
use self::file::OnDisk;
use self::guard::{ENTRANCE, LARGEST_BODY, Refusal, WRITES, admit};
use self::keys::Keys;
use self::maker::{Maker, Origin, contents, follow};
use self::pace::Pace;
use self::shown::{Edition, Shown};
use self::watched::{Bell, Watched};
use crate::export::{Depth, ExportError};
use crate::source::read_text;
use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::header::{ALLOW, CACHE_CONTROL, CONTENT_SECURITY_POLICY, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS};
use axum::http::{HeaderName, HeaderValue, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post, put};
use std::io;
use std::net::{Ipv4Addr, TcpListener};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

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

/// A page that is ready to be served.
pub struct Server {
    listener: TcpListener,
    run: Arc<Run>,
    watched: Watched,
    /// What the first page was made of.
    origin: Origin,
}

/// What all requests share.
struct Run {
    port: u16,
    keys: Keys,
    pace: Pace,
    shown: Shown,
    desk: Desk,
    maker: Maker,
    bell: Bell,
}

impl Server {
    /// Makes the first page and takes the port: 0 is any that is free.
    ///
    /// # Errors
    /// For what the patch is refused for, and where the system does not play along.
    pub fn new(subject: Subject, port: u16) -> Result<Self, ServeError> {
        let system = |e: &dyn std::fmt::Display| ServeError::System(e.to_string());
        let mut watched = Watched::new().map_err(|e| system(&e))?;
        // Looked at before it is read, so that no change falls in between.
        let before: Vec<PathBuf> = std::iter::once(&subject.patch).chain(&subject.boxes).cloned().collect();
        watched.look_at(&before).map_err(|e| system(&e))?;
        let text = read_text(&subject.patch, "a patch").map_err(ExportError::from)?;
        let now = OnDisk::new(text);
        let (desk, maker) = (Desk::new(&subject.patch, now.clone()), Maker::new(subject));
        // Where what was not saved has a fault, the file is what is shown first.
        let (never, view) = (AtomicBool::new(false), desk.view());
        let file = view.of_file(now);
        let (patch, mut read) = (maker.subject.patch.clone(), Vec::new());
        let was = contents(&before);
        let (of, made) = match maker.make(&view, Depth::Levels, &never, &mut read) {
            Err(_) if view.text != file.text => (0, maker.make(&file, Depth::Levels, &never, &mut read)?),
            made => (view.revision, made?),
        };
        let origin = Origin::new(of, &patch, &read, &was);
        watched.look_at(before.iter().chain(&read)).map_err(|e| system(&e))?;
        let taken = |cause| ServeError::Port { port, cause };
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(taken)?;
        listener.set_nonblocking(true).map_err(taken)?;
        let port = listener.local_addr().map_err(taken)?.port();
        let keys = Keys::new().map_err(|e| system(&e))?;
        let shown = Shown::new(Edition::new(1, of, made.page));
        let bell = watched.bell();
        let run = Run { port, keys, pace: Pace::new(), shown, desk, maker, bell };
        Ok(Self { listener, run: Arc::new(run), watched, origin })
    }

    /// What is said where the program is asked to end: `None` where all is saved.
    pub fn parting(&self) -> impl Fn() -> Option<String> + Send + Sync + 'static {
        let run = Arc::clone(&self.run);
        move || run.desk.parting()
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
        let system = |e: io::Error| ServeError::System(e.to_string());
        let Self { listener, run, watched, origin } = self;
        let of_maker = Arc::clone(&run);
        let maker = move || follow(&of_maker.maker, &of_maker.desk, &of_maker.shown, watched, origin);
        std::thread::Builder::new().name("maker".into()).spawn(maker).map_err(system)?;
        let runtime = tokio::runtime::Builder::new_current_thread().enable_io().build().map_err(system)?;
        runtime
            .block_on(async {
                let listener = tokio::net::TcpListener::from_std(listener)?;
                axum::serve(listener, router(run)).await
            })
            .map_err(system)
    }
}

fn router(run: Arc<Run>) -> Router {
    let [text, undo, redo, save, take] = WRITES;
    Router::new()
        .route("/", get(answers::page))
        .route("/enter/{secret}", get(answers::enter))
        .route("/now", get(answers::now))
        .route("/events", get(answers::events))
        .route("/voice/{id}", get(answers::voice))
        .route(text, put(answers::text))
        .route(undo, post(answers::undo))
        .route(redo, post(answers::redo))
        .route(save, post(answers::save))
        .route(take, post(answers::take))
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
