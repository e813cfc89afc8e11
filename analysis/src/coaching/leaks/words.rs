//! What a person reads about leaks: our own plain sentences. None says that a pattern costs this golfer
//! speed: that only a change that holds can show.

use super::{Direction, Leak};
use crate::coaching::suggestion::CAUTIONS;

pub(super) const FEW_SHOTS: &str = "too few measured shots to say how often";
pub(super) const CLOSE: &str =
    "too many shots lie closer to the threshold than they are surely known";
pub(super) const NOT_MEASURED: &str = "not measured";

/// What is seen.
pub(super) const fn seen(leak: Leak, direction: Option<Direction>) -> &'static str {
    match (leak, direction) {
        (Leak::WrongWayFirst, Some(Direction::TooLittle)) => {
            "In the takeaway the pelvis stays where it is instead of moving away from the target."
        }
        (Leak::WrongWayFirst, _) => {
            "In the takeaway the pelvis moves toward the target instead of away from it."
        }
        (Leak::LegsHeldStill, _) => {
            "The knees hardly change in the backswing, or begin to change only late in it."
        }
        (Leak::NotBroughtThrough, _) => {
            "The pelvis closes farther by the top than it opens by impact."
        }
        (Leak::StandingUp, _) => {
            "The trunk straightens and the pelvis moves toward the ball before impact."
        }
        (Leak::StretchKept, _) => {
            "The separation between pelvis and thorax grows until late, and the thorax is still closed at impact."
        }
        (Leak::ArmsWait, _) => {
            "At no time of the downswing does the lead arm speed up more than pelvis, thorax and club."
        }
        (Leak::TrailFootLate, _) => {
            "The trail foot carries most in the late downswing instead of in the backswing."
        }
        (Leak::NoCounterMovement, _) => {
            "Before the downswing the body hardly gets lighter, sinks or shifts."
        }
    }
}

/// What coaches say of it and speed.
pub(super) const fn speed(leak: Leak) -> &'static str {
    match leak {
        Leak::WrongWayFirst => {
            "Coaches expect less way for the pelvis to move toward the target when it counts, and with it less speed."
        }
        Leak::LegsHeldStill => {
            "Coaches expect less rotation to draw from and less push from the ground, and with it less speed."
        }
        Leak::NotBroughtThrough => {
            "Coaches expect the rotation that is not brought through to be of no use to the club."
        }
        Leak::StandingUp => {
            "Coaches expect the arms to have less room and the club to be slowed to find the ball."
        }
        Leak::StretchKept => {
            "Coaches expect a stretch that is still there at impact not to have reached the club."
        }
        Leak::ArmsWait => {
            "Coaches expect the club to get its speed later and in less time when the lead arm never leads."
        }
        Leak::TrailFootLate => {
            "Coaches expect a push that comes late on the trail foot to reach the club too late."
        }
        Leak::NoCounterMovement => {
            "Coaches expect a movement that starts without its opposite to push less into the ground."
        }
    }
}

/// What must be said where it is disputed.
pub(super) const fn standing(leak: Leak) -> Option<&'static str> {
    match leak {
        Leak::StretchKept => Some("Common practice; the literature disagrees."),
        Leak::ArmsWait => Some("Common practice, no source."),
        _ => None,
    }
}

/// Something to try.
pub(super) const fn suggestion(leak: Leak, direction: Option<Direction>) -> &'static str {
    match (leak, direction) {
        (Leak::WrongWayFirst, Some(Direction::TooLittle)) => {
            "Slow rehearsals: let the pelvis move a little away from the target as the club starts, and watch the live number of its shift."
        }
        (Leak::WrongWayFirst, _) => {
            "Slow rehearsals: start with some weight going onto the trail foot, and watch the live number of the pelvis shift go away from the target."
        }
        (Leak::LegsHeldStill, _) => {
            "Slow rehearsals to the top: let the lead knee flex and the trail knee straighten a little from the first movement on."
        }
        (Leak::NotBroughtThrough, _) => {
            "Wind up only as far as you can bring through: shorter backswings, and see whether the pelvis is as open at impact as it was closed."
        }
        (Leak::StandingUp, _) => {
            "Half swings with the pelvis kept as far from the ball as at address until the ball is gone."
        }
        (Leak::StretchKept, _) => {
            "Half swings in which the chest faces the ball, or beyond it, when the club arrives."
        }
        (Leak::ArmsWait, _) => {
            "Slow rehearsals from the top: let the lead arm come down at once together with the pelvis."
        }
        (Leak::TrailFootLate, _) => {
            "Easy swings with the weight on the trail foot by the end of the takeaway, and off it before the club comes down."
        }
        (Leak::NoCounterMovement, _) => {
            "Easy swings with a small sink and shift before the change of direction."
        }
    }
}

/// Every sentence that leaks can show.
#[must_use]
pub fn texts() -> Vec<&'static str> {
    let directions = [
        None,
        Some(Direction::Opposite),
        Some(Direction::TooLittle),
        Some(Direction::TooMuch),
    ];
    let mut all = vec![FEW_SHOTS, CLOSE, NOT_MEASURED];
    for leak in Leak::ALL {
        for direction in directions {
            all.extend([seen(leak, direction), suggestion(leak, direction)]);
        }
        all.push(speed(leak));
        all.extend(standing(leak));
    }
    all.extend(directions.iter().flatten().map(|d| d.words()));
    all.extend(CAUTIONS);
    all.sort_unstable();
    all.dedup();
    all
}
