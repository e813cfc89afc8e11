//! Landmarks in plain words for the people who read a report, in the golfer frame: left is lead there.
//! Identifiers stay in `landmark`; what a sentence says is up to the metric.

use crate::handed::Handed;
use crate::landmark::Landmark as L;

/// What stands before a list of identifiers in a reason that nothing was measured.
const NOT_MARKED: &str = "not marked: ";

/// Markers that are put on together, and the words for all of them.
const SETS: [(&[L], &str); 8] = [
    (
        &[L::LeftAsis, L::RightAsis, L::LeftPsis, L::RightPsis],
        "the pelvis (front and back, both sides)",
    ),
    (
        &[L::C7, L::T8, L::SternalNotch, L::Xiphoid],
        "the chest and back (neck, middle of the back, both ends of the breastbone)",
    ),
    (
        &[L::HeadFront, L::HeadLeft, L::HeadRight],
        "the head (forehead and both sides)",
    ),
    (
        &[L::ClubHeadHeel, L::ClubHeadToe, L::ClubHeadBack],
        "the club head (heel, toe and back)",
    ),
    (
        &[L::ClubHeadHeel, L::ClubHeadToe],
        "the club head (heel and toe)",
    ),
    (&[L::LeftHeel, L::RightHeel], "both heels"),
    (&[L::LeftAcromion, L::RightAcromion], "both shoulders"),
    (
        &[L::LeftRadialStyloid, L::LeftUlnarStyloid],
        "the lead wrist (thumb and little finger side)",
    ),
];

/// One landmark of the golfer frame.
#[must_use]
pub fn place(landmark: L) -> String {
    let middle = match landmark {
        L::C7 => "back of the neck",
        L::T8 => "middle of the back",
        L::SternalNotch => "upper end of the breastbone",
        L::Xiphoid => "lower end of the breastbone",
        L::MidShoulder => "middle of the shoulders",
        L::HeadFront => "forehead",
        L::HeadLeft => "head, lead side",
        L::HeadRight => "head, trail side",
        L::ClubButt => "butt of the club",
        L::ClubGripA | L::ClubGripB => "grip of the club",
        L::ClubShaftMid => "middle of the shaft",
        L::ClubShaftLow => "lower shaft",
        L::ClubHeadHeel => "heel of the club head",
        L::ClubHeadToe => "toe of the club head",
        L::ClubHeadBack => "back of the club head",
        _ => "",
    };
    if !middle.is_empty() {
        return middle.to_owned();
    }
    let (side, part) = match landmark.name().split_once('_') {
        Some(("left", part)) => ("lead", part),
        Some(("right", part)) => ("trail", part),
        _ => return landmark.name().replace('_', " "),
    };
    match part {
        "asis" => format!("front of the pelvis, {side} side"),
        "psis" => format!("back of the pelvis, {side} side"),
        "acromion" => format!("{side} shoulder"),
        "radial_styloid" => format!("{side} wrist, thumb side"),
        "ulnar_styloid" => format!("{side} wrist, little finger side"),
        "toe" => format!("{side} foot, toes"),
        "knee_medial" | "ankle_medial" | "elbow_medial" => {
            format!("{side} {}, inner side", part.trim_end_matches("_medial"))
        }
        part => format!("{side} {part}"),
    }
}

/// A landmark as a source names it, in the words of this golfer.
#[must_use]
pub fn of_golfer(landmark: L, handed: Handed) -> String {
    place(match handed {
        Handed::Right => landmark,
        Handed::Left => landmark.opposite(),
    })
}

/// Several landmarks: whole sets by their name, the rest one by one.
#[must_use]
pub fn places(landmarks: &[L]) -> String {
    let mut rest = landmarks.to_vec();
    let mut words: Vec<String> = Vec::new();
    for (set, name) in SETS {
        if set.iter().all(|l| rest.contains(l)) {
            rest.retain(|l| !set.contains(l));
            words.push(name.to_owned());
        }
    }
    words.extend(rest.iter().map(|l| place(*l)));
    words.join("; ")
}

/// A reason with the identifiers in it said in words: `not marked: left_knee` becomes what to do.
#[must_use]
pub fn in_words(reason: &str) -> String {
    if let Some(names) = reason.strip_prefix(NOT_MARKED) {
        let (listed, or) = match names.find(" (") {
            Some(at) => names.split_at(at),
            None => (names, ""),
        };
        let found: Option<Vec<L>> = listed
            .split([',', ' '])
            .filter(|n| !n.is_empty() && *n != "and")
            .map(L::from_name)
            .collect();
        return match found {
            Some(found) => format!("needs markers on: {}{or}", places(&found)),
            None => format!("needs markers on: {names}"),
        };
    }
    let words = reason.split(' ').map(|word| {
        let name = word.trim_end_matches([',', ':', ';', '.']);
        match L::from_name(name) {
            Some(l) => format!("{}{}", place(l), &word[name.len()..]),
            None => word.to_owned(),
        }
    });
    words.collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// No identifier reaches a reader: each landmark has words of its own.
    #[test]
    fn every_landmark_has_words() {
        for &l in L::ALL {
            let words = place(l);
            assert!(!words.contains('_') && words.len() > 3, "{words}");
            assert!(
                !words.contains("left") && !words.contains("right"),
                "{words}"
            );
            let same = L::ALL.iter().filter(|o| place(**o) == words).count();
            assert!(same == 1 || words == "grip of the club", "{words}");
        }
        assert_eq!(of_golfer(L::LeftKnee, Handed::Left), "trail knee");
    }

    #[test]
    fn a_reason_says_what_to_mark() {
        assert_eq!(
            in_words("not marked: left_asis, right_asis, left_psis, right_psis, left_heel"),
            "needs markers on: the pelvis (front and back, both sides); lead heel"
        );
        assert_eq!(
            in_words("not marked: the knees"),
            "needs markers on: the knees"
        );
        assert_eq!(
            in_words("not marked: left_asis (or two hip points)"),
            "needs markers on: front of the pelvis, lead side (or two hip points)"
        );
        assert_eq!(in_words("never seen: left_heel"), "never seen: lead heel");
        assert_eq!(in_words("the swing is too short"), "the swing is too short");
    }
}
