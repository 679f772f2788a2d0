//! A page that follows its patch, served on this machine and to whoever has the secret of the run alone.

mod guard;
mod keys;
mod maker;
mod shown;
mod watched;

pub use maker::Subject;

use self::guard::{ENTRANCE, Refusal, admit, cookie_name};
use self::keys::Keys;
use self::maker::{Contents, Made, contents, follow};
use self::shown::{Edition, Shown};
use self::watched::Watched;
use crate::export::ExportError;
use crate::show::page::served_page;
use axum::Router;
use axum::extract::{Path, Request, State};
use axum::http::header::{
    ALLOW, CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, LOCATION, REFERRER_POLICY, SET_COOKIE,
    X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderName, HeaderValue, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use futures_util::stream::unfold;
use std::convert::Infallible;
use std::io;
use std::net::{Ipv4Addr, TcpListener};
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
    subject: Subject,
    watched: Watched,
    /// What the first page was made from.
    of: Contents,
}

/// What all requests share.
struct Run {
    port: u16,
    keys: Keys,
    shown: Arc<Shown>,
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
        let before = std::iter::once(&subject.patch).chain(&subject.boxes).cloned().collect::<Vec<_>>();
        watched.look_at(&before).map_err(|e| system(&e))?;
        let Made { page, of } = Made::new(&subject, &contents(&before), &AtomicBool::new(false));
        let page = page?;
        watched.look_at(of.keys()).map_err(|e| system(&e))?;
        let taken = |cause| ServeError::Port { port, cause };
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(taken)?;
        listener.set_nonblocking(true).map_err(taken)?;
        let port = listener.local_addr().map_err(taken)?.port();
        let keys = Keys::new().map_err(|e| system(&e))?;
        let run = Arc::new(Run { port, keys, shown: Arc::new(Shown::new(Edition::new(1, page))) });
        Ok(Self { listener, run, subject, watched, of })
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
        let Self { listener, run, subject, watched, of } = self;
        let shown = Arc::clone(&run.shown);
        let maker = move || follow(&subject, &shown, watched, of);
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
    Router::new()
        .route("/", get(page))
        .route("/enter/{secret}", get(enter))
        .route("/now", get(now))
        .route("/events", get(events))
        .fallback(|| async { (StatusCode::NOT_FOUND, "there is nothing here") })
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
    let mut answer = match admit(&parts, run.port, &run.keys) {
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
        answer.headers_mut().insert(ALLOW, HeaderValue::from_static("GET"));
    }
    answer
}

/// The first address: who has the secret gets the cookie, and an address without a secret.
async fn enter(State(run): State<Arc<Run>>, Path(secret): Path<String>) -> Response {
    if !run.keys.opens(&secret) {
        return (StatusCode::FORBIDDEN, "open it with the address that the program prints").into_response();
    }
    let (name, value) = (cookie_name(run.port), run.keys.cookie.text());
    let cookie = format!("{name}={value}; HttpOnly; SameSite=Strict; Path=/");
    (StatusCode::SEE_OTHER, [(LOCATION, "/".to_owned()), (SET_COOKIE, cookie)]).into_response()
}

async fn page(State(run): State<Arc<Run>>) -> Response {
    let edition = run.shown.edition();
    let served = served_page(&edition.page, edition.number);
    let headers = [(CONTENT_TYPE, "text/html; charset=utf-8".to_owned()), (CONTENT_SECURITY_POLICY, served.policy)];
    (headers, served.html).into_response()
}

async fn now(State(run): State<Arc<Run>>) -> Response {
    ([(CONTENT_TYPE, "application/json")], run.shown.json()).into_response()
}

/// Tells of each change, and at once of what there is.
async fn events(State(run): State<Arc<Run>>) -> Response {
    let mut news = run.shown.news();
    news.mark_changed();
    let told = unfold(news, |mut news| async move {
        news.changed().await.ok()?;
        let count = *news.borrow_and_update();
        Some((Ok::<_, Infallible>(Event::default().data(count.to_string())), news))
    });
    Sse::new(told).into_response()
}
