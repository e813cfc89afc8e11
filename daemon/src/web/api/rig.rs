//! What the technician asks for: plates, taps and places read off the club, archive and disk, configuration.
//! For coaches; displays get none of it.

use axum::Json;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use axum::routing::{get, post};
use protocol::rig::{ArchiveState, ConfigShown, NewPlace, NewTap, Placed, Plates, Taps};

use super::ask::{Told, ask};
use super::describe::{Operation, shape};
use super::lesson::operation;
use super::shelf::Answer;
use crate::web::server::Shared;

/// How plates are zeroed.
const ZEROING: &str = "A plate zeroes itself whenever it was quiet and empty for half a second: step off it, take everything off it, and wait.";

pub(super) const OPERATIONS: &[Operation] = &[
    operation(
        ("get", "/api/v1/bays/{bay}/plates"),
        || get(plates),
        (
            "getPlates",
            "What every force plate reads now, its zero and who stands on it; anew twice a second",
        ),
        None,
        shape::<Plates>,
    ),
    operation(
        ("post", "/api/v1/bays/{bay}/tap"),
        || post(tap),
        (
            "readTaps",
            "What the last seconds of datagrams say of sync taps: how late each plate stream is",
        ),
        Some(shape::<NewTap>),
        shape::<Taps>,
    ),
    operation(
        ("post", "/api/v1/bays/{bay}/place"),
        || post(place),
        (
            "readPlace",
            "Where the club's head rests now: the ball's place, or a second place on the target line",
        ),
        Some(shape::<NewPlace>),
        shape::<Placed>,
    ),
    operation(
        ("get", "/api/v1/archive"),
        || get(archive),
        ("getArchive", "The archive, its disk, and its last check"),
        None,
        shape::<ArchiveState>,
    ),
    operation(
        ("post", "/api/v1/archive/verify"),
        || post(verify),
        (
            "verifyArchive",
            "Begin a check of everything in the archive beside the bay's work; the state says what it found",
        ),
        None,
        shape::<ArchiveState>,
    ),
    operation(
        ("get", "/api/v1/config"),
        || get(config),
        (
            "getConfig",
            "The configuration in force with its file; read only",
        ),
        None,
        shape::<ConfigShown>,
    ),
];

async fn plates(State(site): State<Shared>, Path(bay): Path<String>) -> Answer {
    let plates = super::hub(&site, &bay)?.plates();
    Ok(Json(Plates {
        bay,
        plates,
        zeroing: ZEROING.into(),
    })
    .into_response())
}

async fn tap(
    State(site): State<Shared>,
    Path(bay): Path<String>,
    Told(asked): Told<NewTap>,
) -> Answer {
    super::hub(&site, &bay)?;
    ask(site, move |coach| coach.read_taps(&asked)).await
}

async fn place(
    State(site): State<Shared>,
    Path(bay): Path<String>,
    Told(asked): Told<NewPlace>,
) -> Answer {
    super::hub(&site, &bay)?;
    ask(site, move |coach| coach.read_place(&asked)).await
}

async fn archive(State(site): State<Shared>) -> Answer {
    ask(site, |coach| coach.archive_state()).await
}

/// Answers at once: a check of a year's lessons takes minutes.
async fn verify(State(site): State<Shared>) -> Answer {
    if let Some(coach) = site.coach.clone().filter(|coach| coach.begin_check()) {
        drop(tokio::task::spawn_blocking(move || coach.check()));
    }
    ask(site, |coach| coach.archive_state()).await
}

async fn config(State(site): State<Shared>) -> Answer {
    Ok(Json(&site.config).into_response())
}
