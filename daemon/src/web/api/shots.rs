//! What a student's shots are measured and judged with, calibrations and thresholds, and whose they are.

use axum::extract::{DefaultBodyLimit, Path, State};
use axum::routing::{get, post};
use protocol::lesson::{Calibrated, Calibrations, Move, Moved, NewCalibration, Thresholds};

use super::ask::{Told, Uploaded, ask, ask_hall};
use super::describe::{Operation, shape};
use super::lesson::operation;
use super::shelf::Answer;
use crate::web::guard::FILE_BYTES_MAX;
use crate::web::server::Shared;

pub(super) const OPERATIONS: &[Operation] = &[
    operation(
        ("get", "/api/v1/students/{student}/calibrations"),
        || get(calibrations),
        (
            "listCalibrations",
            "The calibrations of a student; which one goes is entered (`calibration`)",
        ),
        None,
        shape::<Calibrations>,
    ),
    operation(
        ("post", "/api/v1/students/{student}/calibrations"),
        || post(calibrate),
        (
            "calibrate",
            "Calibrate who stands in the bay from what it sees; goes from the next shot on",
        ),
        Some(shape::<NewCalibration>),
        shape::<Calibrated>,
    ),
    Operation {
        file: true,
        ..operation(
            ("post", "/api/v1/students/{student}/calibrations/c3d"),
            || post(upload).layer(DefaultBodyLimit::max(FILE_BYTES_MAX)),
            (
                "calibrateFromFile",
                "Calibrate a student from the C3D file of a trial",
            ),
            None,
            shape::<Calibrated>,
        )
    },
    operation(
        ("get", "/api/v1/students/{student}/thresholds"),
        || get(thresholds),
        (
            "listThresholds",
            "The numbers that decide what counts as a leak, with units, defaults and sources; set by an entry (`threshold`)",
        ),
        None,
        shape::<Thresholds>,
    ),
    operation(
        ("post", "/api/v1/swings/{swing}/move"),
        || post(move_swing),
        ("moveSwing", "Move a shot to another student, club or block"),
        Some(shape::<Move>),
        shape::<Moved>,
    ),
];

async fn calibrations(State(site): State<Shared>, Path(student): Path<String>) -> Answer {
    ask(site, move |coach| coach.calibrations(&student)).await
}

async fn calibrate(
    State(site): State<Shared>,
    Path(student): Path<String>,
    Told(asked): Told<NewCalibration>,
) -> Answer {
    ask_hall(site, move |hall| hall.calibrate(&student, &asked)).await
}

async fn upload(
    State(site): State<Shared>,
    Path(student): Path<String>,
    Uploaded(file): Uploaded,
) -> Answer {
    ask_hall(site, move |hall| hall.calibrate_from(&student, &file)).await
}

async fn thresholds(State(site): State<Shared>, Path(student): Path<String>) -> Answer {
    ask(site, move |coach| coach.thresholds(&student)).await
}

async fn move_swing(
    State(site): State<Shared>,
    Path(swing): Path<String>,
    Told(asked): Told<Move>,
) -> Answer {
    ask_hall(site, move |hall| hall.move_swing(&swing, &asked)).await
}
