//! A calibration as plain numbers in a context file: the `[calibration]` table. Metres throughout,
//! frames as in `analysis::body::calibration`, every number written so that it is read back exactly.
//! Where the numbers come from is not here.

use analysis::body::calibration::{
    Calibration, HEAD, Lengths, Origin, PELVIS, Place, Shape, THORAX,
};
use analysis::landmark::Landmark;
use nalgebra::{Matrix3, Point3, Vector3};
use serde::{Deserialize, Serialize};

/// No marker or joint center is farther than this from the origin of its segment, metres.
const FAR_M: f64 = 1.0;

/// The whole table.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Table {
    origin: Word,
    pelvis: Option<PelvisMarkers>,
    thorax: Option<ThoraxMarkers>,
    head: Option<HeadMarkers>,
    hips: Option<Sides<Spot>>,
    knees: Sides<Spot>,
    ankles: Sides<Spot>,
    elbows: Sides<Width>,
    lengths: Option<Limbs>,
}

/// Lengths of limbs; what is not there was not seen.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Limbs {
    thighs: Sides<Option<f64>>,
    shanks: Sides<Option<f64>>,
    forearms: Sides<Option<f64>>,
}

#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Word {
    Address,
    Posture,
    Movement,
}

/// A struct of marker places and its way to and from a shape, in the order of the cluster.
macro_rules! markers {
    ($name:ident, $cluster:expr, $($field:ident),*) => {
        #[derive(Debug, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        struct $name { $($field: [f64; 3],)* }

        impl $name {
            fn of(shape: &Shape) -> Option<Self> {
                let place = |name: &str| {
                    let at = shape.landmarks.iter().position(|l| l.name() == name)?;
                    Some(shape.places.get(at)?.coords.into())
                };
                Some(Self { $($field: place(stringify!($field))?,)* })
            }

            fn shape(&self) -> Result<Shape, String> {
                let places = [$((stringify!($field), self.$field),)*];
                shape(&$cluster, &places)
            }
        }
    };
}

markers!(
    PelvisMarkers,
    PELVIS,
    left_asis,
    right_asis,
    left_psis,
    right_psis
);
markers!(ThoraxMarkers, THORAX, c7, t8, sternal_notch, xiphoid);
markers!(HeadMarkers, HEAD, head_front, head_left, head_right);

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Sides<T> {
    left: T,
    right: T,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Spot {
    at: [f64; 3],
    covariance: [[f64; 3]; 3],
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Width {
    half: f64,
    sd: f64,
}

impl Table {
    /// The table of a calibration.
    pub(super) fn of(calibration: &Calibration) -> Self {
        let spots = |[left, right]: &[Place; 2]| Sides {
            left: Spot::of(left),
            right: Spot::of(right),
        };
        let [left, right] = calibration.elbows.map(|(half, sd)| Width { half, sd });
        Self {
            origin: match calibration.origin {
                Origin::Address => Word::Address,
                Origin::Posture => Word::Posture,
                Origin::Movement => Word::Movement,
            },
            pelvis: calibration.pelvis.as_ref().and_then(PelvisMarkers::of),
            thorax: calibration.thorax.as_ref().and_then(ThoraxMarkers::of),
            head: calibration.head.as_ref().and_then(HeadMarkers::of),
            hips: calibration.hips.as_ref().map(spots),
            knees: spots(&calibration.knees),
            ankles: spots(&calibration.ankles),
            elbows: Sides { left, right },
            lengths: (calibration.lengths != Lengths::default())
                .then(|| Limbs::of(&calibration.lengths)),
        }
    }

    /// The calibration that the numbers say, if they can be a body's.
    pub(super) fn calibration(&self) -> Result<Calibration, String> {
        let pair = |name: &str, s: &Sides<Spot>| -> Result<[Place; 2], String> {
            Ok([
                s.left.place(&format!("{name}.left"))?,
                s.right.place(&format!("{name}.right"))?,
            ])
        };
        if self.hips.is_some() != self.pelvis.is_some() {
            return Err("`pelvis` and `hips` belong together: give both or neither".into());
        }
        Ok(Calibration {
            origin: match self.origin {
                Word::Address => Origin::Address,
                Word::Posture => Origin::Posture,
                Word::Movement => Origin::Movement,
            },
            pelvis: self.pelvis.as_ref().map(PelvisMarkers::shape).transpose()?,
            thorax: self.thorax.as_ref().map(ThoraxMarkers::shape).transpose()?,
            head: self.head.as_ref().map(HeadMarkers::shape).transpose()?,
            hips: self.hips.as_ref().map(|h| pair("hips", h)).transpose()?,
            knees: pair("knees", &self.knees)?,
            ankles: pair("ankles", &self.ankles)?,
            elbows: [
                self.elbows.left.pair("elbows.left")?,
                self.elbows.right.pair("elbows.right")?,
            ],
            shoulder: nalgebra::Vector3::zeros(),
            lengths: match &self.lengths {
                Some(limbs) => limbs.lengths()?,
                None => Lengths::default(),
            },
            rough: false,
        })
    }
}

impl Limbs {
    fn of(lengths: &Lengths) -> Self {
        let sides = |[left, right]: [Option<f64>; 2]| Sides { left, right };
        Self {
            thighs: sides(lengths.thighs),
            shanks: sides(lengths.shanks),
            forearms: sides(lengths.forearms),
        }
    }

    fn lengths(&self) -> Result<Lengths, String> {
        let pair = |name: &str, s: &Sides<Option<f64>>| {
            let pair = [s.left, s.right];
            match pair.iter().flatten().find(|m| !(0.0..FAR_M).contains(*m)) {
                Some(m) => Err(format!("`lengths.{name}` has {m}: metres are expected")),
                None => Ok(pair),
            }
        };
        Ok(Lengths {
            thighs: pair("thighs", &self.thighs)?,
            shanks: pair("shanks", &self.shanks)?,
            forearms: pair("forearms", &self.forearms)?,
        })
    }
}

impl Spot {
    fn of(place: &Place) -> Self {
        let row = |i: usize| [0, 1, 2].map(|j| place.covariance[(i, j)]);
        Self {
            at: place.at.into(),
            covariance: [row(0), row(1), row(2)],
        }
    }

    fn place(&self, name: &str) -> Result<Place, String> {
        let covariance = Matrix3::from_fn(|i, j| self.covariance[i][j]);
        let sound = (0..3).all(|i| {
            covariance[(i, i)] >= 0.0
                && (0..3).all(|j| {
                    let (v, t) = (covariance[(i, j)], covariance[(j, i)]);
                    (0.0..FAR_M).contains(&v.abs()) && (v - t).abs() <= 1e-9
                })
        });
        if !sound {
            return Err(format!(
                "`{name}.covariance` is no covariance in square metres"
            ));
        }
        Ok(Place {
            at: Vector3::from(near(name, self.at)?),
            covariance,
        })
    }
}

impl Width {
    fn pair(&self, name: &str) -> Result<(f64, f64), String> {
        let sound = (0.0..FAR_M).contains(&self.half) && (0.0..FAR_M).contains(&self.sd);
        sound.then_some((self.half, self.sd)).ok_or_else(|| {
            format!(
                "`{name}` is {} ± {}: metres are expected",
                self.half, self.sd
            )
        })
    }
}

fn shape(cluster: &[Landmark], named: &[(&str, [f64; 3])]) -> Result<Shape, String> {
    let mut places = Vec::with_capacity(cluster.len());
    for (name, at) in named {
        places.push(Point3::from(near(name, *at)?));
    }
    Ok(Shape {
        landmarks: cluster.to_vec(),
        places,
    })
}

fn near(name: &str, at: [f64; 3]) -> Result<[f64; 3], String> {
    let sound = at.iter().all(|v| (0.0..FAR_M).contains(&v.abs()));
    sound
        .then_some(at)
        .ok_or_else(|| format!("`{name}` is {at:?}: metres from the segment's origin are expected"))
}
