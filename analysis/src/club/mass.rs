//! A club as a rigid body: its mass, balance point and moment of inertia, told or assumed.
//!
//! What is not told is made from three parts: a grip, an even shaft, and a head that is the lighter the
//! longer the club. Numbers of ordinary clubs; common practice, no source. How the club moves is
//! elsewhere.

use crate::context::ClubGeometry;

/// Mass of a grip, kg, and its middle below the butt, metres.
const GRIP: (f64, f64) = (0.050, 0.11);
/// Mass of a shaft, kg: of a club at least so long (carbon), and of a shorter one (steel).
const LONG_M: f64 = 1.0;
const SHAFT: [f64; 2] = [0.062, 0.105];
/// Length of a club, metres, and mass of its head, kg, from wedge to driver: a set is built so that every
/// club swings about alike, and a lighter head is what a longer club allows.
const HEADS: [(f64, f64); 5] = [
    (0.90, 0.296),
    (0.94, 0.270),
    (0.98, 0.246),
    (1.06, 0.220),
    (1.14, 0.200),
];
/// Length by the kind's name, metres, where nothing else tells it.
const LENGTHS: [(&str, f64); 5] = [
    ("driver", 1.14),
    ("wood", 1.07),
    ("hybrid", 1.02),
    ("iron", 0.94),
    ("wedge", 0.90),
];
/// Of a club of which nothing is known, metres.
const LENGTH_M: f64 = 1.0;
const ASSUMED: &str = "club's mass properties assumed";

/// What a club is to inverse dynamics.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClubMass {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Butt end to balance point along the shaft, metres.
    pub balance_m: f64,
    /// Moment of inertia about a line across the shaft through the balance point, kg·m².
    pub inertia_kg_m2: f64,
    /// Whether any of the three was assumed.
    pub assumed: bool,
}

impl ClubMass {
    /// As told; what is not told is that of an ordinary club of this length (metres, told or
    /// measured), or of this name.
    #[must_use]
    pub fn of(told: Option<&ClubGeometry>, name: Option<&str>, measured_m: Option<f64>) -> Self {
        let told = told.copied().unwrap_or_default();
        let length = told.length_m.or(measured_m);
        let usual = Self::usual(length.or_else(|| by_name(name?)).unwrap_or(LENGTH_M));
        let mass_kg = told.mass_kg.unwrap_or(usual.mass_kg);
        let heavier = mass_kg / usual.mass_kg;
        Self {
            mass_kg,
            balance_m: told.balance_m.unwrap_or(usual.balance_m),
            inertia_kg_m2: told.inertia_kg_m2.unwrap_or(usual.inertia_kg_m2 * heavier),
            assumed: told.mass_kg.is_none()
                || told.balance_m.is_none()
                || told.inertia_kg_m2.is_none(),
        }
    }

    /// The words that a value carries which rests on assumed numbers.
    #[must_use]
    pub fn limited(&self) -> Option<String> {
        self.assumed.then(|| ASSUMED.to_owned())
    }

    fn usual(length_m: f64) -> Self {
        let shaft = if length_m < LONG_M {
            SHAFT[1]
        } else {
            SHAFT[0]
        };
        // The head's own middle is near the shaft's end.
        let parts = [GRIP, (shaft, 0.5 * length_m), (head_kg(length_m), length_m)];
        let mass_kg: f64 = parts.iter().map(|p| p.0).sum();
        let balance_m = parts.iter().map(|(m, at)| m * at).sum::<f64>() / mass_kg;
        let points = parts.iter().map(|(m, at)| m * (at - balance_m).powi(2));
        Self {
            mass_kg,
            balance_m,
            inertia_kg_m2: points.sum::<f64>() + shaft * length_m.powi(2) / 12.0,
            assumed: true,
        }
    }
}

fn by_name(name: &str) -> Option<f64> {
    let name = name.to_lowercase();
    let kind = LENGTHS.iter().find(|(kind, _)| name.contains(kind))?;
    Some(kind.1)
}

/// Straight between the entries of the table, held at its ends.
fn head_kg(length_m: f64) -> f64 {
    let after = HEADS.partition_point(|h| h.0 < length_m);
    match (after.checked_sub(1).map(|i| HEADS[i]), HEADS.get(after)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (length_m - a.0) / (b.0 - a.0),
        (Some(end), None) | (None, Some(&end)) => end.1,
        (None, None) => HEADS[0].1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand for 1.14 m: 0.050 at 0.11, 0.062 at 0.57, 0.200 at 1.14 give 0.312 kg and
    /// (0.0055 + 0.03534 + 0.228) ÷ 0.312 = 0.861 67 m; 0.050 · 0.7517² + 0.062 · 0.2917² +
    /// 0.200 · 0.2783² + 0.062 · 1.14² ÷ 12 = 0.028 25 + 0.005 28 + 0.015 49 + 0.006 71 =
    /// 0.055 73 kg·m². A swing weighs some 0.2 to 0.5 kg of club (common practice, no source).
    #[test]
    fn an_ordinary_driver_by_hand() {
        let driver = ClubMass::of(None, Some("Driver"), None);
        assert!((driver.mass_kg - 0.312).abs() < 1e-12);
        assert!((driver.balance_m - 0.861_67).abs() < 1e-5);
        assert!((driver.inertia_kg_m2 - 0.055_73).abs() < 1e-5);
        assert!(driver.assumed && driver.limited().is_some());
        let masses = LENGTHS.map(|(name, _)| ClubMass::of(None, Some(name), None).mass_kg);
        assert!(masses.is_sorted() && masses[4] < 0.5);
        assert_eq!(
            ClubMass::of(None, Some("stick"), None),
            ClubMass::usual(1.0)
        );
        assert_eq!(
            ClubMass::of(None, None, Some(0.94)),
            ClubMass::of(None, Some("7-iron"), None)
        );
    }

    #[test]
    fn what_is_told_is_used() {
        let all = ClubGeometry {
            mass_kg: Some(0.4),
            balance_m: Some(0.7),
            inertia_kg_m2: Some(0.05),
            ..ClubGeometry::default()
        };
        let club = ClubMass::of(Some(&all), Some("driver"), None);
        assert_eq!((club.mass_kg, club.balance_m), (0.4, 0.7));
        assert_eq!((club.inertia_kg_m2, club.limited()), (0.05, None));
        let heavy = ClubGeometry {
            mass_kg: Some(0.624),
            ..ClubGeometry::default()
        };
        let club = ClubMass::of(Some(&heavy), None, Some(1.14));
        assert!((club.inertia_kg_m2 - 2.0 * 0.055_73).abs() < 1e-5 && club.assumed);
    }
}
