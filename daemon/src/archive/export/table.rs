//! The metric table as Parquet files: a row a value, one file for each bay and month, in folders
//! `bay=…/month=YYYY-MM` that engines read as two further columns.
//!
//! | column | |
//! |---|---|
//! | `session`, `student`, `age_band`, `swing`, `kind`, `handed` | as in the other exports |
//! | `impact` | timestamp, microseconds, UTC |
//! | `analysis` | version that measured |
//! | `metric`, `unit` | identifier and unit |
//! | `value`, `uncertainty` | double, null where there is none; `uncertainty` is standard, of a code the share that agrees |
//! | `quality` | `measured`, `limited` (see `reason`) or `missing` |
//! | `reason` | why there is no value, or what limits it; null otherwise |
//!
//! Each file's metadata has `whin.format` 1.

use std::collections::BTreeMap;
use std::sync::Arc;

use parquet::basic::{Compression, ZstdLevel};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::parser::parse_message_type;
use parquet::schema::types::Type;

use super::Line;
use crate::archive::date;

/// Rows held before they are written: some megabytes.
const GROUP_ROWS: usize = 65_536;
const SCHEMA: &str = "message metrics {
    REQUIRED BINARY session (UTF8);
    REQUIRED BINARY student (UTF8);
    REQUIRED BINARY age_band (UTF8);
    REQUIRED BINARY swing (UTF8);
    REQUIRED BINARY kind (UTF8);
    REQUIRED BINARY handed (UTF8);
    REQUIRED INT64 impact (TIMESTAMP(MICROS, true));
    REQUIRED BINARY analysis (UTF8);
    REQUIRED BINARY metric (UTF8);
    REQUIRED BINARY unit (UTF8);
    OPTIONAL DOUBLE value;
    OPTIONAL DOUBLE uncertainty;
    REQUIRED BINARY quality (UTF8);
    OPTIONAL BINARY reason (UTF8);
}";

/// One file that grows.
struct Part {
    writer: SerializedFileWriter<Vec<u8>>,
    rows: Vec<Line>,
}

/// The files, by their names in the export.
#[derive(Default)]
pub(super) struct Table(BTreeMap<String, Part>);

impl Table {
    pub(super) fn add(&mut self, bay: &str, line: Line) -> Result<(), ParquetError> {
        let month = date::words(line.impact_utc_ns);
        let month = month.get(..7).unwrap_or_default();
        let name = format!("bay={bay}/month={month}/metrics.parquet");
        let part = match self.0.entry(name) {
            std::collections::btree_map::Entry::Occupied(known) => known.into_mut(),
            std::collections::btree_map::Entry::Vacant(new) => new.insert(Part::new()?),
        };
        part.rows.push(line);
        if part.rows.len() >= GROUP_ROWS {
            part.group()?;
        }
        Ok(())
    }

    /// Name and bytes of each file.
    pub(super) fn files(self) -> impl Iterator<Item = Result<(String, Vec<u8>), ParquetError>> {
        self.0.into_iter().map(|(name, mut part)| {
            part.group()?;
            Ok((name, part.writer.into_inner()?))
        })
    }
}

impl Part {
    fn new() -> Result<Self, ParquetError> {
        let schema: Arc<Type> = Arc::new(parse_message_type(SCHEMA)?);
        let about = KeyValue::new("whin.format".to_owned(), super::FORMAT.to_string());
        let properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .set_key_value_metadata(Some(vec![about]))
            .build();
        let writer = SerializedFileWriter::new(Vec::new(), schema, Arc::new(properties))?;
        Ok(Self {
            writer,
            rows: Vec::new(),
        })
    }

    /// Writes the rows that are held, column by column in the order of the schema.
    fn group(&mut self) -> Result<(), ParquetError> {
        let rows = std::mem::take(&mut self.rows);
        if rows.is_empty() {
            return Ok(());
        }
        let mut group = self.writer.next_row_group()?;
        let same: [fn(&Line) -> &str; 6] = [
            |r| &r.session,
            |r| &r.student,
            |r| r.age_band,
            |r| &r.swing,
            |r| &r.kind,
            |r| &r.handed,
        ];
        for column in same {
            texts(&mut group, &rows, column)?;
        }
        let impacts: Vec<i64> = rows
            .iter()
            .map(|r| (r.impact_utc_ns / 1000).cast_signed())
            .collect();
        column(&mut group, |writer| {
            writer
                .typed::<Int64Type>()
                .write_batch(&impacts, None, None)
        })?;
        let named: [fn(&Line) -> &str; 3] = [|r| &r.analysis, |r| &r.metric, |r| &r.unit];
        for column in named {
            texts(&mut group, &rows, column)?;
        }
        doubles(&mut group, &rows, |r| r.value)?;
        doubles(&mut group, &rows, |r| r.uncertainty)?;
        texts(&mut group, &rows, |r| r.quality)?;
        optional_texts(&mut group, &rows, |r| r.reason.as_deref())?;
        group.close()?;
        Ok(())
    }
}

type Group<'a> = SerializedRowGroupWriter<'a, Vec<u8>>;
type Column<'a> = parquet::file::writer::SerializedColumnWriter<'a>;

fn column(
    group: &mut Group<'_>,
    write: impl FnOnce(&mut Column<'_>) -> Result<usize, ParquetError>,
) -> Result<(), ParquetError> {
    let Some(mut column) = group.next_column()? else {
        return Err(ParquetError::General("a column too many".to_owned()));
    };
    write(&mut column)?;
    column.close()
}

fn texts<'r>(
    group: &mut Group<'_>,
    rows: &'r [Line],
    text: impl Fn(&'r Line) -> &'r str,
) -> Result<(), ParquetError> {
    let values: Vec<ByteArray> = rows.iter().map(|r| text(r).into()).collect();
    column(group, |writer| {
        writer
            .typed::<ByteArrayType>()
            .write_batch(&values, None, None)
    })
}

fn optional_texts<'r>(
    group: &mut Group<'_>,
    rows: &'r [Line],
    text: impl Fn(&'r Line) -> Option<&'r str>,
) -> Result<(), ParquetError> {
    let there: Vec<i16> = rows.iter().map(|r| i16::from(text(r).is_some())).collect();
    let values: Vec<ByteArray> = rows.iter().filter_map(&text).map(ByteArray::from).collect();
    column(group, |writer| {
        let typed = writer.typed::<ByteArrayType>();
        typed.write_batch(&values, Some(&there), None)
    })
}

fn doubles(
    group: &mut Group<'_>,
    rows: &[Line],
    value: impl Fn(&Line) -> Option<f64>,
) -> Result<(), ParquetError> {
    let there: Vec<i16> = rows.iter().map(|r| i16::from(value(r).is_some())).collect();
    let values: Vec<f64> = rows.iter().filter_map(&value).collect();
    column(group, |writer| {
        let typed = writer.typed::<DoubleType>();
        typed.write_batch(&values, Some(&there), None)
    })
}
