//! A second golfer in the bay: another person with a whole set of markers of his own, who walks in,
//! rehearses, hits and walks out beside the first one. Nothing of him is in the labels.

use nalgebra::{Point3, Vector3};

use super::super::noise::Source;
use super::super::skin::MARKERS;
use super::scene::Scene;
use super::script::Script;
use super::{LessonParams, inside};

/// Shortest and longest time without company, and of a visit before its last ball, s.
const ALONE_S: [f64; 2] = [20.0, 120.0];
const VISIT_S: [f64; 2] = [10.0, 60.0];

/// The second golfer, when he is there.
pub(super) struct Company {
    seed: u64,
    visits: u64,
    visit: Option<Visit>,
    /// When the next visit begins, s of the lesson.
    next_s: f64,
}

struct Visit {
    script: Script,
    scene: Scene,
    begun_s: f64,
    /// After this he leaves with the ball that he is at.
    until_s: f64,
    leaves: bool,
    /// His ball beside that of the first golfer.
    beside: Vector3<f64>,
}

impl Company {
    pub(super) fn new(seed: u64, source: &mut Source) -> Self {
        Self {
            seed,
            visits: 0,
            visit: None,
            next_s: source.between(0.0, ALONE_S[1]),
        }
    }

    /// His markers at time `t` of the lesson, as far as cameras see them; empty when he is not there.
    pub(super) fn seen(&mut self, t: f64, source: &mut Source) -> Vec<Option<Point3<f64>>> {
        if self.visit.is_none() && t >= self.next_s {
            self.visits += 1;
            // Other people than the golfers of lessons.
            let seed = u64::MAX - self.seed.wrapping_mul(1000).wrapping_add(self.visits);
            self.visit = Some(Visit::new(seed, t, source));
        }
        if let Some(visit) = &mut self.visit {
            if visit.goes_on(t) {
                return visit.markers(t);
            }
            self.visit = None;
            self.next_s = t + source.between(ALONE_S[0], ALONE_S[1]);
        }
        Vec::new()
    }
}

impl Visit {
    fn new(seed: u64, t: f64, source: &mut Source) -> Self {
        let mut script = Script::new(&LessonParams {
            changes: false,
            ..LessonParams::usual(seed, 0.0)
        });
        Self {
            scene: script.next(),
            script,
            begun_s: t,
            until_s: t + source.between(VISIT_S[0], VISIT_S[1]),
            leaves: false,
            beside: Vector3::new(source.between(-1.3, -0.9), 0.0, source.between(-0.6, 0.2)),
        }
    }

    fn goes_on(&mut self, t: f64) -> bool {
        while t >= self.begun_s + self.scene.length {
            self.begun_s += self.scene.length;
            if self.script.between_turns() && self.begun_s >= self.until_s {
                if self.leaves {
                    return false;
                }
                self.leaves = true;
                self.script.walk_to(self.script.outside());
            }
            self.scene = self.script.next();
        }
        true
    }

    fn markers(&self, t: f64) -> Vec<Option<Point3<f64>>> {
        let since = t - self.begun_s;
        let loose = self.scene.loose.as_ref().map(|loose| loose(since));
        let stance = (self.scene.course)(since);
        let seen = self.scene.figure.seen(&stance, loose);
        let markers = seen.markers.into_iter().zip(&MARKERS);
        markers
            .map(|(p, landmark)| {
                let p = p + self.beside;
                let marked = self.scene.club || !landmark.is_club();
                (inside(&p) && marked).then_some(p)
            })
            .collect()
    }
}
