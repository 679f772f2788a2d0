//! Changes of the patch, each answered with the words as they are then and with what is heard now.

use super::answers::{answer, aside, is_json};
use super::desk::{Refused, View};
use super::desk_now::{At, DeskNow, Told, desk, words};
use super::opened::{Open, Opened};
use crate::export::Depth;
use crate::patch::{Edit, edited};
use crate::show::page::{ServedMoment, served_moment};
use crate::time::Tempo;
use axum::body::Bytes;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::panic::resume_unwind;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::thread;

/// A change stands on a revision; what is heard of it first is a version at a tempo.
#[derive(Debug, Deserialize)]
pub(super) struct Asked<What> {
    base: u64,
    #[serde(flatten)]
    at: At,
    #[serde(flatten)]
    what: What,
}

#[derive(Debug, Deserialize)]
pub(super) struct Edits {
    edits: Vec<Edit>,
    /// Edits of one gesture are one step back.
    gesture: Option<String>,
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

/// Another text.
pub(super) async fn text(Open(rig): Open, headers: HeaderMap, body: Bytes) -> Response {
    changed(rig, &headers, body, |rig, base, Text { text }| rig.desk.change(base, Some("text"), |_| Ok(text))).await
}

/// Edits of the text, all or none.
pub(super) async fn edit(Open(rig): Open, headers: HeaderMap, body: Bytes) -> Response {
    changed(rig, &headers, body, |rig, base, Edits { edits, gesture }| {
        let word = gesture.or_else(|| turned(&edits));
        let all = |text: &str| {
            edits.iter().try_fold(text.to_owned(), |text, edit| {
                edited(&text, edit).map_err(|e| format!("{}: {}", e.says, e.help))
            })
        };
        rig.desk.change(base, word.as_deref(), all)
    })
    .await
}

/// What is turned where a single value is set: turned again soon after, both are one step back.
fn turned(edits: &[Edit]) -> Option<String> {
    let [Edit::Set { at, fix, .. }] = edits else { return None };
    Some(format!("{at:?} {fix:?}"))
}

/// A step back.
pub(super) async fn undo(Open(rig): Open, headers: HeaderMap, body: Bytes) -> Response {
    changed(rig, &headers, body, |rig, base, Nothing {}| rig.desk.step(base, false)).await
}

/// A step forth again.
pub(super) async fn redo(Open(rig): Open, headers: HeaderMap, body: Bytes) -> Response {
    changed(rig, &headers, body, |rig, base, Nothing {}| rig.desk.step(base, true)).await
}

/// The file's text instead of what is here.
pub(super) async fn take(Open(rig): Open, headers: HeaderMap, body: Bytes) -> Response {
    changed(rig, &headers, body, |rig, base, Nothing {}| rig.desk.take(base)).await
}

/// The text into the file.
pub(super) async fn save(Open(rig): Open, headers: HeaderMap, body: Bytes) -> Response {
    changed(rig, &headers, body, |rig, base, Save { hash }| rig.desk.save(base, &hash)).await
}

/// What a change comes to.
#[derive(Serialize)]
struct Changed<'a> {
    desk: DeskNow<'a>,
    /// What is heard of it first; nothing where the patch has a fault.
    near: Option<ServedMoment<'a>>,
}

/// Makes a change, and answers with the desk as it is then and with what is heard now.
async fn changed<What: DeserializeOwned + Send + 'static>(
    rig: Arc<Opened>,
    headers: &HeaderMap,
    body: Bytes,
    change: impl FnOnce(&Opened, u64, What) -> Result<(), Refused> + Send + 'static,
) -> Response {
    if let Err(refusal) = is_json(headers) {
        return refusal.into_response();
    }
    aside(move || {
        let asked: Asked<What> = match serde_json::from_slice(&body) {
            Ok(asked) => asked,
            Err(error) => return (StatusCode::BAD_REQUEST, error.to_string()).into_response(),
        };
        // Until there is an answer.
        let _making = rig.bell.change();
        let done = change(&rig, asked.base, asked.what);
        let (view, at) = (rig.desk.view(), &asked.at);
        if let Err(refused) = done {
            return refusal(&rig, &view, at, refused);
        }
        let moment = Depth::Moment(at.tempo().unwrap_or(Tempo::USUAL));
        let (made, mut words_now) = thread::scope(|beside| {
            let words = beside.spawn(|| words(&rig, &view, at, false));
            let made = rig.maker.make(&view, moment, &AtomicBool::new(false), &mut Vec::new());
            (made, words.join().unwrap_or_else(|panic| resume_unwind(panic)))
        });
        let made = made.map_err(rig.maker.subject.tell);
        let told = match &made {
            Ok(made) => {
                rig.shown.lend(&made.page);
                Told { fault: None, warnings: &made.warnings }
            }
            Err(told) => {
                words_now = words(&rig, &view, at, true);
                Told { fault: Some(told.clone()), warnings: &[] }
            }
        };
        let desk = desk(&rig, (&view, &words_now), at, &told);
        let near = made.as_ref().ok().and_then(|made| served_moment(&made.page));
        answer(StatusCode::OK, &Changed { desk, near })
    })
    .await
}

/// What is not done, and why.
#[derive(Serialize)]
struct Refusing<'a> {
    says: String,
    desk: DeskNow<'a>,
}

fn refusal(rig: &Opened, view: &View, at: &At, refused: Refused) -> Response {
    let told = Told { fault: rig.shown.fault(view.revision), warnings: &[] };
    let words = words(rig, view, at, told.fault.is_some());
    let (status, says) = match refused {
        Refused::Old => (StatusCode::CONFLICT, "the patch has changed meanwhile".to_owned()),
        Refused::Changed => (StatusCode::CONFLICT, "the file has changed meanwhile".to_owned()),
        Refused::Gone => (StatusCode::GONE, "the file is gone, or is no text any more".to_owned()),
        Refused::Cannot(why) => (StatusCode::UNPROCESSABLE_ENTITY, why),
        Refused::Unwritten(error) => (StatusCode::INTERNAL_SERVER_ERROR, format!("{error}; {}", error.help())),
    };
    answer(status, &Refusing { says, desk: desk(rig, (view, &words), at, &told) })
}
