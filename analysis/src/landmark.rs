//! The named points on body and club that the analysis knows.
//!
//! A marker map (a file of the daemon) says which label of a capture system is which landmark;
//! from there on only these names exist. What a landmark is *used* for lives in `body` and `club`.

macro_rules! landmarks {
    ($($(#[$doc:meta])* $variant:ident = $name:literal,)+) => {
        /// A named point on body or club. `Left` and `Right` are anatomical sides.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Landmark {
            $($(#[$doc])* $variant,)+
        }

        impl Landmark {
            /// Every landmark, in the order of declaration.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The name used in marker maps, on the wire to screens and in messages.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }
        }
    };
}

landmarks! {
    /// Left anterior superior iliac spine.
    LeftAsis = "left_asis",
    /// Right anterior superior iliac spine.
    RightAsis = "right_asis",
    /// Left posterior superior iliac spine.
    LeftPsis = "left_psis",
    /// Right posterior superior iliac spine.
    RightPsis = "right_psis",
    /// A point at the left hip where no iliac spines are marked (for a hip line).
    LeftHip = "left_hip",
    /// A point at the right hip where no iliac spines are marked (for a hip line).
    RightHip = "right_hip",
    /// Spinous process of the seventh cervical vertebra.
    C7 = "c7",
    /// Spinous process of the eighth thoracic vertebra.
    T8 = "t8",
    /// Suprasternal notch (incisura jugularis).
    SternalNotch = "sternal_notch",
    /// Xiphoid process.
    Xiphoid = "xiphoid",
    /// A point between the shoulders where the thorax is not marked.
    MidShoulder = "mid_shoulder",
    /// Left acromion, or the left shoulder point of a reduced set.
    LeftAcromion = "left_acromion",
    /// Right acromion, or the right shoulder point of a reduced set.
    RightAcromion = "right_acromion",
    /// Front of the head (forehead).
    HeadFront = "head_front",
    /// Left side of the head.
    HeadLeft = "head_left",
    /// Right side of the head.
    HeadRight = "head_right",
    /// Lateral epicondyle of the left humerus.
    LeftElbow = "left_elbow",
    /// Lateral epicondyle of the right humerus.
    RightElbow = "right_elbow",
    /// Left radial styloid.
    LeftRadialStyloid = "left_radial_styloid",
    /// Right radial styloid.
    RightRadialStyloid = "right_radial_styloid",
    /// Left ulnar styloid.
    LeftUlnarStyloid = "left_ulnar_styloid",
    /// Right ulnar styloid.
    RightUlnarStyloid = "right_ulnar_styloid",
    /// The left wrist as one point, where the styloids are not marked.
    LeftWrist = "left_wrist",
    /// The right wrist as one point, where the styloids are not marked.
    RightWrist = "right_wrist",
    /// Lateral epicondyle of the left femur.
    LeftKnee = "left_knee",
    /// Lateral epicondyle of the right femur.
    RightKnee = "right_knee",
    /// Left lateral malleolus, or the left foot's point of a reduced set.
    LeftAnkle = "left_ankle",
    /// Right lateral malleolus, or the right foot's point of a reduced set.
    RightAnkle = "right_ankle",
    /// Left heel (calcaneus).
    LeftHeel = "left_heel",
    /// Right heel (calcaneus).
    RightHeel = "right_heel",
    /// Head of the left second metatarsal.
    LeftToe = "left_toe",
    /// Head of the right second metatarsal.
    RightToe = "right_toe",
    /// Medial epicondyle of the left femur (calibration trials).
    LeftKneeMedial = "left_knee_medial",
    /// Medial epicondyle of the right femur (calibration trials).
    RightKneeMedial = "right_knee_medial",
    /// Left medial malleolus (calibration trials).
    LeftAnkleMedial = "left_ankle_medial",
    /// Right medial malleolus (calibration trials).
    RightAnkleMedial = "right_ankle_medial",
    /// Medial epicondyle of the left humerus (calibration trials).
    LeftElbowMedial = "left_elbow_medial",
    /// Medial epicondyle of the right humerus (calibration trials).
    RightElbowMedial = "right_elbow_medial",
    /// Head of the left third metacarpal.
    LeftHand = "left_hand",
    /// Head of the right third metacarpal.
    RightHand = "right_hand",
    /// Butt end of the club, on the shaft's axis.
    ClubButt = "club_butt",
    /// One of two grip markers whose midpoint is on the shaft's axis.
    ClubGripA = "club_grip_a",
    /// The other of two grip markers whose midpoint is on the shaft's axis.
    ClubGripB = "club_grip_b",
    /// Middle of the shaft, on its axis.
    ClubShaftMid = "club_shaft_mid",
    /// Lower shaft, on its axis, above the hosel.
    ClubShaftLow = "club_shaft_low",
    /// Heel end of the club head at the height of the face's centre.
    ClubHeadHeel = "club_head_heel",
    /// Toe end of the club head at the height of the face's centre.
    ClubHeadToe = "club_head_toe",
    /// Back of the club head.
    ClubHeadBack = "club_head_back",
}

impl Landmark {
    /// The landmark with this [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|l| l.name() == name)
    }

    /// The same point on the other side of the body; itself for points of the middle and the club.
    #[must_use]
    pub fn opposite(self) -> Self {
        let name = self.name();
        let other = match name.strip_prefix("left_") {
            Some(rest) => format!("right_{rest}"),
            None => name
                .strip_prefix("right_")
                .map(|rest| format!("left_{rest}"))
                .unwrap_or_default(),
        };
        let of_head = match self {
            Self::HeadLeft => Some(Self::HeadRight),
            Self::HeadRight => Some(Self::HeadLeft),
            _ => None,
        };
        of_head.or_else(|| Self::from_name(&other)).unwrap_or(self)
    }

    /// Whether the point is on the club.
    #[must_use]
    pub fn is_club(self) -> bool {
        self >= Self::ClubButt
    }
}

#[cfg(test)]
mod tests {
    use super::Landmark;

    #[test]
    fn names_are_unique_and_round_trip() {
        for &l in Landmark::ALL {
            assert_eq!(Landmark::from_name(l.name()), Some(l));
        }
    }

    #[test]
    fn sides_exchange_in_pairs() {
        for &l in Landmark::ALL {
            assert_eq!(l.opposite().opposite(), l);
        }
        assert_eq!(Landmark::LeftKnee.opposite(), Landmark::RightKnee);
        assert_eq!(Landmark::HeadLeft.opposite(), Landmark::HeadRight);
        assert_eq!(Landmark::ClubButt.opposite(), Landmark::ClubButt);
    }

    #[test]
    fn club_points_are_told_from_body_points() {
        let club = Landmark::ALL.iter().filter(|l| l.is_club()).count();
        assert_eq!(
            club,
            Landmark::ALL
                .iter()
                .filter(|l| l.name().starts_with("club_"))
                .count()
        );
    }
}
