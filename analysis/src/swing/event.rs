//! The events of a swing by name. How they are found is in `phases` and `impact`.

macro_rules! events {
    ($($(#[$doc:meta])* $variant:ident = $name:literal / $words:literal,)+) => {
        /// An event of a swing (METRICS, table of events).
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Event {
            $($(#[$doc])* $variant,)+
        }

        impl Event {
            /// Every event in the order of a swing.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The identifier used in reports.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }

            /// The event as a sentence says it (`hidden at …`).
            #[must_use]
            pub const fn words(self) -> &'static str {
                match self { $(Self::$variant => $words,)+ }
            }
        }
    };
}

events! {
    /// The last quiet instant before the takeaway.
    Address = "address" / "address",
    /// Onset of the continuous club movement that leads to the top.
    TakeawayStart = "takeaway_start" / "takeaway start",
    /// Shaft axis first parallel to the floor going back.
    TakeawayEnd = "takeaway_end" / "takeaway end",
    /// Lead shoulder-to-wrist line first parallel to the floor going back.
    LeadArmLevelBack = "lead_arm_level_back" / "lead arm level going back",
    /// The club's angular velocity about the swing-plane normal changes sign.
    Top = "top" / "the top",
    /// Lead arm parallel to the floor coming down.
    LeadArmLevelDown = "lead_arm_level_down" / "lead arm level coming down",
    /// Shaft parallel to the floor coming down.
    ShaftLevelDown = "shaft_level_down" / "shaft level coming down",
    /// The face's reference point reaches the ball's surface or its place at address.
    Impact = "impact" / "impact",
    /// Shaft parallel to the floor after impact.
    ShaftLevelThrough = "shaft_level_through" / "shaft level going through",
    /// The club comes to rest after the follow-through.
    Finish = "finish" / "the finish",
}

/// Slots (with fraction) of the events of one swing.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Slots([Option<f64>; Event::ALL.len()]);

impl Slots {
    /// The slot of an event, if it was found.
    #[must_use]
    pub fn get(&self, event: Event) -> Option<f64> {
        self.0[event as usize]
    }

    /// Records an event.
    pub fn set(&mut self, event: Event, slot: Option<f64>) {
        self.0[event as usize] = slot;
    }
}
