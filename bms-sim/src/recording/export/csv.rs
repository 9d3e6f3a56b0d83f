//! # Tables as CSV on the Web
//!
//! UTF-8, a comma between fields, a line a row, the names of the columns first, a decimal point, nothing where there is no value. What the
//! columns are is said for machines in `FILE-metadata.json` beside `FILE`, which is where a reader looks for it.
//!
//! Source: W3C Recommendation of 17 December 2015, *Metadata Vocabulary for Tabular Data* (tabular-metadata): a table group (section 5.3)
//! of tables (5.4), each with a schema (5.5) of columns (5.6) whose titles are those in the first line; datatypes by name (5.11.1); other
//! properties under names with a prefix (5.8), here of Dublin Core and schema.org. Where the metadata stands: *Model for Tabular Data and
//! Metadata on the Web* (tabular-data-model), section 5.3.

use super::{About, ExportError, Table};
use crate::recording::column::{Column, Kind, Value};
use serde_json::{Map, json};
use std::io::Write;

/// A table that is being written.
pub(super) struct Csv<W: Write>(csv::Writer<W>);

impl<W: Write> Csv<W> {
    pub(super) fn begin(to: W, columns: &[Column]) -> Result<Self, ExportError> {
        let mut to = csv::Writer::from_writer(to);
        to.write_record(columns.iter().map(|column| &column.name)).map_err(unwritten)?;
        Ok(Self(to))
    }
}

impl<W: Write> Table for Csv<W> {
    fn row(&mut self, values: &[Value]) -> Result<(), ExportError> {
        let fields = values.iter().try_for_each(|value| match value {
            Value::Number(number) => self.0.write_field(number.to_string()),
            Value::Whole(number) => self.0.write_field(number.to_string()),
            Value::Flag(yes) => self.0.write_field(if *yes { "true" } else { "false" }),
            Value::Text(text) => self.0.write_field(text.as_ref()),
            Value::Missing => self.0.write_field(""),
        });
        fields.and_then(|()| self.0.write_record(None::<&[u8]>)).map_err(unwritten)
    }

    fn finish(mut self: Box<Self>) -> Result<(), ExportError> {
        Ok(self.0.flush()?)
    }
}

fn unwritten(error: csv::Error) -> ExportError {
    ExportError::Written(match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => std::io::Error::other(format!("{other:?}")),
    })
}

/// A table and what it is called, for its metadata.
pub struct Described<'a> {
    /// The name of its file, without a folder.
    pub file: &'a str,
    /// What it holds.
    pub says: &'a str,
    /// Its columns.
    pub columns: &'a [Column],
}

/// The metadata of these tables, as one JSON document.
#[must_use]
pub fn metadata(about: &About, tables: &[Described<'_>]) -> String {
    let mut group = Map::new();
    group.insert("@context".to_owned(), json!(["http://www.w3.org/ns/csvw", { "@language": "en" }]));
    group.insert("dc:title".to_owned(), json!(about.title));
    let fact = |(name, value): &(&'static str, String)| json!({ "@type": "schema:PropertyValue", "schema:name": name, "schema:value": value });
    group.insert("schema:additionalProperty".to_owned(), about.facts.iter().map(fact).collect());
    group.insert("tables".to_owned(), tables.iter().map(table).collect());
    format!("{:#}\n", serde_json::Value::Object(group))
}

fn table(table: &Described<'_>) -> serde_json::Value {
    let columns: Vec<_> = table.columns.iter().map(column).collect();
    json!({ "url": table.file, "dc:description": table.says, "tableSchema": { "columns": columns } })
}

fn column(column: &Column) -> serde_json::Value {
    let mut told = Map::new();
    told.insert("name".to_owned(), json!(column.name));
    told.insert("titles".to_owned(), json!(column.name));
    told.insert("dc:description".to_owned(), json!(column.says));
    let datatype = match column.kind {
        Kind::Number => "double",
        Kind::Whole | Kind::Wholes => "nonNegativeInteger",
        Kind::Flag => "boolean",
        Kind::Text => "string",
    };
    told.insert("datatype".to_owned(), json!(datatype));
    if column.kind == Kind::Wholes {
        told.insert("separator".to_owned(), json!(" "));
    }
    if let Some(unit) = column.unit {
        told.insert("schema:unitText".to_owned(), json!(unit.sign()));
    }
    serde_json::Value::Object(told)
}
