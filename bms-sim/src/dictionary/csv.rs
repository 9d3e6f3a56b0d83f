//! The dictionary as a table for notebooks: one line a defect, severity and observation; the unit ends each column that has one.

use super::{Entry, Row};
use crate::explain::verdict::Criticality;
use crate::explain::words;
use serde::Serialize;

#[derive(Serialize)]
struct Line<'a> {
    defect: &'static str,
    place: usize,
    severity: f64,
    severity_unit: &'static str,
    observation: &'a str,
    first_fault: &'static str,
    first_fault_seconds: Option<f64>,
    faults: String,
    belief: &'static str,
    step_at_end: &'static str,
    criticality: Criticality,
    critical_because: &'a str,
    critical_after_seconds: Option<f64>,
    bound_passed: bool,
    measured: String,
}

/// The table. Places are counted from 1; several faults or channels in one field are parted by a semicolon.
///
/// # Errors
/// When a line cannot be written, which no memory refuses.
pub fn table(entries: &[Entry]) -> Result<String, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for entry in entries {
        for row in &entry.rows {
            writer.serialize(line(entry, row))?;
        }
    }
    let bytes = writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn line<'a>(entry: &'a Entry, row: &'a Row) -> Line<'a> {
    let faults = row.faults.iter().map(|raised| format!("{} {} s", raised.fault.key(), raised.seconds));
    Line {
        defect: entry.subject.kind.key(),
        place: entry.subject.place + 1,
        severity: row.severity,
        severity_unit: entry.subject.kind.unit(),
        observation: &entry.observation,
        first_fault: row.faults.first().map_or("", |raised| raised.fault.key()),
        first_fault_seconds: row.faults.first().map(|raised| raised.seconds),
        faults: faults.collect::<Vec<_>>().join("; "),
        belief: row.belief.map_or("", words::reaction),
        step_at_end: words::step(row.ends),
        criticality: row.danger.criticality,
        critical_because: &row.danger.because,
        critical_after_seconds: row.danger.after_seconds,
        bound_passed: row.danger.passed,
        measured: row.measured.join("; "),
    }
}
