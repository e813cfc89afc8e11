//! The chain of group and parameter records: values to Intel bytes. `record` has the form of a
//! record and the way back.

use super::error::WriteError;
use super::parameter::{Data, Group, Parameter};

/// The chain as Intel bytes, without the four bytes in front of it.
pub(super) fn encode(groups: &[Group]) -> Result<Vec<u8>, WriteError> {
    if groups.len() > 127 {
        let what = "parameter groups".to_owned();
        return Err(WriteError::TooMany {
            what,
            found: groups.len(),
            limit: 127,
        });
    }
    let mut out = Vec::new();
    let mut last_offset = 0;
    for (id, group) in (1_i8..).zip(groups) {
        last_offset = encode_record(
            &mut out,
            (-id, &group.name, group.locked),
            &group.description,
            |_| Ok(()),
        )?;
        for p in &group.parameters {
            let named = |problem| WriteError::Parameter {
                name: format!("{}:{}", group.name, p.name),
                problem,
            };
            last_offset =
                encode_record(&mut out, (id, &p.name, p.locked), &p.description, |out| {
                    encode_array(out, p).map_err(named)
                })?;
        }
    }
    if let Some(offset) = out.get_mut(last_offset..last_offset + 2) {
        offset.fill(0);
    }
    Ok(out)
}

/// Appends one record and returns where its offset stands.
fn encode_record(
    out: &mut Vec<u8>,
    (id, name, locked): (i8, &str, bool),
    description: &str,
    body: impl FnOnce(&mut Vec<u8>) -> Result<(), WriteError>,
) -> Result<usize, WriteError> {
    let bad = |problem| WriteError::Parameter {
        name: name.to_owned(),
        problem,
    };
    let length = i8::try_from(name.len())
        .ok()
        .filter(|n| *n > 0 && name.is_ascii());
    let length = length.ok_or_else(|| bad("a name has 1 to 127 ASCII characters"))?;
    out.push((if locked { -length } else { length }).cast_unsigned());
    out.push(id.cast_unsigned());
    out.extend_from_slice(name.as_bytes());
    let at = out.len();
    out.extend_from_slice(&[0, 0]);
    body(out)?;
    let text = shortened(description);
    out.push(text.len() as u8);
    out.extend_from_slice(text.as_bytes());
    // The offset is signed in the standard.
    let offset = i16::try_from(out.len() - at)
        .ok()
        .ok_or_else(|| bad("longer than 32,767 bytes"))?;
    if let Some(place) = out.get_mut(at..at + 2) {
        place.copy_from_slice(&offset.to_le_bytes());
    }
    Ok(at)
}

fn encode_array(out: &mut Vec<u8>, parameter: &Parameter) -> Result<(), &'static str> {
    let elements = parameter
        .dims
        .iter()
        .try_fold(1_usize, |n, &d| n.checked_mul(usize::from(d)));
    if elements != Some(parameter.data.len()) || parameter.dims.len() > 7 {
        return Err("dimensions do not fit the number of values");
    }
    let kind: i8 = match parameter.data {
        Data::Text(_) => -1,
        Data::Bytes(_) => 1,
        Data::Integers(_) => 2,
        Data::Reals(_) => 4,
    };
    out.extend_from_slice(&[kind.cast_unsigned(), parameter.dims.len() as u8]);
    out.extend_from_slice(&parameter.dims);
    match &parameter.data {
        Data::Text(v) | Data::Bytes(v) => out.extend_from_slice(v),
        Data::Integers(v) => out.extend(v.iter().flat_map(|x| x.to_le_bytes())),
        Data::Reals(v) => out.extend(v.iter().flat_map(|x| x.to_le_bytes())),
    }
    Ok(())
}

/// At most 255 bytes, cut between characters.
fn shortened(text: &str) -> &str {
    let end = (0..=text.len().min(255))
        .rev()
        .find(|&i| text.is_char_boundary(i))
        .unwrap_or(0);
    text.get(..end).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::c3d::number::ByteOrder;
    use crate::c3d::record::{Span, parse};

    #[test]
    fn encoding_reads_back() {
        let value = |name: &str, dims: &[u8], data, locked| Parameter {
            description: "of the second".into(),
            locked,
            ..Parameter::new(name, dims, data)
        };
        let groups = vec![
            Group {
                name: "EMPTY".into(),
                description: "é".repeat(128),
                ..Group::default()
            },
            Group {
                name: "FULL".into(),
                locked: true,
                parameters: vec![
                    value("TEXT", &[2, 1], Data::Text(b"ab".to_vec()), false),
                    value("BYTES", &[2, 0, 3], Data::Bytes(Vec::new()), true),
                    value("INTEGERS", &[], Data::Integers(vec![-2]), false),
                    value("REALS", &[2], Data::Reals(vec![0.5, -1e30]), true),
                ],
                ..Group::default()
            },
        ];
        let bytes = encode(&groups).unwrap();
        let mut warnings = Vec::new();
        let span = Span {
            bytes: &bytes,
            start: 0,
            order: ByteOrder::Intel,
        };
        let read = parse(&span, &mut warnings).unwrap();
        assert_eq!(warnings, Vec::<String>::new());
        assert_eq!(read.groups[1], groups[1]);
        assert_eq!(
            read.groups[0].description.len(),
            254,
            "cut between characters"
        );
    }

    #[test]
    fn what_cannot_be_stored_is_refused() {
        let group = |p: Parameter| Group {
            name: "G".into(),
            parameters: vec![p],
            ..Group::default()
        };
        let shape = group(Parameter::new("P", &[3], Data::Bytes(vec![1])));
        assert!(
            encode(&[shape])
                .unwrap_err()
                .to_string()
                .contains("G:P: dimensions")
        );
        let long = group(Parameter::new(
            "P",
            &[255, 255],
            Data::Bytes(vec![0; 65_025]),
        ));
        assert!(encode(&[long]).unwrap_err().to_string().contains("32,767"));
        let name = group(Parameter::new("", &[], Data::Bytes(vec![0])));
        assert!(
            encode(&[name])
                .unwrap_err()
                .to_string()
                .contains("1 to 127")
        );
    }
}
