//! Why a movement around a fast pass is no swing, in words, and which kind it then is. Found in `phases`
//! and `measure`.

use super::kind::Kind;

/// Why the movement around a pass is not a swing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotASwing {
    /// The club head did not get fast.
    TooSlow,
    /// The pass goes away from the target (a club carried back).
    WrongWay,
    /// No reversal of the club before the pass.
    NoTop,
    /// The downswing's duration is not a swing's.
    DownswingDuration,
    /// No start of the movement within reach before the top.
    NoTakeaway,
    /// The backswing's duration is not a swing's.
    BackswingDuration,
    /// The head went back and came down, but did not pass the ball's place.
    ShortOfTheBall,
    /// The head went to and fro behind the ball or barely past it.
    ToAndFro,
    /// The head passed the ball's place far above or below its height at address.
    WrongHeight,
    /// The golfer walked, or a foot was lifted.
    Walking,
    /// The golfer sat.
    Seated,
    /// Nobody's hand was near the grip.
    NotHeld,
    /// The club's markers were gone around the pass.
    Hidden,
}

impl NotASwing {
    /// The reason as a sentence says it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::TooSlow => "the club head did not get fast enough",
            Self::WrongWay => {
                "the club head moved away from the target (a club carried back, or a target line that points the wrong way)"
            }
            Self::NoTop => "the club did not turn back before it",
            Self::DownswingDuration => {
                "the movement toward the target was too short or too long for a downswing"
            }
            Self::NoTakeaway => "no start of the movement was found before it",
            Self::BackswingDuration => {
                "the movement before it was too short or too long for a backswing"
            }
            Self::ShortOfTheBall => {
                "the club head did not pass the ball's place: the swing was broken off"
            }
            Self::ToAndFro => {
                "the club head went to and fro without passing through the ball's place"
            }
            Self::WrongHeight => {
                "the club head passed the ball's place far above or below its height at address"
            }
            Self::Walking => "the golfer walked or lifted a foot",
            Self::Seated => "the golfer sat and met no ball",
            Self::NotHeld => "nobody's hands were at the grip",
            Self::Hidden => "the club's markers were hidden around it",
        }
    }

    /// The kind of such a movement.
    #[must_use]
    pub const fn kind(self) -> Kind {
        match self {
            Self::ShortOfTheBall => Kind::Abort,
            Self::ToAndFro | Self::TooSlow => Kind::Waggle,
            _ => Kind::Other,
        }
    }
}
