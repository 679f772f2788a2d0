//! What is answered: pages, what is shown now, and changes of the patch.

use super::Run;
use super::desk::{Refused, View};
use super::file::OnDisk;
use super::guard::cookie_name;
use crate::export::Depth;
use crate::show::page::{served_moment, served_page};
use crate::time::Tempo;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::header::{CONTENT_SECURITY_POLICY, CONTENT_TYPE, LOCATION, SET_COOKIE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream::unfold;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// A change stands on a revision; what is heard of it first is a version at a tempo.
#[derive(Debug, Deserialize)]
pub(super) struct Asked<What> {
    base: u64,
    tempo: Option<String>,
    #[serde(flatten)]
    what: What,
}

#[derive(Debug, Deserialize)]
pub(super) struct Text {
    text: String,
}

#[derive(Debug, Deserialize)]
pub(super) struct Nothing {}

#[derive(Debug, Deserialize)]
pub(super) struct Save {
    /// The checksum of the file that the page has seen.
    hash: String,
}

/// The first address: who has the secret gets the cookie, and an address without a secret.
pub(super) async fn enter(State(run): State<Arc<Run>>, Path(secret): Path<String>) -> Response {
    if !run.keys.opens(&secret) {
        return (StatusCode::FORBIDDEN, "open it with the address that the program prints").into_response();
    }
    let (name, value) = (cookie_name(run.port), run.keys.cookie.text());
    let cookie = format!("{name}={value}; HttpOnly; SameSite=Strict; Path=/");
    (StatusCode::SEE_OTHER, [(LOCATION, "/".to_owned()), (SET_COOKIE, cookie)]).into_response()
}

pub(super) async fn page(State(run): State<Arc<Run>>) -> Response {
    let edition = run.shown.edition();
    let served = served_page(&edition.page, edition.number);
    let headers = [(CONTENT_TYPE, "text/html; charset=utf-8".to_owned()), (CONTENT_SECURITY_POLICY, served.policy)];
    (headers, served.html).into_response()
}

/// All that a page takes over.
pub(super) async fn now(State(run): State<Arc<Run>>) -> Response {
    aside(move || {
        let (edition, view) = (run.shown.edition(), run.desk.view());
        let mut parts = edition.parts.clone();
        parts["edition"] = edition.number.into();
        parts["of"] = edition.of.into();
        let fault = run.shown.fault(view.revision);
        parts["desk"] = desk(&run, &view, fault);
        answer(StatusCode::OK, &parts)
    })
    .await
}

/// Tells of each change, and at once of what there is.
pub(super) async fn events(State(run): State<Arc<Run>>) -> Response {
    let mut news = run.shown.news();
    news.mark_changed();
    let told = unfold(news, |mut news| async move {
        news.changed().await.ok()?;
        let count = *news.borrow_and_update();
        Some((Ok::<_, Infallible>(Event::default().data(count.to_string())), news))
    });
    Sse::new(told).into_response()
}

pub(super) async fn voice(State(run): State<Arc<Run>>, Path(id): Path<String>) -> Response {
    match run.shown.voice(&id) {
        Some(voice) => answer(StatusCode::OK, &voice.json()),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

/// Another text.
pub(super) async fn text(State(run): State<Arc<Run>>, headers: HeaderMap, body: Bytes) -> Response {
    changed(run, &headers, body, |run, base, Text { text }| run.desk.change(base, Some("text"), |_| Ok(text))).await
}

/// A step back.
pub(super) async fn undo(State(run): State<Arc<Run>>, headers: HeaderMap, body: Bytes) -> Response {
    changed(run, &headers, body, |run, base, Nothing {}| run.desk.step(base, false)).await
}

/// A step forth again.
pub(super) async fn redo(State(run): State<Arc<Run>>, headers: HeaderMap, body: Bytes) -> Response {
    changed(run, &headers, body, |run, base, Nothing {}| run.desk.step(base, true)).await
}

/// The file's text instead of what is here.
pub(super) async fn take(State(run): State<Arc<Run>>, headers: HeaderMap, body: Bytes) -> Response {
    changed(run, &headers, body, |run, base, Nothing {}| run.desk.take(base)).await
}

/// The text into the file.
pub(super) async fn save(State(run): State<Arc<Run>>, headers: HeaderMap, body: Bytes) -> Response {
    changed(run, &headers, body, |run, base, Save { hash }| run.desk.save(base, &hash)).await
}

/// Makes a change, and answers with the desk as it is then and with what is heard now.
async fn changed<What: DeserializeOwned + Send + 'static>(
    run: Arc<Run>,
    headers: &HeaderMap,
    body: Bytes,
    change: impl FnOnce(&Run, u64, What) -> Result<(), Refused> + Send + 'static,
) -> Response {
    // No page of another origin can send this without asking first.
    if headers.get(CONTENT_TYPE).is_none_or(|kind| kind != "application/json") {
        return (StatusCode::UNSUPPORTED_MEDIA_TYPE, "JSON is expected").into_response();
    }
    aside(move || {
        let asked: Asked<What> = match serde_json::from_slice(&body) {
            Ok(asked) => asked,
            Err(error) => return (StatusCode::BAD_REQUEST, error.to_string()).into_response(),
        };
        let done = change(&run, asked.base, asked.what);
        let view = run.desk.view();
        if let Err(refused) = done {
            return refusal(&run, &view, refused);
        }
        let tempo = asked.tempo.and_then(|tempo| tempo.parse().ok());
        let moment = Depth::Moment(tempo.unwrap_or(Tempo::USUAL));
        let made = run.maker.make(&view, moment, &AtomicBool::new(false), &mut Vec::new());
        run.bell.ring();
        let (near, fault) = match made {
            Ok(made) => {
                run.shown.lend(&made.page);
                (served_moment(&made.page), None)
            }
            Err(error) => (Value::Null, Some((run.maker.subject.tell)(error))),
        };
        answer(StatusCode::OK, &json!({ "desk": desk(&run, &view, fault), "near": near }))
    })
    .await
}

fn refusal(run: &Run, view: &View, refused: Refused) -> Response {
    let says = |status, says: String| answer(status, &json!({ "says": says, "desk": desk(run, view, None) }));
    match refused {
        Refused::Old => says(StatusCode::CONFLICT, "the patch has changed meanwhile".to_owned()),
        Refused::Changed => says(StatusCode::CONFLICT, "the file has changed meanwhile".to_owned()),
        Refused::Gone => says(StatusCode::GONE, "the file is gone, or is no text any more".to_owned()),
        Refused::Cannot(why) => says(StatusCode::UNPROCESSABLE_ENTITY, why),
        Refused::Unwritten(error) => says(StatusCode::INTERNAL_SERVER_ERROR, format!("{error}; {}", error.help())),
    }
}

/// The desk as a page has it.
fn desk(_run: &Run, view: &View, fault: Option<String>) -> Value {
    json!({
        "revision": view.revision,
        "text": &*view.text,
        "saved": view.saved(),
        "hash": view.theirs.as_ref().unwrap_or(&view.begun).hash,
        "undo": view.steps[0],
        "redo": view.steps[1],
        "fault": fault,
        "file": view.theirs.as_ref().map(OnDisk::json),
        "kept": view.taken_up.then_some("Work that was not saved is taken up. Undo leads back to the file."),
        "warnings": view.unkept.iter().collect::<Vec<_>>(),
    })
}

fn answer(status: StatusCode, value: &Value) -> Response {
    (status, [(CONTENT_TYPE, "application/json")], value.to_string()).into_response()
}

/// Works beside the server, which answers others meanwhile.
async fn aside(work: impl FnOnce() -> Response + Send + 'static) -> Response {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|_| StatusCode::INTERNAL_SERVER_ERROR.into_response())
}
