//! Swings, blocks, lessons and golfers beside each other.

use axum::extract::{Path, Query, State};
use axum::routing::get;
use protocol::shelf::{
    BlockPage, CarryOver, Cohort, Comparison, Ribbons, Separates, Together, Trend,
};
use serde::Deserialize;

use super::ask::ask;
use super::describe::{Operation, shape};
use super::shelf::{Answer, listed, metric, read, refused};
use crate::coach::Metric;
use crate::coach::cohort::{Beside, Golfers};
use crate::web::problem::Problem;
use crate::web::server::Shared;

pub(super) const OPERATIONS: &[Operation] = &[
    read(
        "/api/v1/comparisons",
        || get(comparison),
        (
            "compare",
            "Two swings or two blocks, metric by metric, real differences first",
        ),
        &[
            ("of", "`swings` or `blocks`"),
            ("a", "The first one"),
            ("b", "The second one"),
        ],
        shape::<Comparison>,
    ),
    read(
        "/api/v1/blocks/{block}",
        || get(block),
        (
            "getBlock",
            "A block looked at afterwards: focus, leaks, rotation",
        ),
        &[],
        shape::<BlockPage>,
    ),
    read(
        "/api/v1/blocks/{block}/ribbons",
        || get(ribbons),
        (
            "getRibbons",
            "Mean and scatter of a block's curves over the phases",
        ),
        &[("signals", "Only these, by commas")],
        shape::<Ribbons>,
    ),
    read(
        "/api/v1/clubs/{club}/trends",
        || get(trends),
        ("getTrends", "Metrics over the blocks of a club"),
        &[("metrics", "Which, by commas")],
        shape::<Vec<Trend>>,
    ),
    read(
        "/api/v1/clubs/{club}/trends/{metric}",
        || get(trend),
        ("getTrend", "A metric over the blocks of a club"),
        &[],
        shape::<Trend>,
    ),
    read(
        "/api/v1/clubs/{club}/together",
        || get(together),
        (
            "getTogether",
            "What moved together with head speed: association, never cause",
        ),
        &[],
        shape::<Together>,
    ),
    read(
        "/api/v1/cohorts",
        || get(cohort),
        (
            "getCohort",
            "What golfers of the archive do who agreed to it; twenty or none",
        ),
        &[
            ("club", "Club in words"),
            ("side", "`right` or `left`"),
            ("sex", "`female` or `male`"),
            ("age_from", "Years, included"),
            ("age_to", "Years, included"),
            ("speed_from", "Median head speed in m/s, included"),
            ("speed_to", "Median head speed in m/s, not included"),
            ("student", "Who is compared, and so is not in it"),
            ("metrics", "Only these, by commas"),
        ],
        shape::<Cohort>,
    ),
    read(
        "/api/v1/cohorts/separates",
        || get(separates),
        (
            "getSeparates",
            "What separates two groups of golfers: association, never cause; twenty in each or none",
        ),
        &[
            ("a_club", "Of group A: club in words"),
            ("a_side", "`right` or `left`"),
            ("a_sex", "`female` or `male`"),
            ("a_age_from", "Years, included"),
            ("a_age_to", "Years, included"),
            ("a_speed_from", "Median head speed in m/s, included"),
            ("a_speed_to", "Median head speed in m/s, not included"),
            ("b_club", "Of group B: club in words"),
            ("b_side", "`right` or `left`"),
            ("b_sex", "`female` or `male`"),
            ("b_age_from", "Years, included"),
            ("b_age_to", "Years, included"),
            ("b_speed_from", "Median head speed in m/s, included"),
            ("b_speed_to", "Median head speed in m/s, not included"),
            ("student", "Who is compared, and so is in neither"),
            ("metrics", "Only these, by commas"),
        ],
        shape::<Separates>,
    ),
    read(
        "/api/v1/students/{student}/carry-over",
        || get(carry_over),
        ("getCarryOver", "With what the next lesson opens"),
        &[],
        shape::<CarryOver>,
    ),
];

#[derive(Deserialize)]
struct Pair {
    of: String,
    a: String,
    b: String,
}

async fn comparison(State(site): State<Shared>, Query(asked): Query<Pair>) -> Answer {
    match asked.of.as_str() {
        "swings" => ask(site, move |coach| coach.compare_swings(&asked.a, &asked.b)).await,
        "blocks" => {
            let number = |text: &str| {
                let read = text.parse::<i64>();
                read.map_err(|_e| refused(format!("`{text}` is no block's number")))
            };
            let (a, b) = (number(&asked.a)?, number(&asked.b)?);
            ask(site, move |coach| coach.compare_blocks(a, b)).await
        }
        odd => Err(refused(format!("of is `{odd}`: use swings or blocks"))),
    }
}

async fn block(State(site): State<Shared>, Path(id): Path<i64>) -> Answer {
    ask(site, move |coach| coach.block_page(id)).await
}

#[derive(Deserialize)]
struct Drawn {
    signals: Option<String>,
}

async fn ribbons(
    State(site): State<Shared>,
    Path(block): Path<i64>,
    Query(asked): Query<Drawn>,
) -> Answer {
    let signals = listed(asked.signals.as_deref());
    ask(site, move |coach| coach.ribbons(block, &signals)).await
}

async fn trend(State(site): State<Shared>, Path((club, id)): Path<(String, String)>) -> Answer {
    let metric = metric(&id)?;
    ask(site, move |coach| {
        let mut one = coach.trends(&club, &[metric])?;
        Ok(one.pop())
    })
    .await
}

#[derive(Deserialize)]
struct Listed {
    metrics: Option<String>,
}

async fn trends(
    State(site): State<Shared>,
    Path(club): Path<String>,
    Query(asked): Query<Listed>,
) -> Answer {
    let metrics = listed(asked.metrics.as_deref());
    let metrics: Vec<Metric> = metrics
        .iter()
        .map(|id| metric(id))
        .collect::<Result<_, _>>()?;
    ask(site, move |coach| coach.trends(&club, &metrics)).await
}

async fn together(State(site): State<Shared>, Path(club): Path<String>) -> Answer {
    ask(site, move |coach| coach.together(&club)).await
}

#[derive(Default, Deserialize)]
struct Asked {
    club: Option<String>,
    side: Option<String>,
    sex: Option<String>,
    age_from: Option<u32>,
    age_to: Option<u32>,
    speed_from: Option<f64>,
    speed_to: Option<f64>,
    student: Option<String>,
    metrics: Option<String>,
}

impl Asked {
    fn golfers(&self) -> Result<Golfers, Problem> {
        for (what, told, known) in [
            ("side", &self.side, ["right", "left"]),
            ("sex", &self.sex, ["female", "male"]),
        ] {
            if let Some(told) = told
                && !known.contains(&told.as_str())
            {
                let [one, other] = known;
                return Err(refused(format!("{what} is `{told}`: use {one} or {other}")));
            }
        }
        let (age, speed) = (
            (self.age_from, self.age_to),
            (self.speed_from, self.speed_to),
        );
        Ok(Golfers {
            club: self.club.clone(),
            side: self.side.clone(),
            sex: self.sex.clone(),
            age: (age != (None, None)).then(|| (age.0.unwrap_or(0), age.1.unwrap_or(u32::MAX))),
            head_speed: (speed != (None, None))
                .then(|| (speed.0.unwrap_or(0.0), speed.1.unwrap_or(f64::INFINITY))),
        })
    }

    fn beside(&self) -> Result<Beside, Problem> {
        let metrics = listed(self.metrics.as_deref());
        Ok(Beside {
            student: self.student.clone(),
            metrics: metrics
                .iter()
                .map(|id| metric(id))
                .collect::<Result<_, _>>()?,
        })
    }
}

async fn cohort(State(site): State<Shared>, Query(asked): Query<Asked>) -> Answer {
    let (golfers, beside) = (asked.golfers()?, asked.beside()?);
    ask(site, move |coach| coach.cohort(&golfers, &beside)).await
}

/// Both groups, each in the words of a cohort.
#[derive(Deserialize)]
struct Pairing {
    a_club: Option<String>,
    a_side: Option<String>,
    a_sex: Option<String>,
    a_age_from: Option<u32>,
    a_age_to: Option<u32>,
    a_speed_from: Option<f64>,
    a_speed_to: Option<f64>,
    b_club: Option<String>,
    b_side: Option<String>,
    b_sex: Option<String>,
    b_age_from: Option<u32>,
    b_age_to: Option<u32>,
    b_speed_from: Option<f64>,
    b_speed_to: Option<f64>,
    student: Option<String>,
    metrics: Option<String>,
}

async fn separates(State(site): State<Shared>, Query(asked): Query<Pairing>) -> Answer {
    let b = Asked {
        club: asked.b_club,
        side: asked.b_side,
        sex: asked.b_sex,
        age_from: asked.b_age_from,
        age_to: asked.b_age_to,
        speed_from: asked.b_speed_from,
        speed_to: asked.b_speed_to,
        ..Asked::default()
    };
    let a = Asked {
        club: asked.a_club,
        side: asked.a_side,
        sex: asked.a_sex,
        age_from: asked.a_age_from,
        age_to: asked.a_age_to,
        speed_from: asked.a_speed_from,
        speed_to: asked.a_speed_to,
        student: asked.student,
        metrics: asked.metrics,
    };
    let (a, b, beside) = (a.golfers()?, b.golfers()?, a.beside()?);
    ask(site, move |coach| coach.separates([&a, &b], &beside)).await
}

async fn carry_over(State(site): State<Shared>, Path(student): Path<String>) -> Answer {
    ask(site, move |coach| coach.carry_over(&student)).await
}
