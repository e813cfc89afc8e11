//! A lesson for a display in the hall: everything that is measured, and nothing that says who it is or what
//! somebody suffers from.

use protocol::lesson::{Lesson, Seat, Student};

/// What stands where the words are about the person.
const SPARED: &str = "as agreed with the coach";

/// The same lesson without names, sizes, years, and words about health.
pub(super) fn anonymous(lesson: &Lesson) -> Lesson {
    let mut hidden = lesson.clone();
    for seat in [&mut hidden.seat, &mut hidden.waiting] {
        *seat = seat.take().map(|seat| Seat {
            student: seat.student.as_ref().map(label),
            ..seat
        });
    }
    hidden.load.advice = None;
    hidden.limits.clear();
    for focus in hidden.focus.iter_mut().chain(&mut hidden.speed) {
        if focus.spared.is_some() {
            focus.spared = Some(SPARED.into());
        }
        if let Some(band) = &mut focus.band {
            band.who = None;
        }
    }
    // Why a leak that is there has nothing to try, and what a limit says.
    for leak in &mut hidden.leaks {
        if matches!(leak.status.as_str(), "present" | "spared") && leak.why.is_some() {
            leak.why = Some(SPARED.into());
        }
    }
    for shot in &mut hidden.shots {
        // That something was told calms the screen; what it was is nobody's business.
        shot.pain = shot.pain.take().map(|_| "told".into());
        shot.fatigue = shot.fatigue.take().map(|_| "told".into());
        shot.excluded = shot.excluded.take().map(|_| "not counted".into());
        shot.tags.clear();
    }
    hidden
}

/// A student by a piece of the pseudonym; the side shows in the swing anyway.
fn label(student: &Student) -> Student {
    let end = student.id.len().saturating_sub(4);
    let short = student.id.get(end..).unwrap_or_default();
    Student {
        id: String::new(),
        name: format!("Student {short}"),
        side: student.side.clone(),
        ..Student::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_of_the_person_is_left() {
        // The example of the screens' tests names every field.
        let seat = Seat {
            mode: "student".into(),
            session: Some("session".into()),
            student: Some(Student {
                id: "s-0123456789".into(),
                name: "Canary".into(),
                side: Some("left".into()),
                sex: Some("female".into()),
                height_m: Some(1.777),
                mass_kg: Some(77.7),
                born: 1977,
            }),
            club: None,
            since_utc_ns: 0,
        };
        let lesson = Lesson {
            bay: "north".into(),
            recording: "recorded".into(),
            seat: Some(seat.clone()),
            waiting: Some(seat),
            calibration: None,
            club_length: None,
            block: None,
            blocks: Vec::new(),
            feedback: true,
            focus: Vec::new(),
            speed: None,
            shots: Vec::new(),
            leaks: vec![
                serde_json::from_value(serde_json::json!({
                    "id": "wrong_way_first", "name": "wrong way first", "status": "spared",
                    "why": "the back: Canary", "sentence": "", "speed": "", "shots": 3, "judged": 4,
                    "direction": null, "severity": 1.0, "shown": true, "source": "", "evidence": [],
                    "slope": null, "suggestion": null,
                }))
                .unwrap(),
            ],
            budget: Vec::new(),
            limits: vec!["Canary: back".into()],
            load: protocol::lesson::Load::default(),
            sentence: None,
            cautions: Vec::new(),
        };
        let text = |lesson: &Lesson| serde_json::to_string(lesson).unwrap();
        let (before, after) = (text(&lesson), text(&anonymous(&lesson)));
        for canary in ["Canary", "s-0123456789", "1.777", "77.7", "1977", "female"] {
            assert!(
                before.contains(canary) && !after.contains(canary),
                "{canary}"
            );
        }
        assert!(!after.contains("the back"), "{after}");
        assert!(after.contains("Student 6789") && after.contains("left"));
    }
}
