//! # Tables as Parquet
//!
//! [Apache Parquet](https://parquet.apache.org) with the schema of [Apache Arrow](https://arrow.apache.org) beside its own, packed by zstd.
//! The unit of a column and what it holds stand in the metadata of its field (`unit`, `description`), of which run it is in that of the
//! file: so they reach a notebook with the values.
//!
//! Rows are gathered in blocks, each packed and written before the next one begins: what a table of any length needs of memory is one block.

use super::{About, ExportError, Table};
use crate::recording::column::{Column, Kind, Value};
use arrow_array::builder::{BooleanBuilder, Float64Builder, StringBuilder, UInt64Builder};
use arrow_array::{ArrayRef, RecordBatch};
use arrow_schema::{ArrowError, DataType, Field, Schema};
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use std::collections::HashMap;
use std::io::Write;
use std::sync::Arc;

/// Rows that are turned into columns at a time.
const ROWS: usize = 1_024;

/// Rows of a block.
const BLOCK_ROWS: usize = 8 * ROWS;

/// A table that is being written.
pub(super) struct Parquet<W: Write + Send> {
    to: ArrowWriter<W>,
    schema: Arc<Schema>,
    gathered: Vec<Gathered>,
    rows: usize,
}

impl<W: Write + Send> Parquet<W> {
    pub(super) fn begin(to: W, columns: &[Column], about: &About) -> Result<Self, ExportError> {
        let mut facts = vec![("title", about.title.clone())];
        facts.extend(about.facts.iter().cloned());
        // Once for readers of Arrow's schema, once for those of the file's own.
        let of_schema: HashMap<String, String> =
            facts.iter().map(|(name, value)| ((*name).to_owned(), value.clone())).collect();
        let of_file = facts.into_iter().map(|(name, value)| KeyValue::new(name.to_owned(), value)).collect();
        let fields: Vec<Field> = columns.iter().map(field).collect();
        let schema = Arc::new(Schema::new_with_metadata(fields, of_schema));
        let properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .set_max_row_group_row_count(Some(BLOCK_ROWS))
            .set_key_value_metadata(Some(of_file))
            .build();
        let to = ArrowWriter::try_new(to, Arc::clone(&schema), Some(properties)).map_err(unwritten)?;
        let gathered = columns.iter().map(Gathered::of).collect();
        Ok(Self { to, schema, gathered, rows: 0 })
    }

    /// Turns what was gathered into columns.
    fn pass_on(&mut self) -> Result<(), ExportError> {
        self.rows = 0;
        let columns = self.gathered.iter_mut().map(Gathered::taken).collect();
        let batch = RecordBatch::try_new(Arc::clone(&self.schema), columns).map_err(ungathered)?;
        self.to.write(&batch).map_err(unwritten)
    }
}

impl<W: Write + Send> Table for Parquet<W> {
    fn row(&mut self, values: &[Value]) -> Result<(), ExportError> {
        self.gathered.iter_mut().zip(values).for_each(|(column, value)| column.take(value));
        self.rows += 1;
        if self.rows == ROWS { self.pass_on() } else { Ok(()) }
    }

    fn finish(mut self: Box<Self>) -> Result<(), ExportError> {
        self.pass_on()?;
        let mut to = self.to.into_inner().map_err(unwritten)?;
        Ok(to.flush()?)
    }
}

fn field(column: &Column) -> Field {
    let kind = match column.kind {
        Kind::Number => DataType::Float64,
        Kind::Whole => DataType::UInt64,
        Kind::Flag => DataType::Boolean,
        Kind::Text | Kind::Wholes => DataType::Utf8,
    };
    let mut metadata = HashMap::from([("description".to_owned(), column.says.clone())]);
    if let Some(unit) = column.unit {
        metadata.insert("unit".to_owned(), unit.sign().to_owned());
    }
    Field::new(&column.name, kind, true).with_metadata(metadata)
}

fn unwritten(error: ParquetError) -> ExportError {
    match error {
        ParquetError::External(source) => match source.downcast::<std::io::Error>() {
            Ok(error) => ExportError::Written(*error),
            Err(other) => ExportError::Written(std::io::Error::other(other)),
        },
        other => ExportError::Written(std::io::Error::other(other)),
    }
}

fn ungathered(error: ArrowError) -> ExportError {
    ExportError::Written(std::io::Error::other(error))
}

/// The values of a column, as far as they are not yet passed on.
enum Gathered {
    Numbers(Float64Builder),
    Wholes(UInt64Builder),
    Flags(BooleanBuilder),
    Texts(StringBuilder),
}

impl Gathered {
    fn of(column: &Column) -> Self {
        match column.kind {
            Kind::Number => Self::Numbers(Float64Builder::new()),
            Kind::Whole => Self::Wholes(UInt64Builder::new()),
            Kind::Flag => Self::Flags(BooleanBuilder::new()),
            Kind::Text | Kind::Wholes => Self::Texts(StringBuilder::new()),
        }
    }

    /// A value of another kind than the column's counts as none.
    fn take(&mut self, value: &Value) {
        match (self, value) {
            (Self::Numbers(numbers), Value::Number(number)) => numbers.append_value(*number),
            (Self::Wholes(wholes), Value::Whole(whole)) => wholes.append_value(*whole),
            (Self::Flags(flags), Value::Flag(flag)) => flags.append_value(*flag),
            (Self::Texts(texts), Value::Text(text)) => texts.append_value(text),
            (Self::Numbers(numbers), _) => numbers.append_null(),
            (Self::Wholes(wholes), _) => wholes.append_null(),
            (Self::Flags(flags), _) => flags.append_null(),
            (Self::Texts(texts), _) => texts.append_null(),
        }
    }

    fn taken(&mut self) -> ArrayRef {
        match self {
            Self::Numbers(numbers) => Arc::new(numbers.finish()),
            Self::Wholes(wholes) => Arc::new(wholes.finish()),
            Self::Flags(flags) => Arc::new(flags.finish()),
            Self::Texts(texts) => Arc::new(texts.finish()),
        }
    }
}
