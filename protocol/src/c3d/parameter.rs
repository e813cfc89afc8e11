//! Groups and parameters as values, whatever their bytes looked like. How they are stored is in
//! `record`.

/// One stored group.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Group {
    /// Name as written, usually capitals.
    pub name: String,
    /// Free text.
    pub description: String,
    /// Whether programs are asked not to change it.
    pub locked: bool,
    /// Its parameters in stored order.
    pub parameters: Vec<Parameter>,
}

/// One stored parameter: an array of up to seven dimensions, first index fastest.
#[derive(Debug, Clone, PartialEq)]
pub struct Parameter {
    /// Name as written, usually capitals.
    pub name: String,
    /// Free text.
    pub description: String,
    /// Whether programs are asked not to change it.
    pub locked: bool,
    /// Sizes; empty for a single value. The product is the length of `data`.
    pub dims: Vec<u8>,
    /// The values.
    pub data: Data,
}

/// Values of one parameter.
#[derive(Debug, Clone, PartialEq)]
pub enum Data {
    /// Characters; the first dimension is the length of one text.
    Text(Vec<u8>),
    /// Bytes.
    Bytes(Vec<u8>),
    /// 16-bit integers as stored; many are meant unsigned.
    Integers(Vec<i16>),
    /// Reals.
    Reals(Vec<f32>),
}

impl Data {
    /// Number of elements.
    pub fn len(&self) -> usize {
        match self {
            Self::Text(v) | Self::Bytes(v) => v.len(),
            Self::Integers(v) => v.len(),
            Self::Reals(v) => v.len(),
        }
    }

    /// Whether there is no element.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

impl Parameter {
    /// An unlocked parameter without description.
    pub fn new(name: &str, dims: &[u8], data: Data) -> Self {
        Self {
            name: name.into(),
            description: String::new(),
            locked: false,
            dims: dims.to_vec(),
            data,
        }
    }

    /// The texts of a character array, trimmed of blanks and zero bytes. Empty for numbers.
    pub fn texts(&self) -> Vec<String> {
        let Data::Text(bytes) = &self.data else {
            return Vec::new();
        };
        let width = usize::from(self.dims.first().copied().unwrap_or(1)).max(1);
        bytes.chunks(width).map(trimmed).collect()
    }

    /// The whole character array as one trimmed text.
    pub fn text(&self) -> String {
        match &self.data {
            Data::Text(bytes) => trimmed(bytes),
            _ => String::new(),
        }
    }

    /// Value `index` with integers read as unsigned: counts, channels, frame numbers. `None` when
    /// there is no such number or it is not finite.
    pub fn unsigned(&self, index: usize) -> Option<f64> {
        match &self.data {
            Data::Integers(v) => v.get(index).map(|&x| f64::from(x.cast_unsigned())),
            _ => self.signed(index),
        }
    }

    /// Value `index` with integers read as signed. `None` when there is no such number or it is
    /// not finite.
    pub fn signed(&self, index: usize) -> Option<f64> {
        match &self.data {
            Data::Text(_) => None,
            Data::Bytes(v) => v.get(index).map(|&x| f64::from(x)),
            Data::Integers(v) => v.get(index).map(|&x| f64::from(x)),
            Data::Reals(v) => v
                .get(index)
                .map(|&x| f64::from(x))
                .filter(|x| x.is_finite()),
        }
    }

    /// Value `index` as a count: whole, not negative.
    pub fn count(&self, index: usize) -> Option<usize> {
        self.unsigned(index)
            .filter(|x| *x >= 0.0)
            .map(|x| x as usize)
    }
}

/// All groups of a file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Parameters {
    /// Groups in stored order.
    pub groups: Vec<Group>,
}

impl Parameters {
    /// The parameter `GROUP:NAME`; case does not matter. The first if there are several.
    pub fn get(&self, group: &str, name: &str) -> Option<&Parameter> {
        self.groups
            .iter()
            .filter(|g| g.name.eq_ignore_ascii_case(group))
            .flat_map(|g| &g.parameters)
            .find(|p| p.name.eq_ignore_ascii_case(name))
    }

    /// `NAME`, `NAME2`, `NAME3` and so on: arrays of more than 255 entries are stored in pieces.
    pub(super) fn pieces<'a>(
        &'a self,
        group: &'a str,
        name: &'a str,
    ) -> impl Iterator<Item = &'a Parameter> {
        (1_u32..).map_while(move |piece| match piece {
            1 => self.get(group, name),
            n => self.get(group, &format!("{name}{n}")),
        })
    }

    /// The texts of all pieces.
    pub(super) fn texts(&self, group: &str, name: &str) -> Vec<String> {
        self.pieces(group, name)
            .flat_map(Parameter::texts)
            .collect()
    }
}

/// Text without surrounding blanks and zero bytes. Bytes that are not UTF-8 are taken as Latin-1,
/// which is what the programs that predate UTF-8 wrote.
pub(super) fn trimmed(bytes: &[u8]) -> String {
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&b| char::from(b)).collect(),
    };
    text.trim_matches([' ', '\0']).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parameter(dims: &[u8], data: Data) -> Parameter {
        Parameter::new("NAME", dims, data)
    }

    #[test]
    fn texts_are_split_by_the_first_dimension_and_trimmed() {
        let p = parameter(&[4, 3], Data::Text(b"AB  C\0\0\0D\xE9  ".to_vec()));
        assert_eq!(p.texts(), ["AB", "C", "D\u{e9}"]);
        assert!(
            parameter(&[0, 255, 255], Data::Text(Vec::new()))
                .texts()
                .is_empty()
        );
    }

    #[test]
    fn integers_are_read_as_signed_or_unsigned() {
        let p = parameter(&[], Data::Integers(vec![-1]));
        assert_eq!(
            (p.signed(0), p.unsigned(0), p.count(0)),
            (Some(-1.0), Some(65_535.0), Some(65_535))
        );
        assert_eq!(parameter(&[], Data::Reals(vec![f32::NAN])).count(0), None);
        assert_eq!(
            parameter(&[], Data::Reals(vec![2.0])).count(0),
            Some(2),
            "a real USED"
        );
        assert_eq!(p.count(1), None);
    }

    #[test]
    fn pieces_stop_at_the_first_that_is_missing() {
        let name = |n: &str| Parameter::new(n, &[1], Data::Text(n.as_bytes()[..1].to_vec()));
        let parameters = ["LABELS", "LABELS2", "LABELS4"].map(name).to_vec();
        let group = Group {
            name: "Point".into(),
            parameters,
            ..Group::default()
        };
        let all = Parameters {
            groups: vec![group],
        };
        assert_eq!(all.texts("POINT", "LABELS"), ["L", "L"]);
    }
}
