//! Who swings: lengths and habits drawn from a seed, a style as a change of habit, and the small
//! deviations of one shot.
//!
//! Only numbers are drawn here; what they do to the motion is decided in `golfer`.

use super::anatomy::Anatomy;
use super::body::Build;
use super::club::Club;
use super::noise::{Purpose, Source};
use super::sway::Weight;
use nalgebra::Point3;

/// How the golfer moves. All but the first are movement patterns that a coach would want shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Nothing stands out.
    Balanced,
    /// The pelvis moves toward the target in the takeaway.
    WrongWayFirst,
    /// The knees hardly change in the backswing.
    StillLegs,
    /// The pelvis turns farther back than it can be brought through.
    OverRotated,
    /// The trunk rises and the pelvis moves toward the ball in the downswing.
    StandingUp,
    /// The thorax stays closed; separation grows until late in the downswing.
    StretchKept,
    /// The lead arm starts down late.
    ArmsWait,
    /// The trail foot carries most only late in the downswing.
    TrailFootLate,
    /// The golfer hardly gets lighter, sinks or shifts before he swings down.
    NoCounterMovement,
}

impl Style {
    /// Every style.
    pub const ALL: [Self; 9] = [
        Self::Balanced,
        Self::WrongWayFirst,
        Self::StillLegs,
        Self::OverRotated,
        Self::StandingUp,
        Self::StretchKept,
        Self::ArmsWait,
        Self::TrailFootLate,
        Self::NoCounterMovement,
    ];

    /// The name on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Balanced => "balanced",
            Self::WrongWayFirst => "wrong-way-first",
            Self::StillLegs => "still-legs",
            Self::OverRotated => "over-rotated",
            Self::StandingUp => "standing-up",
            Self::StretchKept => "stretch-kept",
            Self::ArmsWait => "arms-wait",
            Self::TrailFootLate => "trail-foot-late",
            Self::NoCounterMovement => "no-counter-movement",
        }
    }

    /// The style with this [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.name() == name)
    }
}

/// Habits, angles in degrees (they are turned into rad in `golfer`), lengths in m, times in s.
#[derive(Debug, Clone)]
pub(super) struct Habit {
    /// Takeaway start to top of the club.
    pub(super) backswing: f64,
    /// Downswing time × shaft speed at impact ÷ shaft angle covered: 2 when it speeds up evenly.
    pub(super) lateness: f64,
    /// Impact to finish.
    pub(super) follow: f64,
    /// Shift of the pelvis at the takeaway's end, the top, impact, and its depth at impact.
    pub(super) shift: [f64; 3],
    pub(super) depth_impact: f64,
    /// Heading of the pelvis at top and impact.
    pub(super) pelvis: [f64; 2],
    /// Heading of the thorax at top and impact.
    pub(super) thorax: [f64; 2],
    /// Change of the thorax's forward inclination since address, at top and impact.
    pub(super) straighten: [f64; 2],
    /// Inclination away from the target at address, top, impact.
    pub(super) side: [f64; 3],
    /// Knee flexion (lead, trail) at address, top, impact.
    pub(super) knees: [[f64; 2]; 3],
    /// Lead arm and shaft at the top, from straight down their slopes.
    pub(super) arm_top: f64,
    pub(super) shaft_top: f64,
    /// Distance from lead shoulder to wrist at address ÷ straight arm.
    pub(super) reach_address: f64,
    /// Shaft leaning toward the target at address and impact.
    pub(super) lean: [f64; 2],
    /// Pelvis, thorax and lead arm reverse this long before the club.
    pub(super) lead: [f64; 3],
    /// Share of the way from top to impact (lead arm, thorax) done a third into the downswing,
    /// where a style prescribes it.
    pub(super) arm_third: Option<f64>,
    pub(super) thorax_half: Option<f64>,
    /// Direction of the head at impact, positive from inside to outside.
    pub(super) path: f64,
    /// Grip speed ÷ head speed at impact.
    pub(super) grip_share: f64,
    /// Share of the head's speed that a centerd ball takes.
    pub(super) loss: f64,
    /// How the ground is used.
    pub(super) weight: Weight,
}

/// Mean man of de Leva 1996 (J Biomech 29:1223), m; lengths recalled, not looked up.
pub(super) const STATURE: f64 = 1.741;
const THIGH: f64 = 0.4222;
const SHANK: f64 = 0.4340;
const UPPER_ARM: f64 = 0.2817;
const FOREARM: f64 = 0.2689;
/// Suprasternal notch to the middle of the hips, split at an invented bending point.
const TRUNK: f64 = 0.5155;
const WAIST: f64 = 0.115;
const CHEST: f64 = 0.1707;

/// Share of its way that the lead arm has done a third into the downswing, and the thorax half into
/// it, where no style prescribes it: from where a style begins to.
const ARM_THIRD_USUAL: f64 = 0.245;
const THORAX_HALF_USUAL: f64 = 0.475;

impl Build {
    /// A person for a club, the feet not yet placed in depth.
    pub(super) fn draw(seed: u64, source: &mut Source, club: Club) -> Self {
        let scale = source.around(1.745, 0.055) / STATURE;
        let mut long = |mean: f64| mean * scale * source.around(1.0, 0.012);
        let (thigh, shank) = (long(THIGH), long(SHANK));
        let (upper_arm, forearm) = (long(UPPER_ARM), long(FOREARM));
        let (waist, trunk, chest) = (long(WAIST), long(TRUNK - WAIST), long(CHEST));
        let shoulder_half = long(0.178);
        let (width, middle) = stance(club);
        let half = 0.5 * width * scale;
        let ankle = 0.075 * scale;
        Self {
            thigh,
            shank,
            upper_arm,
            forearm,
            waist,
            trunk,
            chest,
            shoulder_half,
            anatomy: Anatomy::draw(&mut Source::new(seed, Purpose::Anatomy), scale),
            ankles: [
                Point3::new(middle + half, ankle, 0.0),
                Point3::new(middle - half, ankle, 0.0),
            ],
            flare: [
                source.around(22.0, 3.0).to_radians(),
                source.around(10.0, 3.0).to_radians(),
            ],
            scale,
        }
    }
}

/// Distance between the ankles, and their middle against the ball (negative: ball forward), m.
/// Common practice, no source.
const fn stance(club: Club) -> (f64, f64) {
    match club {
        Club::Driver => (0.44, -0.16),
        Club::FiveWood => (0.42, -0.12),
        Club::SevenIron => (0.38, -0.06),
        Club::Wedge | Club::Putter => (0.34, -0.05),
    }
}

impl Habit {
    /// The habits of a person, drawn within published and common ranges (REFERENCES B, H).
    pub(super) fn draw(source: &mut Source, club: Club) -> Self {
        let (lean, side, shaft_top, reach_address, grip_share) = match club {
            Club::Driver => ([-1.0, 3.0], 7.0, 250.0, 0.955, 0.136),
            Club::FiveWood => ([1.0, 5.0], 6.0, 246.0, 0.940, 0.146),
            Club::SevenIron => ([4.0, 6.0], 5.0, 238.0, 0.920, 0.165),
            Club::Wedge | Club::Putter => ([4.0, 6.0], 4.5, 232.0, 0.915, 0.175),
        };
        let lead_knee = source.around(15.0, 1.2);
        let trail_knee = source.around(22.0, 1.2);
        let pelvis_closed = source.around(45.0, 2.0);
        Self {
            backswing: source.between(0.71, 0.87),
            lateness: source.between(2.2, 2.4),
            follow: source.between(0.78, 0.92),
            shift: [
                source.around(-0.030, 0.004),
                source.around(-0.022, 0.004),
                source.around(0.082, 0.006),
            ],
            depth_impact: source.around(-0.008, 0.003),
            // Brought through a little farther than wound up, which is the band (REFERENCES H).
            pelvis: [-pelvis_closed, pelvis_closed + source.around(0.0, 1.0)],
            thorax: [source.around(-90.0, 3.0), source.around(27.0, 2.5)],
            straighten: [source.around(0.0, 1.0), source.around(-2.0, 1.0)],
            side: [side, source.around(3.0, 1.0), source.around(13.5, 1.0)],
            knees: [
                [lead_knee, trail_knee],
                [
                    lead_knee * source.between(2.05, 2.2),
                    trail_knee - source.between(6.0, 9.0),
                ],
                [source.around(17.0, 1.0), source.around(29.0, 1.5)],
            ],
            arm_top: source.around(143.0, 3.0),
            shaft_top: source.around(shaft_top, 3.0),
            lean: [
                lean[0] + source.around(0.0, 0.5),
                lean[1] + source.around(0.0, 0.7),
            ],
            lead: [
                source.between(0.07, 0.10),
                source.between(0.04, 0.06),
                source.between(0.02, 0.03),
            ],
            arm_third: None,
            thorax_half: None,
            path: source.around(0.0, 1.2),
            reach_address,
            grip_share: source.around(grip_share, 0.004),
            loss: source.between(0.24, 0.31),
            weight: Weight::USUAL,
        }
    }

    /// The habits with a style's pattern in them: 0 nothing of it, 1 a clear case, in between on the
    /// straight line from one to the other.
    pub(super) fn styled(self, style: Style, degree: f64) -> Self {
        let clear = self.clone().clearly(style);
        let mix = |usual: f64, clear: f64| (1.0 - degree) * usual + degree * clear;
        let each = |a: [f64; 2], b: [f64; 2]| [mix(a[0], b[0]), mix(a[1], b[1])];
        let third = |a: [f64; 3], b: [f64; 3]| [0, 1, 2].map(|i| mix(a[i], b[i]));
        let detour = |usual: Option<f64>, clear: Option<f64>, as_usual: f64| {
            clear.map_or(usual, |clear| {
                (degree > 0.0).then(|| mix(usual.unwrap_or(as_usual), clear))
            })
        };
        Self {
            shift: third(self.shift, clear.shift),
            depth_impact: mix(self.depth_impact, clear.depth_impact),
            pelvis: each(self.pelvis, clear.pelvis),
            thorax: each(self.thorax, clear.thorax),
            straighten: each(self.straighten, clear.straighten),
            knees: [0, 1, 2].map(|i| each(self.knees[i], clear.knees[i])),
            arm_top: mix(self.arm_top, clear.arm_top),
            lead: third(self.lead, clear.lead),
            arm_third: detour(self.arm_third, clear.arm_third, ARM_THIRD_USUAL),
            thorax_half: detour(self.thorax_half, clear.thorax_half, THORAX_HALF_USUAL),
            grip_share: mix(self.grip_share, clear.grip_share),
            weight: Weight {
                late: mix(self.weight.late, clear.weight.late),
                level: mix(self.weight.level, clear.weight.level),
                ..self.weight
            },
            ..self
        }
    }

    /// The habits with a clear case of a style in them.
    fn clearly(mut self, style: Style) -> Self {
        let address = self.knees[0];
        match style {
            Style::Balanced => {}
            Style::WrongWayFirst => {
                self.shift[0] = 0.028;
                self.shift[1] = 0.020;
            }
            Style::StillLegs => {
                self.knees[1] = [address[0] + 4.0, address[1] - 1.5];
                self.pelvis[0] += 10.0;
            }
            Style::OverRotated => {
                self.pelvis[0] -= 17.0;
                self.pelvis[1] -= 14.0;
                self.thorax[0] -= 6.0;
                self.thorax[1] -= 7.0;
            }
            Style::StandingUp => {
                self.straighten[1] -= 12.0;
                self.depth_impact = 0.045;
                self.knees[2] = [12.0, 18.0];
            }
            Style::StretchKept => {
                self.thorax[1] = -11.0;
                self.thorax_half = Some(0.42);
            }
            Style::ArmsWait => {
                // A third into the downswing the arms have done no more of their way than the
                // shaft; being late they go less far back and are still fast at impact.
                self.arm_third = Some(0.175);
                self.lead[2] = 0.004;
                self.arm_top -= 25.0;
                self.grip_share *= 1.6;
            }
            Style::TrailFootLate => {
                self.weight.late = 1.0;
                self.shift[0] = -0.010;
                self.shift[1] = -0.008;
            }
            Style::NoCounterMovement => {
                self.weight.level = 1.0;
                self.shift = [-0.001, 0.001, 0.060];
                // Knees that are nearly straight could not take the swing's blows from the trunk.
                self.knees[1][1] = address[1] - 3.0;
                self.knees[2] = [17.0, 24.0];
            }
        }
        self
    }

    /// The habits as they come out in one shot; `scatter` 1 is a practiced golfer, 2 an inconsistent one.
    pub(super) fn deviated(mut self, scatter: f64, source: &mut Source) -> Self {
        self.backswing *= source.around(1.0, 0.02 * scatter);
        self.lateness *= source.around(1.0, 0.01 * scatter);
        self.follow *= source.around(1.0, 0.02 * scatter);
        for shift in &mut self.shift {
            *shift += source.around(0.0, 0.003 * scatter);
        }
        for angle in self.pelvis.iter_mut().chain(&mut self.thorax) {
            *angle += source.around(0.0, 1.0 * scatter);
        }
        for knee in self.knees[1..].iter_mut().flatten() {
            *knee += source.around(0.0, 0.4 * scatter);
        }
        self.shaft_top += source.around(0.0, 1.5 * scatter);
        self.arm_top += source.around(0.0, 1.0 * scatter);
        self.path += source.around(0.0, 0.6 * scatter);
        self.lean[1] += source.around(0.0, 0.4 * scatter);
        self
    }
}

#[cfg(test)]
mod tests {
    use super::Style;

    #[test]
    fn names_round_trip() {
        for style in Style::ALL {
            assert_eq!(Style::from_name(style.name()), Some(style));
        }
    }
}
