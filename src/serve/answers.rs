//! What is answered: pages, what is shown now, files, advice.

use super::counsel::{counsel, hear as hear_all, hear_none};
use super::desk_now::{At, Now, Told, desk, words};
use super::guard::{Refusal, cookie_name};
use super::job::Work;
use super::opened::{Open, Opened};
use super::{Run, gallery};
use crate::show::page::{ServedPage, gallery_page, served_page, served_parts};
use axum::body::Bytes;
use axum::extract::{Path as InPath, Query, State};
use axum::http::header::{CONTENT_SECURITY_POLICY, CONTENT_TYPE, LOCATION, SET_COOKIE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream::unfold;
use serde::{Deserialize, Serialize};
use serde_json::json;
use std::convert::Infallible;
use std::path::Path;
use std::sync::{Arc, PoisonError};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Begin {
    name: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Files {
    #[serde(rename = "do")]
    work: Work,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wish {
    on: String,
    version: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Hear {
    /// Nothing: none are heard any more.
    on: Option<String>,
    version: Option<String>,
}

/// The edition that a page has.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Has {
    edition: Option<u64>,
}

/// The first address: who has the secret gets the cookie, and an address without a secret.
pub(super) async fn enter(State(run): State<Arc<Run>>, InPath(secret): InPath<String>) -> Response {
    if !run.keys.opens(&secret) {
        return (StatusCode::FORBIDDEN, "open it with the address that the program prints").into_response();
    }
    let (name, value) = (cookie_name(run.port), run.keys.cookie.text());
    let cookie = format!("{name}={value}; HttpOnly; SameSite=Strict; Path=/");
    (StatusCode::SEE_OTHER, [(LOCATION, "/".to_owned()), (SET_COOKIE, cookie)]).into_response()
}

/// The patch's page; before one is open, the gallery.
pub(super) async fn page(State(run): State<Arc<Run>>) -> Response {
    aside(move || {
        let served = match run.opened.get() {
            Some(opened) => {
                let edition = opened.shown.edition();
                served_page(&edition.page, edition.number)
            }
            None => the_gallery(None),
        };
        html(served)
    })
    .await
}

/// The gallery, also while a rig of it is open: another can be begun.
pub(super) async fn gallery(State(run): State<Arc<Run>>) -> Response {
    aside(move || match run.opened.get() {
        Some(opened) if !opened.gallery => StatusCode::NOT_FOUND.into_response(),
        opened => html(the_gallery(opened.as_deref())),
    })
    .await
}

fn the_gallery(open: Option<&Opened>) -> ServedPage {
    let [begin, examples] = gallery::rigs();
    let view = open.map(|opened| opened.desk.view());
    let open = view.as_ref().map(|view| (&*view.patch, view.saved()));
    gallery_page([&begin, &examples], &here(), open)
}

/// The folder that the program was started in, as people call it.
fn here() -> String {
    std::env::current_dir().map_or_else(|_| "this folder".to_owned(), |dir| dir.display().to_string())
}

fn html(served: ServedPage) -> Response {
    let headers = [(CONTENT_TYPE, "text/html; charset=utf-8".to_owned()), (CONTENT_SECURITY_POLICY, served.policy)];
    (headers, served.html).into_response()
}

/// All that a page takes over.
pub(super) async fn now(Open(rig): Open, Query(at): Query<At>, Query(has): Query<Has>) -> Response {
    aside(move || {
        let (edition, view) = (rig.shown.edition(), rig.desk.view());
        let fault = rig.shown.fault(view.revision);
        let words = words(&rig, &view, &at, fault.is_some());
        let parts = (has.edition != Some(edition.number)).then(|| served_parts(&edition.page));
        let told = Told { fault, warnings: &edition.warnings };
        let desk = desk(&rig, (&view, &words), &at, &told);
        answer(StatusCode::OK, &Now { edition: edition.number, of: edition.of, parts, desk })
    })
    .await
}

/// So many pages may listen at one time; a person has a few open.
const MOST_LISTENERS: usize = 32;

/// Tells of each change, and at once of what there is.
pub(super) async fn events(Open(rig): Open) -> Response {
    if rig.shown.listeners() >= MOST_LISTENERS {
        return (StatusCode::SERVICE_UNAVAILABLE, "too many pages listen").into_response();
    }
    let mut news = rig.shown.news();
    news.mark_changed();
    let told = unfold(news, |mut news| async move {
        news.changed().await.ok()?;
        let count = *news.borrow_and_update();
        Some((Ok::<_, Infallible>(Event::default().data(count.to_string())), news))
    });
    Sse::new(told).into_response()
}

pub(super) async fn voice(Open(rig): Open, InPath(id): InPath<String>) -> Response {
    match rig.shown.voice(&id) {
        Some(voice) => answer(StatusCode::OK, &voice.sent()),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

/// Lets JSON pass: no page of another origin can send it without asking first.
pub(super) fn is_json(headers: &HeaderMap) -> Result<(), Refusal> {
    let json = headers.get(CONTENT_TYPE).is_some_and(|kind| kind == "application/json");
    if json { Ok(()) } else { Err((StatusCode::UNSUPPORTED_MEDIA_TYPE, "JSON is expected")) }
}

/// So far from the revisions of the patch before those of the next one begin: while it is opened, the other may be changed.
const AFTER: u64 = 1_000_000;

/// Has a rig of the gallery written into the folder, and opens it.
pub(super) async fn begin(State(run): State<Arc<Run>>, headers: HeaderMap, body: Bytes) -> Response {
    if let Err(refusal) = is_json(&headers) {
        return refusal.into_response();
    }
    aside(move || {
        let subject = run.subject.lock().unwrap_or_else(PoisonError::into_inner);
        let before = run.opened.get();
        if before.as_ref().is_some_and(|before| !before.gallery) {
            return (StatusCode::CONFLICT, "a patch is open already").into_response();
        }
        let Ok(Begin { name }) = serde_json::from_slice(&body) else {
            return (StatusCode::BAD_REQUEST, "a name is expected").into_response();
        };
        let opened = match gallery::begin(&name, Path::new(""), &subject) {
            // No revision of one patch is taken for one of another.
            Ok(subject) => {
                let first = before.as_ref().map_or(1, |before| before.desk.view().revision + AFTER);
                Opened::of_gallery(subject, first).map_err(|error| error.to_string())
            }
            Err(why) => Err(why),
        };
        match opened {
            Ok(opened) => {
                run.opened.set(opened);
                before.into_iter().for_each(|before| before.leave());
                StatusCode::OK.into_response()
            }
            Err(why) => (StatusCode::UNPROCESSABLE_ENTITY, why).into_response(),
        }
    })
    .await
}

/// Begins to make files.
pub(super) async fn files(Open(rig): Open, headers: HeaderMap, body: Bytes) -> Response {
    if let Err(refusal) = is_json(&headers) {
        return refusal.into_response();
    }
    let Ok(Files { work }) = serde_json::from_slice(&body) else {
        return (StatusCode::BAD_REQUEST, "what to make is expected").into_response();
    };
    match rig.jobs.begin(work, rig.desk.view(), &rig) {
        Ok(()) => answer(StatusCode::ACCEPTED, &rig.jobs.json()),
        Err(why) => answer(StatusCode::CONFLICT, &json!({ "says": why })),
    }
}

/// Has the making of files stopped.
pub(super) async fn stop(Open(rig): Open, headers: HeaderMap) -> Response {
    if let Err(refusal) = is_json(&headers) {
        return refusal.into_response();
    }
    rig.jobs.stop();
    answer(StatusCode::OK, &rig.jobs.json())
}

/// How far the making of files is.
pub(super) async fn progress(Open(rig): Open) -> Response {
    answer(StatusCode::OK, &rig.jobs.json())
}

/// What is advised for one input; given up where nobody waits for it any more.
pub(super) async fn advise(Open(rig): Open, Query(wish): Query<Wish>) -> Response {
    let (_waits, work) = rig.asking.begin();
    aside(move || match counsel(&rig, &wish.on, wish.version.as_deref(), &work.cancel) {
        Ok(advice) => answer(StatusCode::OK, &advice),
        Err(says) => answer(StatusCode::UNPROCESSABLE_ENTITY, &json!({ "says": says })),
    })
    .await
}

/// Has all components heard in an input, or none any more.
pub(super) async fn hear(Open(rig): Open, headers: HeaderMap, body: Bytes) -> Response {
    if let Err(refusal) = is_json(&headers) {
        return refusal.into_response();
    }
    let (_waits, work) = rig.asking.begin();
    aside(move || {
        let Ok(Hear { on, version }) = serde_json::from_slice(&body) else {
            return (StatusCode::BAD_REQUEST, "an input is expected, or none").into_response();
        };
        let Some(on) = on else { return answer(StatusCode::OK, &hear_none(&rig)) };
        match hear_all(&rig, &on, version.as_deref(), &work.cancel) {
            Ok(heard) => answer(StatusCode::OK, &heard),
            Err(says) => answer(StatusCode::UNPROCESSABLE_ENTITY, &json!({ "says": says })),
        }
    })
    .await
}

pub(super) fn answer(status: StatusCode, value: &impl Serialize) -> Response {
    let json = serde_json::to_vec(value).expect("texts and numbers");
    (status, [(CONTENT_TYPE, "application/json")], json).into_response()
}

/// Works beside the server, which answers others meanwhile.
pub(super) async fn aside(work: impl FnOnce() -> Response + Send + 'static) -> Response {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|_| StatusCode::INTERNAL_SERVER_ERROR.into_response())
}
