//! The text as it was before: when it was opened, when it was saved, or so many changes ago.

use super::answers::{answer, aside};
use super::desk::Desk;
use super::opened::Open;
use axum::extract::Query;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::json;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wish {
    since: String,
}

/// Since when something has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Since {
    /// It was opened.
    Opened,
    /// It was saved, or taken from the file.
    Saved,
    /// So many changes ago.
    Steps(usize),
}

impl Since {
    fn read(word: &str) -> Option<Self> {
        match word {
            "opened" => Some(Self::Opened),
            "saved" => Some(Self::Saved),
            steps => steps.parse().ok().filter(|steps| *steps > 0).map(Self::Steps),
        }
    }
}

/// The text of then.
pub(super) async fn past(Open(rig): Open, Query(wish): Query<Wish>) -> Response {
    aside(move || match text(&rig.desk, &wish.since) {
        Ok((revision, text)) => answer(StatusCode::OK, &json!({ "revision": revision, "text": text })),
        Err(says) => answer(StatusCode::UNPROCESSABLE_ENTITY, &json!({ "says": says })),
    })
    .await
}

fn text(desk: &Desk, since: &str) -> Result<(u64, String), String> {
    let since = Since::read(since).ok_or("`opened`, `saved` or a number of changes is expected")?;
    desk.past(since).ok_or_else(|| "so many changes were not made since it was opened".to_owned())
}
