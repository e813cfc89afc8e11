//! Best rigid (or scaled) placement of a marker cluster: singular-value fit.
//!
//! Söderkvist & Wedin 1993, J Biomech 26:1473–1477, with the determinant guard that keeps a nearly
//! flat cluster from being reflected; scale by Umeyama 1991, IEEE PAMI 13:376–380.

use nalgebra::{Matrix3, Point3, Vector3};

/// A placement: `measured ≈ scale · rotation · model + translation`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Rotation from the model's frame to the measured one.
    pub rotation: Matrix3<f64>,
    /// Scale (1 for a rigid fit).
    pub scale: f64,
    /// Translation, metres.
    pub translation: Vector3<f64>,
    /// Second ÷ first singular value: 0 for collinear markers, whose roll is not determined.
    pub spread: f64,
}

/// Whether the cluster may change its size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// Rigid: scale 1.
    Fixed,
    /// Scale is fitted (sources that strobe their markers in turn shrink a fast club).
    Free,
}

impl Fit {
    /// The measured position of a model point.
    #[must_use]
    pub fn place(&self, model: Point3<f64>) -> Point3<f64> {
        Point3::from(self.rotation * model.coords * self.scale + self.translation)
    }
}

/// Fits a cluster to what was measured; pairs of (model, measured), metres. `None` for fewer than
/// three markers or a degenerate cluster (all in one point).
#[must_use]
pub fn fit(pairs: &[(Point3<f64>, Point3<f64>)], size: Size) -> Option<Fit> {
    if pairs.len() < 3 {
        return None;
    }
    let n = pairs.len() as f64;
    let model_mean = pairs.iter().map(|p| p.0.coords).sum::<Vector3<f64>>() / n;
    let measured_mean = pairs.iter().map(|p| p.1.coords).sum::<Vector3<f64>>() / n;
    let mut covariance = Matrix3::zeros();
    let mut model_square = 0.0;
    for (model, measured) in pairs {
        let a = model.coords - model_mean;
        covariance += (measured.coords - measured_mean) * a.transpose();
        model_square += a.norm_squared();
    }
    let svd = covariance.svd(true, true);
    let (u, vt) = (svd.u?, svd.v_t?);
    let [s1, s2, s3] = [
        svd.singular_values[0],
        svd.singular_values[1],
        svd.singular_values[2],
    ];
    if s1 <= 0.0 || model_square <= 0.0 {
        return None;
    }
    let sign = (u * vt).determinant().signum();
    let rotation = u * Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, sign)) * vt;
    let scale = match size {
        Size::Fixed => 1.0,
        Size::Free => (s1 + s2 + sign * s3) / model_square,
    };
    let translation = measured_mean - rotation * model_mean * scale;
    Some(Fit {
        rotation,
        scale,
        translation,
        spread: s2 / s1,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Rotation3;

    fn cluster() -> Vec<Point3<f64>> {
        [
            [0.0, 0.0, 0.0],
            [0.2, 0.01, 0.0],
            [0.05, 0.15, 0.02],
            [-0.1, 0.05, 0.12],
        ]
        .map(Point3::from)
        .to_vec()
    }

    /// A rigid motion is found exactly (mathematics, no source needed).
    #[test]
    fn a_rigid_motion_is_recovered() {
        let r = Rotation3::from_euler_angles(0.4, -1.1, 2.0);
        let t = Vector3::new(1.0, 2.0, -3.0);
        let pairs: Vec<_> = cluster().iter().map(|&p| (p, r * p + t)).collect();
        let f = fit(&pairs, Size::Free).unwrap();
        assert!((f.rotation - r.matrix()).norm() < 1e-12);
        assert!((f.scale - 1.0).abs() < 1e-12);
        assert!(
            (f.place(Point3::new(1.0, 1.0, 1.0)) - (r * Point3::new(1.0, 1.0, 1.0) + t)).norm()
                < 1e-12
        );
    }

    #[test]
    fn a_flat_cluster_is_not_reflected() {
        let r = Rotation3::from_euler_angles(3.0, 0.2, -2.5);
        let pairs: Vec<_> = cluster()[..3].iter().map(|&p| (p, r * p)).collect();
        let f = fit(&pairs, Size::Fixed).unwrap();
        assert!((f.rotation.determinant() - 1.0).abs() < 1e-12);
        assert!((f.rotation - r.matrix()).norm() < 1e-9);
    }

    #[test]
    fn too_little_gives_nothing() {
        let p = Point3::origin();
        assert!(fit(&[(p, p), (p, p)], Size::Fixed).is_none());
        assert!(fit(&[(p, p); 4], Size::Fixed).is_none());
    }
}
