//! Where the club's head stands: the ball's place, or a second place on the target line, read off the last
//! second of frames, and the lines that tell it to a marker map. Goes the way of every datagram: decoder,
//! analyzer. What the analysis does with a ball's place is in `analysis::swing`.

use analysis::analyzer::{Analyzer, Content, Input, Output};
use analysis::context::Context;
use analysis::frame::MarkerLayout;
use analysis::landmark::Landmark;
use nalgebra::{Point3, Vector3};
use protocol::rig::Placed;

use crate::decode::Decoder;
use crate::map::MarkerMap;
use crate::offline::{self, REORDER_NS};
use crate::outgoing::rounded;

/// The stretch that is read, nanoseconds.
const SPAN_NS: i64 = 1_000_000_000;
/// Frames in it at least; own choice.
const FRAMES_MIN: usize = 20;
/// A head that rests moves less, metres (markers of 0.5 mm of noise leave 0.4; own choice).
const REST_M: f64 = 0.002;
/// A head higher than this stands on nothing, metres; own choice.
const HIGH_M: f64 = 0.15;
/// Both places of a line lie this far apart at least, metres: 1 mm is then 0.1 degrees.
const APART_M: f64 = 0.5;
/// Radius of a ball, metres (Rules of Golf, equipment rules: diameter at least 42.67 mm).
const RADIUS_M: f64 = 0.021_335;
const HOW: &str = "Put these lines under [frame] in the file of the marker map that bay.toml names under [markers], and start the bay anew.";

/// The face at rest, and what the sender's axes are.
struct Rests {
    face: Point3<f64>,
    scatter_m: f64,
    layout: MarkerLayout,
}

/// Reads the place of the head from datagrams with their arrivals: of the ball, or, where the ball's center is
/// known (bay axes, metres), of a second point on the target line.
///
/// # Errors
/// Says in words why there is none and what to do.
pub(super) fn read<'a>(
    arrivals: impl Iterator<Item = (u64, &'a [u8])>,
    map: &MarkerMap,
    ball: Option<[f64; 3]>,
) -> Result<Placed, String> {
    let rests = rests(arrivals, map)?;
    let here = Point3::new(rests.face.x + RADIUS_M, RADIUS_M, rests.face.z);
    let first = match ball.map(Point3::from) {
        Some(first) if first.iter().all(|v| v.is_finite()) => Some(first),
        Some(_) => return Err("the ball's place is no number".into()),
        None => None,
    };
    let ball = first.unwrap_or(here);
    let told = rests.layout.ball_center;
    let line = first.map(|first| line(&first, &here)).transpose()?;
    let ball_off_mm = told.map(|told| rounded(1e3 * (ball.x - told.x), 1e1));
    Ok(Placed {
        face: metres(&rests.face),
        scatter_mm: rounded(1e3 * rests.scatter_m, 1e2),
        ball: metres(&ball),
        told_ball: told.map(|p| metres(&p)),
        ball_off_mm,
        line_off_deg: line.map(|d| rounded((-d.z).atan2(d.x).to_degrees(), 1e2)),
        lines: lines(&ball, line, &rests.layout),
        words: words(ball_off_mm, line),
    })
}

fn rests<'a>(
    arrivals: impl Iterator<Item = (u64, &'a [u8])>,
    map: &MarkerMap,
) -> Result<Rests, String> {
    let mut decoder = Decoder::new(map.clone());
    let mut analyzer = Analyzer::new(offline::told(&decoder, Context::default()), REORDER_NS);
    let (mut outputs, mut layout) = (Vec::new(), None);
    let mut path: Vec<(i64, Option<Point3<f64>>)> = Vec::new();
    for (received_ns, bytes) in arrivals {
        let Some(input) = decoder.decode(bytes, received_ns) else {
            continue;
        };
        if let Input::Datagram {
            content: Content::Layout(told),
            ..
        } = &input
        {
            layout = Some((**told).clone());
        }
        analyzer.push(input, &mut outputs);
        for output in outputs.drain(..) {
            if let Output::Pose(frame) = output {
                let at = |landmark| {
                    let n = analyzer.landmarks().binary_search(&landmark).ok()?;
                    frame.points.get(n).copied().flatten()
                };
                let ends = at(Landmark::ClubHeadHeel).zip(at(Landmark::ClubHeadToe));
                let face = ends.map(|(heel, toe)| nalgebra::center(&heel, &toe));
                // A sender that began anew counts from another time.
                if path.last().is_some_and(|(t, _)| frame.time_ns <= *t) {
                    path.clear();
                }
                path.push((frame.time_ns, face));
            }
        }
    }
    let (Some(layout), Some(&(newest_ns, _))) = (layout, path.last()) else {
        return Err("no frame of markers came: start the capture system".into());
    };
    let recent = path
        .iter()
        .filter(|(t, _)| newest_ns.saturating_sub(*t) < SPAN_NS);
    let frames = recent.clone().count();
    let faces: Vec<Point3<f64>> = recent.filter_map(|(_, face)| *face).collect();
    if faces.len() < FRAMES_MIN || 2 * faces.len() < frames {
        return Err("heel and toe marker of the club's head are not both seen: turn the head so that the cameras see them".into());
    }
    let n = faces.len() as f64;
    let face = Point3::from(faces.iter().map(|p| p.coords).sum::<Vector3<f64>>() / n);
    let squares: f64 = faces.iter().map(|p| (p - face).norm_squared()).sum();
    let scatter_m = (squares / n).sqrt();
    if scatter_m > REST_M {
        return Err(format!(
            "the club's head moved by {:.1} mm (limit {:.0}): let it stand still for two seconds",
            1e3 * scatter_m,
            1e3 * REST_M
        ));
    }
    if face.y.abs() > HIGH_M {
        return Err(format!(
            "the club's head is {:.0} cm above the floor: put it down on the ball's place",
            1e2 * face.y
        ));
    }
    Ok(Rests {
        face,
        scatter_m,
        layout,
    })
}

/// The direction from one place to the other along the floor.
fn line(from: &Point3<f64>, to: &Point3<f64>) -> Result<Vector3<f64>, String> {
    let way = Vector3::new(to.x - from.x, 0.0, to.z - from.z);
    let length = way.norm();
    if length < APART_M {
        return Err(format!(
            "both places lie {:.0} cm apart: put the head down at least {:.0} cm nearer to the target",
            1e2 * length,
            1e2 * APART_M
        ));
    }
    Ok(way / length)
}

/// What a marker map says of it. A turned target line turns the axes in which the ball's place is told.
fn lines(ball: &Point3<f64>, line: Option<Vector3<f64>>, layout: &MarkerLayout) -> String {
    let list = |v: [f64; 3]| format!("[{:.4}, {:.4}, {:.4}]", v[0] + 0.0, v[1] + 0.0, v[2] + 0.0);
    let Some(target) = line else {
        return format!("ball = {}", list([ball.x, ball.y, ball.z]));
    };
    let up = Vector3::y();
    let back = layout.bay_from_source.rotation.transpose();
    let across = target.cross(&up);
    let turned = [target.dot(&ball.coords), ball.y, across.dot(&ball.coords)];
    format!(
        "up = {}\ntarget = {}\nball = {}",
        list((back * up).into()),
        list((back * target).into()),
        list(turned)
    )
}

fn words(ball_off_mm: Option<f64>, line: Option<Vector3<f64>>) -> String {
    let ball = match ball_off_mm {
        Some(off) => format!(
            "The ball lies {:.0} mm {} than the analysis takes it to be along the target line.",
            off.abs(),
            if off < 0.0 {
                "farther from the target"
            } else {
                "nearer to the target"
            }
        ),
        None => {
            "The analysis knows no place of the ball and takes the head's place at address.".into()
        }
    };
    let line = line.map_or_else(String::new, |d| {
        let off = (-d.z).atan2(d.x).to_degrees();
        let side = if off < 0.0 { "right" } else { "left" };
        format!(" The line over both places is {:.1} degrees to the {side} of the analysis' target line.", off.abs())
    });
    format!("{ball}{line} {HOW}")
}

fn metres(p: &Point3<f64>) -> [f64; 3] {
    [p.x, p.y, p.z].map(|v| rounded(v, 1e4))
}
