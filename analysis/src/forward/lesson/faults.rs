//! What goes wrong between the golfer's markers and the sender: holes, exchanges, lost labels, and
//! markers that belong to others. Noise is added afterwards.

use nalgebra::Point3;

use super::super::noise::{Bursts, Source};
use super::super::skin::MARKERS;
use super::LessonParams;

/// One thing that is wrong for a while.
#[derive(Debug, Clone)]
enum Fault {
    /// These columns are hidden.
    Hidden(Vec<usize>),
    /// Two columns bear each other's labels.
    Exchanged(usize, usize),
    /// A column's marker goes on as a stranger.
    Unlabelled(usize, usize),
    /// These columns bear the labels of the same points of a second person, if one is there.
    Mistaken(std::ops::Range<usize>),
    /// Somebody else's hands come near: where they are, and how far they go about.
    Stranger(Point3<f64>, f64),
}

/// Faults as they come.
#[derive(Debug)]
pub(super) struct Faults {
    on: bool,
    dropout: f64,
    bursts: Vec<Bursts>,
    frame_s: f64,
    /// Until when, s of the lesson.
    now: Vec<(f64, Fault)>,
    /// When the next one comes.
    next_s: f64,
}

/// Mean time from one fault to the next, s.
const MEAN_S: f64 = 9.0;

impl Faults {
    pub(super) fn new(source: &mut Source, params: &LessonParams) -> Self {
        Self {
            on: params.faults,
            dropout: params.dropout,
            bursts: Vec::new(),
            frame_s: 0.0,
            now: Vec::new(),
            next_s: source.between(0.0, MEAN_S),
        }
    }

    pub(super) fn disturb(
        &mut self,
        t: f64,
        frame_s: f64,
        points: &mut [Option<Point3<f64>>],
        source: &mut Source,
    ) {
        if self.on && t >= self.next_s {
            self.next_s = t - MEAN_S * (1.0 - source.unit()).ln();
            let length = source.between(0.05, 0.6);
            let (length, fault) = draw(source, length);
            self.now.push((t + length, fault));
        }
        self.now.retain(|(until, _)| *until > t);
        for (_, fault) in &self.now {
            apply(fault, t, points);
        }
        if self.dropout > 0.0 {
            if (self.frame_s - frame_s).abs() > 1e-9 {
                self.frame_s = frame_s;
                self.bursts = points
                    .iter()
                    .map(|_| Bursts::new(source, frame_s, self.dropout))
                    .collect();
            }
            for (point, burst) in points.iter_mut().zip(&mut self.bursts) {
                if burst.next(source) {
                    *point = None;
                }
            }
        }
    }
}

fn draw(source: &mut Source, length: f64) -> (f64, Fault) {
    let mut column = || super::script::pick(source, &std::array::from_fn::<usize, 32, _>(|i| i));
    let (a, b) = (column(), column());
    let extra = MARKERS.len();
    match source.unit() {
        u if u < 0.35 => (length, Fault::Hidden(vec![a])),
        // A whole side turned away from the cameras.
        u if u < 0.55 => {
            let first = a.min(MARKERS.len() - 5);
            (length, Fault::Hidden((first..first + 5).collect()))
        }
        u if u < 0.70 => (3.0 * length, Fault::Exchanged(a, b)),
        u if u < 0.80 => (5.0 * length, Fault::Unlabelled(a, extra + a % 6)),
        u if u < 0.88 => (length, Fault::Mistaken(a.min(b)..a.max(b) + 1)),
        _ => {
            let at = Point3::new(
                source.between(-0.7, 0.3),
                source.between(0.8, 1.4),
                source.between(-1.3, -0.4),
            );
            (
                source.between(2.0, 12.0),
                Fault::Stranger(at, source.between(0.05, 0.4)),
            )
        }
    }
}

fn apply(fault: &Fault, t: f64, points: &mut [Option<Point3<f64>>]) {
    match fault {
        Fault::Hidden(columns) => {
            for &column in columns {
                points[column] = None;
            }
        }
        &Fault::Exchanged(a, b) => points.swap(a, b),
        Fault::Mistaken(columns) => {
            for column in columns.clone() {
                if points[MARKERS.len() + column].is_some() {
                    points.swap(column, MARKERS.len() + column);
                }
            }
        }
        &Fault::Unlabelled(a, b) => {
            points[b] = points[a].take();
        }
        &Fault::Stranger(at, about) => {
            // Two hands of three markers each.
            for (n, point) in points.iter_mut().skip(MARKERS.len()).take(6).enumerate() {
                #[expect(clippy::cast_precision_loss, reason = "six")]
                let n = n as f64;
                let hand = if n < 3.0 { 0.0 } else { 2.0 };
                let swing = about * (1.3 * t + hand).sin();
                point.get_or_insert(
                    at + nalgebra::Vector3::new(
                        0.05 * n + swing,
                        0.3 * swing + 0.04 * hand,
                        0.03 * (n - hand),
                    ),
                );
            }
        }
    }
}
