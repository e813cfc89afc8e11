//! Students, clubs, who stands in the bay, blocks, and what is entered by hand.

use axum::extract::{Path, Query, State};
use axum::response::Response;
use axum::routing::{get, post, put};
use protocol::lesson::{
    Ask, Begun, Club, Consent, Entry, Lesson, NewBlock, NewSeat, NewStudent, OnFile, Seat, Student,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ask::{Told, ask, ask_bay, ask_hall};
use super::describe::{Operation, shape};
use crate::coach::Coach;
use crate::web::problem::Problem;
use crate::web::server::Shared;

type Answer = Result<Response, Problem>;

/// Entries of a page.
const PAGE: u32 = 100;

#[derive(Serialize, JsonSchema)]
struct Students {
    students: Vec<OnFile>,
}

/// Who stands in the bay now; nobody: `null`.
#[derive(Serialize, JsonSchema)]
struct Seated {
    seat: Option<Seat>,
    /// Number of the entry by which it is undone; absent where no lesson is concerned.
    entry: Option<i64>,
}

/// What is told now.
#[derive(Serialize, JsonSchema)]
struct Retold<T> {
    #[serde(flatten)]
    now: T,
    /// Number of the entry by which it is undone; absent where nothing changed.
    entry: Option<i64>,
}

impl<T> Retold<T> {
    fn of((now, entry): (T, Option<i64>)) -> Self {
        Self { now, entry }
    }
}

#[derive(Serialize, JsonSchema)]
struct Ended {
    /// Whether a block ran.
    ended: bool,
    /// Number of the entry by which it is undone.
    entry: Option<i64>,
}

/// Newest first.
#[derive(Serialize, JsonSchema)]
struct Entries {
    entries: Vec<Entry>,
    /// What to ask for as `before` to go on; absent on the last page.
    next: Option<i64>,
}

#[derive(Deserialize)]
struct Asked {
    student: String,
    before: Option<i64>,
}

pub(super) const fn operation(
    (method, path): (&'static str, &'static str),
    made: fn() -> axum::routing::MethodRouter<Shared>,
    (id, summary): (&'static str, &'static str),
    body: Option<super::describe::Shape>,
    answer: super::describe::Shape,
) -> Operation {
    Operation {
        method,
        path,
        made,
        id,
        summary,
        query: &[],
        body,
        file: false,
        answer,
    }
}

pub(super) const OPERATIONS: &[Operation] = &[
    operation(
        ("get", "/api/v1/students"),
        || get(students),
        ("listStudents", "Every student, by name"),
        None,
        shape::<Students>,
    ),
    operation(
        ("post", "/api/v1/students"),
        || post(add_student),
        (
            "addStudent",
            "Add a student with what was consented to; a minor needs a guardian",
        ),
        Some(shape::<NewStudent>),
        shape::<OnFile>,
    ),
    operation(
        ("get", "/api/v1/students/{student}"),
        || get(student),
        ("getStudent", "A student with what is on file"),
        None,
        shape::<OnFile>,
    ),
    operation(
        ("put", "/api/v1/students/{student}"),
        || put(tell_student),
        (
            "tellStudent",
            "Change what is told; it goes for the bay from the next seat on",
        ),
        Some(shape::<Student>),
        shape::<Retold<OnFile>>,
    ),
    operation(
        ("post", "/api/v1/students/{student}/consents"),
        || post(consent),
        ("addConsent", "Put a consent on file"),
        Some(shape::<Consent>),
        shape::<OnFile>,
    ),
    operation(
        ("delete", "/api/v1/students/{student}/consents/{scope}"),
        || axum::routing::delete(withdraw),
        (
            "withdrawConsent",
            "Withdraw a consent: nothing more is recorded, exports refuse; erasing is another verb",
        ),
        None,
        shape::<OnFile>,
    ),
    operation(
        ("post", "/api/v1/students/{student}/clubs"),
        || post(add_club),
        ("addClub", "Add a club"),
        Some(shape::<Club>),
        shape::<Club>,
    ),
    operation(
        ("put", "/api/v1/clubs/{club}"),
        || put(tell_club),
        (
            "tellClub",
            "Change what is told of a club; it goes for the bay from the next seat on",
        ),
        Some(shape::<Club>),
        shape::<Retold<Club>>,
    ),
    operation(
        ("get", "/api/v1/bays/{bay}/lesson"),
        || get(lesson),
        (
            "getLesson",
            "The lesson at this moment, as the `lesson` message has it",
        ),
        None,
        shape::<Lesson>,
    ),
    operation(
        ("put", "/api/v1/bays/{bay}/seat"),
        || put(sit),
        (
            "sit",
            "Who stands in the bay from now on; another club goes on in the same lesson, a guest lets it wait",
        ),
        Some(shape::<NewSeat>),
        shape::<Seated>,
    ),
    operation(
        ("post", "/api/v1/bays/{bay}/blocks"),
        || post(begin_block),
        ("beginBlock", "Begin a block; the one before ends"),
        Some(shape::<NewBlock>),
        shape::<Begun>,
    ),
    operation(
        ("delete", "/api/v1/bays/{bay}/blocks/open"),
        || axum::routing::delete(end_block),
        ("endBlock", "End the block that runs"),
        None,
        shape::<Ended>,
    ),
    Operation {
        query: &[
            ("student", "The student's identifier"),
            ("before", "Only entries of a smaller number"),
        ],
        ..operation(
            ("get", "/api/v1/entries"),
            || get(entries),
            (
                "listEntries",
                "Everything that was entered for a student, and who did it",
            ),
            None,
            shape::<Entries>,
        )
    },
    operation(
        ("post", "/api/v1/entries"),
        || post(enter),
        (
            "enter",
            "Enter something about a student, club, lesson, block or swing",
        ),
        Some(shape::<Ask>),
        shape::<Entry>,
    ),
    operation(
        ("post", "/api/v1/entries/{n}/undo"),
        || post(undo),
        ("undo", "Take an entry back: what held before holds again"),
        None,
        shape::<Entry>,
    ),
];

async fn students(State(site): State<Shared>) -> Answer {
    ask(site, |coach| {
        Ok(Students {
            students: coach.students()?,
        })
    })
    .await
}

async fn add_student(State(site): State<Shared>, Told(new): Told<NewStudent>) -> Answer {
    ask(site, move |coach| coach.add_student(&new)).await
}

async fn student(State(site): State<Shared>, Path(id): Path<String>) -> Answer {
    ask(site, move |coach| coach.on_file(&id)).await
}

async fn tell_student(
    State(site): State<Shared>,
    Path(id): Path<String>,
    Told(told): Told<Student>,
) -> Answer {
    ask(site, move |coach| Ok(Retold::of(coach.tell(&id, &told)?))).await
}

async fn consent(
    State(site): State<Shared>,
    Path(id): Path<String>,
    Told(given): Told<Consent>,
) -> Answer {
    ask(site, move |coach| coach.consent(&id, &given)).await
}

async fn withdraw(State(site): State<Shared>, Path((id, scope)): Path<(String, String)>) -> Answer {
    ask_hall(site, move |hall| hall.withdraw(&id, &scope)).await
}

async fn add_club(
    State(site): State<Shared>,
    Path(student): Path<String>,
    Told(club): Told<Club>,
) -> Answer {
    ask(site, move |coach| coach.add_club(&student, &club)).await
}

async fn tell_club(
    State(site): State<Shared>,
    Path(id): Path<String>,
    Told(club): Told<Club>,
) -> Answer {
    ask(site, move |coach| {
        Ok(Retold::of(coach.tell_club(&id, &club)?))
    })
    .await
}

async fn lesson(State(site): State<Shared>, Path(bay): Path<String>) -> Answer {
    ask_bay(site, bay, Coach::lesson).await
}

async fn sit(
    State(site): State<Shared>,
    Path(bay): Path<String>,
    Told(asked): Told<NewSeat>,
) -> Answer {
    site.shown(Some(&bay))?;
    ask_hall(site, move |hall| {
        let (seat, entry) = hall.sit(&bay, &asked)?;
        Ok(Seated { seat, entry })
    })
    .await
}

async fn begin_block(
    State(site): State<Shared>,
    Path(bay): Path<String>,
    Told(asked): Told<NewBlock>,
) -> Answer {
    ask_bay(site, bay, move |coach| coach.begin_block(&asked)).await
}

async fn end_block(State(site): State<Shared>, Path(bay): Path<String>) -> Answer {
    ask_bay(site, bay, |coach| {
        let entry = coach.end_block()?;
        Ok(Ended {
            ended: entry.is_some(),
            entry,
        })
    })
    .await
}

async fn entries(State(site): State<Shared>, Query(asked): Query<Asked>) -> Answer {
    ask(site, move |coach| {
        let page = (asked.before.unwrap_or(i64::MAX), PAGE);
        let entries = coach.ask(|archive| archive.store.entries(&asked.student, page))?;
        let full = entries.len() == PAGE as usize;
        let next = entries.last().filter(|_| full).map(|e| e.n);
        Ok(Entries { entries, next })
    })
    .await
}

async fn enter(State(site): State<Shared>, Told(asked): Told<Ask>) -> Answer {
    ask_hall(site, move |hall| hall.enter(&asked)).await
}

async fn undo(State(site): State<Shared>, Path(n): Path<i64>) -> Answer {
    ask_hall(site, move |hall| hall.undo(n)).await
}
