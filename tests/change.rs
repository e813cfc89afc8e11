//! Kinds of simulated lessons for "is the change real?": how shots scatter and drift, without a change and with
//! one. They are played in `change_judge`.

/// How a level wanders though nothing was learned, in standard deviations of the shots.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Drift {
    /// Not at all.
    None,
    /// Straight from the first shot of a session to its last.
    Session(f64),
    /// Straight within the check block only.
    Check(f64),
    /// Straight within each block, up and down again.
    EachBlock(f64),
    /// A warm-up that fades from the first shot on by this many shots.
    WarmUp(f64, f64),
}

/// How single shots scatter: mean 0, standard deviation 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Shape {
    /// Normal.
    Normal,
    /// Student's t of four degrees of freedom: a strange shot now and then.
    Heavy,
    /// Exponential: one long tail.
    Skewed,
    /// Normal, rounded to half a standard deviation: ties.
    Rounded,
}

/// A kind of lesson.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lesson {
    pub(crate) name: &'static str,
    pub(crate) baseline: usize,
    /// Practice shots between; `None`: the check is on another day with markers put on again.
    pub(crate) between: Option<usize>,
    pub(crate) check: usize,
    pub(crate) every: bool,
    pub(crate) rho: f64,
    pub(crate) drift: Drift,
    pub(crate) shape: Shape,
    /// Standard deviation of a day's or marking's level.
    pub(crate) again: f64,
    /// Degrees of freedom from which that is estimated; infinite: known.
    pub(crate) again_freedom: f64,
    /// Scatter of the check block over that of the baseline.
    pub(crate) wider: f64,
    /// Metrics in focus that share the 5 %.
    pub(crate) metrics: usize,
    /// Metrics of the baseline of which the most extreme is chosen.
    pub(crate) among: usize,
    /// The true change, in standard deviations.
    pub(crate) size: f64,
}

/// 8 against 8 shots in a row, independent, one look.
const PLAIN: Lesson = Lesson {
    name: "independent shots",
    baseline: 8,
    between: Some(0),
    check: 8,
    every: false,
    rho: 0.0,
    drift: Drift::None,
    shape: Shape::Normal,
    again: 0.0,
    again_freedom: f64::INFINITY,
    wider: 1.0,
    metrics: 1,
    among: 1,
    size: 0.0,
};

/// The same with neighbours alike, looked at after every shot.
const WATCHED: Lesson = Lesson {
    every: true,
    rho: 0.3,
    ..PLAIN
};

/// 10 baseline, 20 practice and 10 check shots, drifting by a standard deviation, looked at after every one.
const WHOLE: Lesson = Lesson {
    baseline: 10,
    between: Some(20),
    check: 10,
    drift: Drift::Session(1.0),
    ..WATCHED
};

/// The check on another day with markers put on again.
const OTHER_DAY: Lesson = Lesson {
    between: None,
    again: 0.5,
    drift: Drift::None,
    ..WATCHED
};

/// Lessons in which nothing changed.
#[allow(
    clippy::too_many_lines,
    reason = "a table, a line a lesson before formatting"
)]
pub(crate) fn unchanged() -> Vec<Lesson> {
    let named = |name, lesson: Lesson| Lesson { name, ..lesson };
    let drifting = Drift::Session(1.0);
    vec![
        PLAIN,
        named(
            "neighbours alike",
            Lesson {
                every: false,
                ..WATCHED
            },
        ),
        named(
            "and drift",
            Lesson {
                every: false,
                drift: drifting,
                ..WATCHED
            },
        ),
        named(
            "and every look",
            Lesson {
                drift: drifting,
                ..WATCHED
            },
        ),
        named(
            "drift in check only",
            Lesson {
                drift: Drift::Check(1.0),
                ..WATCHED
            },
        ),
        named(
            "drift in each block",
            Lesson {
                drift: Drift::EachBlock(1.0),
                ..WATCHED
            },
        ),
        named("no drift, every look", WATCHED),
        named("practice between", WHOLE),
        named(
            "heavy tails",
            Lesson {
                shape: Shape::Heavy,
                ..WHOLE
            },
        ),
        named(
            "one long tail",
            Lesson {
                shape: Shape::Skewed,
                ..WHOLE
            },
        ),
        named(
            "rounded",
            Lesson {
                shape: Shape::Rounded,
                ..WHOLE
            },
        ),
        named(
            "check twice as wide",
            Lesson {
                wider: 2.0,
                ..WHOLE
            },
        ),
        named(
            "check half as wide",
            Lesson {
                wider: 0.5,
                ..WHOLE
            },
        ),
        named(
            "20 against 20",
            Lesson {
                baseline: 20,
                check: 20,
                between: Some(0),
                ..WHOLE
            },
        ),
        named(
            "8 against 20",
            Lesson {
                baseline: 8,
                check: 20,
                ..WHOLE
            },
        ),
        named(
            "warm-up",
            Lesson {
                baseline: 14,
                drift: Drift::WarmUp(1.0, 3.0),
                ..WHOLE
            },
        ),
        named(
            "long warm-up",
            Lesson {
                baseline: 14,
                drift: Drift::WarmUp(2.0, 4.0),
                ..WHOLE
            },
        ),
        named("other day", OTHER_DAY),
        named(
            "other day, check drifts",
            Lesson {
                drift: Drift::Check(1.0),
                ..OTHER_DAY
            },
        ),
        named(
            "other day, both drift",
            Lesson {
                drift: Drift::EachBlock(1.0),
                ..OTHER_DAY
            },
        ),
        named(
            "other day, large",
            Lesson {
                again: 2.0,
                ..OTHER_DAY
            },
        ),
        named(
            "other day, estimated",
            Lesson {
                again: 1.0,
                again_freedom: 6.0,
                ..OTHER_DAY
            },
        ),
        named(
            "three metrics",
            Lesson {
                metrics: 3,
                ..WHOLE
            },
        ),
        named(
            "extreme of 20 chosen",
            Lesson {
                among: 20,
                between: Some(0),
                drift: Drift::None,
                ..WHOLE
            },
        ),
    ]
}

/// Lessons with a true change, by design; sizes are set by the caller.
pub(crate) fn changed() -> Vec<Lesson> {
    let named = |name, lesson: Lesson| Lesson { name, ..lesson };
    vec![
        named("independent, 8 against 8", PLAIN),
        named(
            "alike, 8 against 8",
            Lesson {
                every: false,
                ..WATCHED
            },
        ),
        named("alike, every look", WATCHED),
        named(
            "10, 20, 10",
            Lesson {
                drift: Drift::None,
                ..WHOLE
            },
        ),
        named(
            "20 against 20",
            Lesson {
                baseline: 20,
                check: 20,
                between: Some(0),
                drift: Drift::None,
                ..WHOLE
            },
        ),
        named(
            "20 against 20, one look",
            Lesson {
                baseline: 20,
                check: 20,
                rho: 0.3,
                ..PLAIN
            },
        ),
        named(
            "8 against 20",
            Lesson {
                baseline: 8,
                check: 20,
                between: Some(0),
                drift: Drift::None,
                ..WHOLE
            },
        ),
        named("other day", OTHER_DAY),
    ]
}
