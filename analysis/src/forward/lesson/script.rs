//! The course of a lesson: which scene follows which, drawn from a seed. One turn is everything from
//! one ball to the next. How often a thing happens is invented, after what lessons look like (common
//! practice, no source).
//!
//! Single movements are in `moves`.

use std::collections::VecDeque;
use std::sync::Arc;

use super::super::motion::Motion;
use super::super::noise::{Purpose, Source};
use super::super::{Ball, Club, GolferParams, Style, plan};
use super::LessonParams;
use super::figure::{Figure, Stance};
use super::scene::{Loose, Scene, Upset};
use super::strokes::Size;

/// Who makes the scenes.
pub(super) struct Script {
    pub(super) source: Source,
    pub(super) golfer: GolferParams,
    pub(super) figure: Arc<Figure>,
    /// The swing that the next strokes are made of.
    pub(super) motion: Arc<Motion>,
    /// The same without a ball.
    pub(super) dry: Arc<Motion>,
    /// How the last planned scene ends.
    pub(super) now: Stance,
    pub(super) upset: Option<Upset>,
    /// Whether the club's markers are there.
    pub(super) club: bool,
    /// Whether the coach's hands are on the golfer.
    pub(super) coach: bool,
    upsets: bool,
    changes: bool,
    /// Whether somebody asks what the ground gives.
    pub(super) weighed: bool,
    planned: VecDeque<Scene>,
    turns: u64,
}

impl Script {
    pub(super) fn new(params: &LessonParams) -> Self {
        let mut source = Source::new(params.seed, Purpose::Lesson);
        let style = pick(&mut source, &Style::ALL);
        let golfer = GolferParams {
            style: if source.unit() < 0.5 {
                Style::Balanced
            } else {
                style
            },
            handed: params.handed,
            ..GolferParams::from_seed(params.seed)
        };
        let (motion, masses) = plan::motion(&golfer);
        let motion = Arc::new(motion);
        let figure = Arc::new(Figure {
            build: motion.build.clone(),
            shape: motion.club,
            masses,
        });
        let now = Stance {
            posture: motion.posture(0.0),
            place: figure.home(),
            feet: figure.feet().map(|f| figure.home().foot(f)),
            hold: [1.0; 2],
            order: 1.0,
            flip: 0.0,
            seat: 0.0,
        };
        let mut script = Self {
            source,
            golfer,
            figure,
            dry: Arc::clone(&motion),
            motion,
            now,
            upset: None,
            club: true,
            coach: false,
            upsets: params.upsets,
            changes: params.changes,
            weighed: params.plates,
            planned: VecDeque::new(),
            turns: 0,
        };
        script.now = script.upright(script.outside());
        script
    }

    /// The next scene.
    pub(super) fn next(&mut self) -> Scene {
        loop {
            if let Some(scene) = self.planned.pop_front() {
                return scene;
            }
            self.turn();
        }
    }

    /// Whether a turn is over, so that a lesson may end.
    pub(super) fn between_turns(&self) -> bool {
        self.planned.is_empty()
    }

    pub(super) fn plan(&mut self, scene: Scene) {
        self.now = (scene.course)(scene.length);
        self.planned.push_back(scene);
    }

    /// How many scenes are planned.
    pub(super) fn planned_len(&self) -> usize {
        self.planned.len()
    }

    /// The club has a pose of its own in the scenes planned since there were so many.
    pub(super) fn loosen_from(&mut self, first: usize, loose: &Loose) {
        for scene in self.planned.iter_mut().skip(first) {
            scene.loose = Some(Arc::clone(loose));
        }
    }

    pub(super) fn chance(&mut self, share: f64) -> bool {
        self.source.unit() < share
    }

    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        self.source.between(low, high)
    }

    /// A new shot of the golfer; what the ball takes is drawn by the kind.
    pub(super) fn shot(&mut self, ball: Ball) {
        self.golfer.shot += 1;
        let planned = |ball| {
            let golfer = GolferParams {
                ball,
                ..self.golfer.clone()
            };
            Arc::new(plan::motion(&golfer).0)
        };
        (self.motion, self.dry) = (planned(ball), planned(Ball::Missed));
    }

    /// Everything from one ball to the next.
    fn turn(&mut self) {
        self.turns += 1;
        let ball = match self.source.unit() {
            u if u < 0.80 => Ball::Centered,
            _ => Ball::OffCenter,
        };
        self.shot(ball);
        if self.upsets && self.chance(0.12) {
            self.upset = Some(match self.source.unit() {
                u if u < 0.30 => Upset::Restart(self.between(0.5, 3.0), None),
                u if u < 0.45 => Upset::Restart(self.between(1.0, 3.0), Some(240.0)),
                u if u < 0.55 => Upset::Restart(self.between(1.0, 3.0), Some(360.0)),
                u if u < 0.65 => Upset::Rate(240.0),
                u if u < 0.75 => Upset::Rate(360.0),
                u if u < 0.88 => Upset::Jump(self.between(0.4, 20.0)),
                _ => Upset::Jump(-self.between(0.2, 20.0)),
            });
        }
        if self.turns > 1 && self.changes && self.chance(0.10) {
            self.change();
        }
        if self.chance(0.85) {
            self.tee();
        }
        match self.source.unit() {
            u if u < 0.55 => self.behind_ball(),
            u if u < 0.75 => self.idle(),
            _ => {}
        }
        if self.chance(0.7) {
            self.rehearsals();
        }
        match self.source.unit() {
            u if u < 0.06 => self.rehearse_and_hit(),
            u if u < 0.09 => self.seated_shot(),
            _ => {
                self.step_in();
                self.before();
                self.stroke();
            }
        }
        self.after();
        if self.changes && self.chance(0.03) {
            let putts = self.chance(0.5);
            self.short_game(putts);
        }
    }

    /// Another club, or a golfer of the other side: out of the bay and in again.
    fn change(&mut self) {
        let club = pick(&mut self.source, &Club::ALL);
        let other = self.chance(0.15);
        self.fetch(club, other);
    }

    /// Some chips and pitches with a wedge, or putts with a putter, and back to a club of full swings.
    pub(super) fn short_game(&mut self, putts: bool) {
        self.fetch(if putts { Club::Putter } else { Club::Wedge }, false);
        for _ in 0..=self.count(&[0.0, 1.0, 1.0, 1.0]) {
            self.shot(Ball::Centered);
            self.step_in();
            if self.chance(0.5) {
                self.waggle();
            }
            self.settle();
            match self.source.unit() {
                _ if putts => self.small(Size::Putt),
                u if u < 0.7 => self.small(Size::Chip),
                _ => self.small(Size::Pitch),
            }
            self.pause("finish", 0.2, 1.0);
            self.stand_up();
        }
        let club = pick(&mut self.source, &Club::ALL);
        self.fetch(club, false);
    }

    /// Out of the bay, and in again with a club and perhaps of the other side.
    fn fetch(&mut self, club: Club, other_side: bool) {
        self.walk_to(self.outside());
        self.pause("away", 2.0, 6.0);
        self.golfer = self.golfer.clone().with_club(club);
        if other_side {
            self.golfer.handed = self.golfer.handed.other();
        }
        self.shot(Ball::Centered);
        let (motion, masses) = plan::motion(&self.golfer);
        self.figure = Arc::new(Figure {
            build: motion.build.clone(),
            shape: motion.club,
            masses,
        });
        self.now = self.upright(self.outside());
    }

    /// Waggles, regrips, a forward press, a swing broken off.
    fn before(&mut self) {
        if self.chance(0.12) {
            self.regrip();
        }
        for _ in 0..self.count(&[0.25, 0.3, 0.25, 0.15, 0.05]) {
            self.waggle();
        }
        if self.chance(0.12) {
            self.abort();
            if self.chance(0.4) {
                self.waggle();
            }
        }
        self.settle();
        if self.chance(0.15) {
            self.forward_press();
        }
    }

    fn stroke(&mut self) {
        match self.source.unit() {
            u if u < 0.57 => self.full(),
            u if u < 0.60 => self.mat_first(),
            u if u < 0.63 => self.missed(),
            u if u < 0.67 => self.stop_at_top(),
            u if u < 0.71 => self.three_quarter(),
            u if u < 0.76 => self.small(Size::Pitch),
            u if u < 0.83 => self.small(Size::Chip),
            u if u < 0.86 => self.small(Size::Putt),
            u if u < 0.89 => self.foam_ball(),
            u if u < 0.92 => self.feet_together(),
            u if u < 0.94 => self.step_drill(),
            u if u < 0.96 => self.walk_through(),
            u if u < 0.975 => self.one_arm(),
            u if u < 0.985 => self.bunker(),
            u if u < 0.992 => self.beside_the_ball(),
            _ => self.slow_shot(),
        }
    }

    /// What follows a stroke.
    fn after(&mut self) {
        let hold = self.between(0.2, 1.5);
        self.pause("finish", hold, hold + 0.1);
        match self.source.unit() {
            u if u < 0.06 => self.continuous(),
            u if u < 0.10 => self.again_at_once(),
            _ => {}
        }
        self.stand_up();
        match self.source.unit() {
            u if u < 0.12 => self.towel_or_rod(),
            u if u < 0.20 => self.lay_down(),
            u if u < 0.26 => self.toss(),
            u if u < 0.34 => self.coach_shows(),
            u if u < 0.55 => self.idle(),
            u if u < 0.60 => self.odd_grips(),
            u if u < 0.63 => self.weighted(),
            u if u < 0.66 => self.lift_a_foot(),
            u if u < 0.70 => self.sit(),
            u if u < 0.75 => self.led_by_the_coach(),
            u if u < 0.77 && self.changes => self.jacket(),
            u if u < 0.80 && self.changes => self.opposite_side(),
            _ => {}
        }
    }

    /// How many, by the weights of 0, 1, 2 …
    pub(super) fn count(&mut self, weights: &[f64]) -> usize {
        let mut left = self.source.unit() * weights.iter().sum::<f64>();
        weights
            .iter()
            .position(|w| {
                left -= w;
                left < 0.0
            })
            .unwrap_or(0)
    }
}

pub(super) fn pick<T: Copy>(source: &mut Source, all: &[T]) -> T {
    let mut left = source.unit() * all.iter().map(|_| 1.0).sum::<f64>();
    let mut chosen = all[0];
    for &one in all {
        if left >= 0.0 {
            chosen = one;
        }
        left -= 1.0;
    }
    chosen
}
