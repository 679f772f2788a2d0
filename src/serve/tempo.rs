//! A tempo that the patch need not have: what is heard at it, for the page alone.

use super::answers::{answer, aside};
use super::opened::{Open, Opened};
use crate::export::Depth;
use crate::show::page::served_moment;
use crate::time::Tempo;
use axum::extract::Query;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::atomic::AtomicBool;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wish {
    tempo: String,
}

/// What is heard at a tempo.
pub(super) async fn near(Open(rig): Open, Query(wish): Query<Wish>) -> Response {
    aside(move || match moment(&rig, &wish.tempo) {
        Ok(moment) => answer(StatusCode::OK, &moment),
        Err(says) => answer(StatusCode::UNPROCESSABLE_ENTITY, &json!({ "says": says })),
    })
    .await
}

fn moment(rig: &Opened, tempo: &str) -> Result<Value, String> {
    let tempo: Tempo = tempo.parse().map_err(|_| "a tempo from 1 to 1000 is expected".to_owned())?;
    let view = rig.desk.view();
    let made = rig.maker.make(&view, Depth::Moment(tempo), &AtomicBool::new(false), &mut Vec::new());
    let made = made.map_err(rig.maker.subject.tell)?;
    if made.page.tempos.first().is_none_or(|at| at.tempo != tempo) {
        return Err(format!("this patch cannot be played at {tempo}"));
    }
    rig.shown.lend(&made.page);
    Ok(json!({ "of": view.revision, "near": served_moment(&made.page) }))
}
