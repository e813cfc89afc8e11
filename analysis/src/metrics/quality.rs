//! How well the markers were seen and how stiff their clusters stayed, from address to impact.

use std::ops::RangeInclusive;

use nalgebra::Point3;

use super::catalogue::{
    CLUSTER_RESIDUAL_CLUB, CLUSTER_RESIDUAL_HEAD, CLUSTER_RESIDUAL_PELVIS, CLUSTER_RESIDUAL_THORAX,
    FRAME_LOSS_RATE, Family, GAP_LONGEST, MARKER_VISIBILITY,
};
use super::values::{Reader, Value, Values};
use crate::body::calibration::{HEAD, PELVIS, Shape, THORAX};
use crate::body::pose::{self, Size};
use crate::body::segments::Maybe;
use crate::landmark::Landmark;
use crate::measure::Prepared;
use crate::swing::event::Event;

pub(super) fn measure(prepared: &Prepared, reader: Reader<'_>, values: &mut Values) {
    let span = span(prepared, reader);
    let seen = &prepared.seen;
    let worst = span.clone().map(|span| {
        let shares = seen.iter().map(|s| {
            let count = span.clone().filter(|&i| s[i]).count();
            count as f64 / span.clone().count() as f64
        });
        shares.fold(1.0, f64::min)
    });
    values.set(&MARKER_VISIBILITY, worst);
    let gap = span.clone().map(|span| {
        let gaps = seen.iter().map(|s| longest_gap(&s[span.clone()]));
        gaps.max().unwrap_or(0) as f64 / prepared.window.rate_hz
    });
    values.set(&GAP_LONGEST, gap);
    let lost = span.clone().map(|span| {
        let came = &prepared.window.arrived[span];
        came.iter().filter(|came| !**came).count() as f64 / came.len().max(1) as f64
    });
    values.set(&FRAME_LOSS_RATE, lost);
    let calibration = &prepared.calibration;
    for (family, shape, markers) in [
        (&CLUSTER_RESIDUAL_PELVIS, &calibration.pelvis, &PELVIS[..]),
        (&CLUSTER_RESIDUAL_THORAX, &calibration.thorax, &THORAX[..]),
        (&CLUSTER_RESIDUAL_HEAD, &calibration.head, &HEAD[..]),
    ] {
        let shape = shape.as_ref().ok_or_else(|| lacking(prepared, markers));
        set(family, prepared, (&span, shape.cloned()), values);
    }
    set(
        &CLUSTER_RESIDUAL_CLUB,
        prepared,
        (&span, club(prepared, reader)),
        values,
    );
}

/// Why a cluster has no shape: which of its markers the set lacks, or that they were hidden.
fn lacking(prepared: &Prepared, markers: &[Landmark]) -> String {
    let absent: Vec<&str> = markers
        .iter()
        .filter(|l| !prepared.window.has(**l))
        .map(|l| l.name())
        .collect();
    if absent.is_empty() {
        return "its markers were never all seen at once".to_owned();
    }
    format!("not marked: {}", absent.join(", "))
}

fn set(
    family: &Family,
    prepared: &Prepared,
    (span, shape): (&Maybe<RangeInclusive<usize>>, Maybe<Shape>),
    values: &mut Values,
) {
    let value = span
        .clone()
        .and_then(|span| residual(prepared, &shape?, span));
    values.set(family, Value::from(value));
}

/// Slots from address to impact in which there is something to judge.
fn span(prepared: &Prepared, reader: Reader<'_>) -> Maybe<RangeInclusive<usize>> {
    if prepared.seen.is_empty() {
        return Err("not asked".to_owned());
    }
    let from = reader
        .slot(Event::Address)
        .or_else(|_none| reader.slot(Event::TakeawayEnd))?;
    Ok(from as usize..=prepared.swing.impact.before)
}

fn longest_gap(seen: &[bool]) -> usize {
    let runs = seen.split(|s| *s).map(<[bool]>::len);
    runs.max().unwrap_or(0)
}

/// The club's markers as they stood at address.
fn club(prepared: &Prepared, reader: Reader<'_>) -> Maybe<Shape> {
    let mut shape = Shape {
        landmarks: Vec::new(),
        places: Vec::new(),
    };
    let slot = reader.slot(Event::Address)? as usize;
    let window = &prepared.window;
    for (&landmark, track) in window.landmarks.iter().zip(&window.tracks) {
        if landmark.is_club()
            && let Some(point) = track[slot]
        {
            shape.landmarks.push(landmark);
            shape.places.push(point);
        }
    }
    Ok(shape)
}

/// Root mean square per coordinate of what a rigid placement leaves, metres (Soderkvist & Wedin
/// 1993), markers that were really seen only; free of the six numbers each placement takes.
fn residual(prepared: &Prepared, shape: &Shape, span: RangeInclusive<usize>) -> Maybe<f64> {
    let window = &prepared.window;
    let member = |(l, &place): (&Landmark, &Point3<f64>)| {
        let i = window.landmarks.iter().position(|w| w == l)?;
        Some((place, (&window.tracks[i], &prepared.seen[i])))
    };
    let members = shape.landmarks.iter().zip(&shape.places);
    let (places, tracks): (Vec<_>, Vec<_>) = members.filter_map(member).unzip();
    let at = |m: usize, slot: usize| tracks[m].0[slot].filter(|_| tracks[m].1[slot]);
    let all = |slot: &usize| tracks.iter().all(|t| t.1[*slot] && t.0[*slot].is_some());
    let (whole, parts): (Vec<usize>, Vec<usize>) = span.partition(all);
    let (mut square, mut freedom) = (0.0, 0.0);
    if places.len() >= 3 {
        let sure = |m: usize, slot: usize| tracks[m].0[slot].unwrap_or_default();
        for left in pose::left_each(&places, &whole, sure).into_iter().flatten() {
            square += left.sum_m2;
            freedom += 3.0 * places.len() as f64 - 6.0;
        }
    }
    for slot in parts {
        let pairs = places.iter().enumerate();
        let pairs: Vec<_> = pairs
            .filter_map(|(m, &p)| Some((p, at(m, slot)?)))
            .collect();
        if let Some(fit) = pose::fit(&pairs, Size::Fixed) {
            let left = pairs.iter().map(|p| (fit.place(p.0) - p.1).norm_squared());
            square += left.sum::<f64>();
            freedom += 3.0 * pairs.len() as f64 - 6.0;
        }
    }
    if freedom <= 0.0 {
        return Err("fewer than three of its markers were seen together".to_owned());
    }
    Ok((square / freedom).sqrt())
}
