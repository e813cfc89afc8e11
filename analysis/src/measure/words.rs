//! Plain sentences about how a swing was measured.

use super::Prepared;
use crate::body::cluster::Fault;
use crate::handed::Handed;
use crate::places;
use crate::swing::event::Event;
use crate::swing::found::Extent;
use crate::swing::impact::Method;
use crate::swing::kind::CLEAR_OF_BALL_M;

/// Share of the swing for which a marker is hidden before a word is lost on it, and how many are named.
const HIDDEN_WORTH_A_WORD: f64 = 0.10;
const HIDDEN_TOLD: usize = 3;

/// A trigger's pulse this far from impact is worth a word, seconds: a microphone at two metres and less
/// is not.
const PULSE_APART_S: f64 = 0.006;

pub(super) fn notes(prepared: &Prepared) -> Vec<String> {
    let impact = &prepared.swing.impact;
    let seen = prepared.swing.slots.get(Event::Impact).is_some();
    let place = match impact.method {
        Method::SpeedStep => None,
        Method::BallPlane => Some("the face reached the ball's place"),
        Method::AddressPlane => Some("the head passed its place at address"),
        Method::Trigger => Some("a trigger noticed it"),
        Method::Fastest => Some("neither ball nor address is known, the fastest instant stands in"),
    };
    let arms = matches!(prepared.swing.extent, Extent::Arms | Extent::SmallArms);
    let method = match (place, impact.loss) {
        _ if arms && !seen => "Impact: the club is not marked.".to_owned(),
        _ if !seen => "Impact: the club was hidden there.".to_owned(),
        (Some(place), _) if impact.method == Method::Trigger => format!("Impact: {place}."),
        (Some(place), _) if impact.cut => {
            format!("Impact: {place}; the club was hidden too much to tell whether a ball was met.")
        }
        (Some(place), _) => format!("Impact: {place}; no loss of speed shows a ball met."),
        (None, loss) => {
            format!(
                "Impact: the head lost {:.0} % of its speed within a frame.",
                100.0 * loss.unwrap_or(0.0)
            )
        }
    };
    let small = match prepared.swing.extent {
        Extent::Partial => Some(
            "A small stroke: the shaft was not level both going back and coming down.".to_owned(),
        ),
        Extent::SmallArms => Some("A small stroke: the lead arm was never level.".to_owned()),
        Extent::Full | Extent::Arms => None,
    };
    let over = prepared.paths.upside_down;
    let over =
        over.then(|| "The club was held upside down: nothing is told of its head.".to_owned());
    let clear = impact
        .clearance_m
        .filter(|c| *c > CLEAR_OF_BALL_M)
        .map(|c| {
            format!(
                "The head passed {:.0} cm above its place at address.",
                100.0 * c
            )
        });
    let apart = impact
        .disagreement_s
        .filter(|s| s.abs() > 0.003)
        .map(|s| format!("The loss of speed lies {:.1} ms from the passing of the ball's place: check the ball position.", 1e3 * s));
    let late = impact.pulse_late_s.filter(|s| s.abs() > PULSE_APART_S);
    let trigger = late.map(|s| {
        let (ms, word) = (1e3 * s.abs(), if s > 0.0 { "after" } else { "before" });
        format!("The trigger went off {ms:.1} ms {word} impact: check its place and its clock.")
    });
    let said = std::iter::once(method)
        .chain(small)
        .chain(over)
        .chain(clear)
        .chain(apart);
    said.chain(trigger).collect()
}

/// One sentence a pair of exchanged markers, told by the first of the two.
pub(super) fn exchange_note(fault: &Fault, handed: Handed) -> Option<String> {
    let with = fault.with.filter(|with| fault.landmark < *with)?;
    let [a, b] = [fault.landmark, with].map(|l| places::of_golfer(l, handed));
    Some(format!(
        "Two markers had exchanged their labels in {} frames and were put right: {a}, {b}.",
        fault.exchanged
    ))
}

/// Which markers were hidden for long between address and impact, the worst first.
pub(super) fn hidden_note(faults: &[Fault], frames: usize, handed: Handed) -> Option<String> {
    let mut worst: Vec<&Fault> = faults
        .iter()
        .filter(|f| f.missing as f64 > HIDDEN_WORTH_A_WORD * frames as f64)
        .collect();
    worst.sort_by(|a, b| b.missing.cmp(&a.missing).then(a.landmark.cmp(&b.landmark)));
    let more = worst.len().saturating_sub(HIDDEN_TOLD);
    let told: Vec<String> = worst
        .iter()
        .take(HIDDEN_TOLD)
        .map(|f| {
            let percent = (100 * f.missing / frames.max(1)).min(100);
            let place = places::of_golfer(f.landmark, handed);
            format!("{place} ({percent} % of the swing)")
        })
        .collect();
    let rest = if more > 0 {
        format!("; {more} more")
    } else {
        String::new()
    };
    (!told.is_empty()).then(|| {
        format!(
            "Hidden markers: {}{rest}. Free the cameras' view of them.",
            told.join("; ")
        )
    })
}
