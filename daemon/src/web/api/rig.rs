//! What the technician asks for: plates, taps and places read off the club, archive and disk, configuration.
//! For coaches; displays get none of it.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use axum::routing::{get, post};
use protocol::rig::{ArchiveState, ConfigShown, NewPlace, NewTap, Placed, Plates, Taps};
use serde::Deserialize;

use super::ask::{Told, ask_bay};
use super::describe::{Operation, shape};
use super::lesson::operation;
use super::shelf::Answer;
use crate::coach::Coach;
use crate::web::problem::Problem;
use crate::web::server::{Serving, Shared};

/// How plates are zeroed.
const ZEROING: &str = "A plate zeroes itself whenever it was quiet and empty for half a second: step off it, take everything off it, and wait.";

/// Whose recording, where there are several bays.
const OF_BAY: &[(&str, &str)] = &[("bay", "The bay whose recording is meant; else the first")];

#[derive(Deserialize)]
struct OfBay {
    bay: Option<String>,
}

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
    Operation {
        query: OF_BAY,
        ..operation(
            ("get", "/api/v1/archive"),
            || get(archive),
            (
                "getArchive",
                "The archive, its disk, a bay's recording, and the last check from there",
            ),
            None,
            shape::<ArchiveState>,
        )
    },
    Operation {
        query: OF_BAY,
        ..operation(
            ("post", "/api/v1/archive/verify"),
            || post(verify),
            (
                "verifyArchive",
                "Begin a check of everything in the archive beside the bay's work; the state says what it found",
            ),
            None,
            shape::<ArchiveState>,
        )
    },
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
    ask_bay(site, bay, move |coach| coach.read_taps(&asked)).await
}

async fn place(
    State(site): State<Shared>,
    Path(bay): Path<String>,
    Told(asked): Told<NewPlace>,
) -> Answer {
    ask_bay(site, bay, move |coach| coach.read_place(&asked)).await
}

async fn archive(State(site): State<Shared>, Query(of): Query<OfBay>) -> Answer {
    let bay = named(&site, of)?;
    ask_bay(site, bay, Coach::archive_state).await
}

/// Answers at once: a check of a year's lessons takes minutes.
async fn verify(State(site): State<Shared>, Query(of): Query<OfBay>) -> Answer {
    let bay = named(&site, of)?;
    let coach = site.hall.as_ref().map(|hall| Arc::clone(hall.bay(&bay)));
    if let Some(coach) = coach.filter(|coach| coach.begin_check()) {
        drop(tokio::task::spawn_blocking(move || coach.check()));
    }
    ask_bay(site, bay, Coach::archive_state).await
}

/// The bay that is asked for, or the first.
fn named(site: &Serving, of: OfBay) -> Result<String, Problem> {
    Ok(site.shown(of.bay.as_deref())?.hub.bay().id.clone())
}

async fn config(State(site): State<Shared>) -> Answer {
    Ok(Json(&site.config).into_response())
}
