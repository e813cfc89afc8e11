//! Force plates as the FORCE_PLATFORM group describes them: where they lie and which analog
//! channels are theirs. Forces are computed elsewhere.

use super::parameter::Parameters;

/// One force plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    /// FORCE_PLATFORM:TYPE. 1: Fx Fy Fz Px Py Tz. 2: Fx Fy Fz Mx My Mz. 3: Fx12 Fx34 Fy14 Fy23
    /// Fz1 Fz2 Fz3 Fz4. 4: as 2, to be multiplied by `cal_matrix`. Others are not of the standard.
    pub kind: u8,
    /// Corners in the file's axes and units, in the plate's quadrants (+x,+y), (−x,+y), (−x,−y),
    /// (+x,−y).
    pub corners: [[f64; 3]; 4],
    /// Types 2 and 4: from the sensor's origin to the middle of the top surface, in plate axes and
    /// file units. Type 3: half distances of the sensors and their depth. As written: files with a
    /// positive third value have the sign wrong.
    pub origin: [f64; 3],
    /// Places in [`super::Analog::channels`] (0-based, all present) in the order of the type.
    pub channels: Vec<usize>,
    /// Type 4: `corrected[row] = Σ cal_matrix[row][column] · channel[column]`.
    pub cal_matrix: Option<[[f64; 6]; 6]>,
}

/// How many channels a plate of this type has; `None` when the standard does not say.
pub(super) fn channel_count(kind: u8) -> Option<usize> {
    match kind {
        1 | 2 | 4 => Some(6),
        3 => Some(8),
        _ => None,
    }
}

/// The plates that are described completely. What is missing from the others goes to `warnings`.
pub(super) fn plates(
    parameters: &Parameters,
    channels: usize,
    warnings: &mut Vec<String>,
) -> Vec<Plate> {
    let used = parameters
        .get("FORCE_PLATFORM", "USED")
        .and_then(|p| p.count(0))
        .unwrap_or(0);
    // One byte a dimension: no file can describe more than 255.
    let mut plates = Vec::new();
    for index in 0..used.min(255) {
        match plate(parameters, index, channels) {
            Ok(plate) => {
                if channel_count(plate.kind).is_none() {
                    warnings.push(format!(
                        "force plate {} has unknown type {}",
                        index + 1,
                        plate.kind
                    ));
                }
                plates.push(plate);
            }
            Err(problem) => warnings.push(format!("force plate {} left out: {problem}", index + 1)),
        }
    }
    plates
}

fn plate(parameters: &Parameters, index: usize, channels: usize) -> Result<Plate, String> {
    let kind = parameters
        .get("FORCE_PLATFORM", "TYPE")
        .and_then(|p| p.count(index));
    let kind = kind
        .and_then(|k| u8::try_from(k).ok())
        .ok_or_else(|| "FORCE_PLATFORM:TYPE is missing or no number".to_owned())?;
    let corners = numbers::<12>(parameters, "CORNERS", index)?;
    let origin = numbers::<3>(parameters, "ORIGIN", index)?;
    let cal_matrix = match kind {
        4 => Some(by_rows(numbers::<36>(parameters, "CAL_MATRIX", index)?)),
        _ => None,
    };
    Ok(Plate {
        kind,
        corners: std::array::from_fn(|c| std::array::from_fn(|axis| corners[3 * c + axis])),
        origin,
        channels: plate_channels(parameters, index, kind, channels)?,
        cal_matrix,
    })
}

/// The `N` numbers of plate `index` in an array whose last dimension counts plates.
fn numbers<const N: usize>(
    parameters: &Parameters,
    name: &str,
    index: usize,
) -> Result<[f64; N], String> {
    let parameter = parameters.get("FORCE_PLATFORM", name);
    let mut values = [0.0; N];
    for (i, value) in values.iter_mut().enumerate() {
        *value = parameter
            .and_then(|p| p.signed(index * N + i))
            .ok_or_else(|| format!("FORCE_PLATFORM:{name} needs {N} numbers a plate"))?;
    }
    Ok(values)
}

/// The standard stores the matrix column by column.
fn by_rows(stored: [f64; 36]) -> [[f64; 6]; 6] {
    std::array::from_fn(|row| std::array::from_fn(|column| stored[6 * column + row]))
}

fn plate_channels(
    parameters: &Parameters,
    index: usize,
    kind: u8,
    channels: usize,
) -> Result<Vec<usize>, String> {
    let parameter = parameters
        .get("FORCE_PLATFORM", "CHANNEL")
        .ok_or_else(|| "FORCE_PLATFORM:CHANNEL is missing".to_owned())?;
    // Mixed types share one array: the plates with fewer channels are padded with zeros.
    let width = usize::from(parameter.dims.first().copied().unwrap_or(0));
    let stored = (0..width)
        .map_while(|i| parameter.count(index * width + i))
        .filter(|c| *c > 0);
    let wanted = channel_count(kind).unwrap_or(width);
    let own: Vec<usize> = stored.take(wanted).map(|c| c - 1).collect();
    if channel_count(kind).is_some_and(|n| own.len() < n) {
        return Err(format!(
            "FORCE_PLATFORM:CHANNEL names {} of {wanted} channels",
            own.len()
        ));
    }
    match own.iter().find(|c| **c >= channels) {
        Some(c) => Err(format!(
            "FORCE_PLATFORM:CHANNEL names channel {} of {channels}",
            c + 1
        )),
        None => Ok(own),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::c3d::parameter::{Data, Group, Parameter};

    /// A type 3 and a type 4 plate sharing eight-row arrays, USED a real (as some programs write).
    fn group() -> Parameters {
        let reals = |n: u8| Data::Reals((0..n).map(f32::from).collect());
        let channel = vec![1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 0, 0];
        let parameters = vec![
            Parameter::new("USED", &[], Data::Reals(vec![2.0])),
            Parameter::new("TYPE", &[2], Data::Integers(vec![3, 4])),
            Parameter::new("CORNERS", &[3, 4, 2], reals(24)),
            Parameter::new("ORIGIN", &[3, 2], reals(6)),
            Parameter::new("CHANNEL", &[8, 2], Data::Integers(channel)),
            Parameter::new("CAL_MATRIX", &[6, 6, 2], reals(72)),
        ];
        let name = "FORCE_PLATFORM".into();
        Parameters {
            groups: vec![Group {
                name,
                parameters,
                ..Group::default()
            }],
        }
    }

    #[test]
    fn mixed_types_share_arrays() {
        let mut warnings = Vec::new();
        let found = plates(&group(), 14, &mut warnings);
        assert_eq!(warnings, Vec::<String>::new());
        assert_eq!(found[0].channels, [0, 1, 2, 3, 4, 5, 6, 7]);
        assert_eq!(found[0].cal_matrix, None);
        assert_eq!(found[1].channels, [8, 9, 10, 11, 12, 13]);
        assert_eq!(format!("{:?}", found[1].corners[1]), "[15.0, 16.0, 17.0]");
        assert_eq!(format!("{:?}", found[1].origin), "[3.0, 4.0, 5.0]");
        let matrix = found[1].cal_matrix.unwrap();
        assert_eq!(
            (matrix[0][0], matrix[5][0], matrix[0][1]),
            (36.0, 41.0, 42.0),
            "column order"
        );
    }

    #[test]
    fn a_plate_with_too_few_channels_is_left_out_and_named() {
        let mut warnings = Vec::new();
        assert_eq!(plates(&group(), 13, &mut warnings).len(), 1);
        assert_eq!(
            warnings,
            ["force plate 2 left out: FORCE_PLATFORM:CHANNEL names channel 14 of 13"]
        );
    }
}
