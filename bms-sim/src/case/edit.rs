//! A case written into its text, of which everything else stays as it was typed, comments and all.
//!
//! A text that a case was read from is TOML, so nothing here fails; any other one is given back as it is.

use super::{Change, LimitChange, severity_key};
use crate::case::Ask;
use crate::defect::{Defect, PlaceKind};
use crate::repair::{self, Repair};
use bms_core::frame::{Clearance, Contactor, Replaced};
use std::time::Duration;
use toml_edit::{ArrayOfTables, DocumentMut, InlineTable, Item, Table, Value};

/// The text with this seed.
pub(super) fn with_seed(text: &str, seed: u64) -> String {
    let seed = i64::try_from(seed).unwrap_or(i64::MAX);
    edited(text, |document| {
        // One that is there already keeps what stands around it.
        if let Some(value) = document.get_mut("seed").and_then(Item::as_value_mut)
            && value.as_integer() != Some(seed)
        {
            let decor = value.decor().clone();
            *value = seed.into();
            *value.decor_mut() = decor;
        }
    })
}

/// The text with a change more, at its end, and without what it expects.
pub(super) fn with_change(text: &str, at_ms: u64, change: &Change) -> String {
    edited(text, |document| {
        document.remove("expect");
        let changes = document.entry("change").or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
        let seconds = Duration::from_millis(at_ms).as_secs_f64();
        let (key, value) = said(change);
        if let Some(tables) = changes.as_array_of_tables_mut() {
            let mut table = Table::new();
            table.insert("at_s", seconds.into());
            table.insert(key, value.into());
            tables.push(table);
        } else if let Some(list) = changes.as_array_mut() {
            let mut table = InlineTable::new();
            table.insert("at_s", seconds.into());
            table.insert(key, value);
            list.push(table);
        }
    })
}

fn edited(text: &str, edit: impl FnOnce(&mut DocumentMut)) -> String {
    text.parse().map_or_else(
        |_| text.to_owned(),
        |mut document| {
            edit(&mut document);
            document.to_string()
        },
    )
}

/// The key of a change and what stands under it.
fn said(change: &Change) -> (&'static str, Value) {
    match change {
        Change::Limits(changes) => {
            let all = changes.iter().map(|change| (change.fault.key(), limits(change)));
            ("limits", all.collect::<InlineTable>().into())
        }
        Change::Duty { work, rate_c } => {
            let strength = (work.usual_rate() != 0.0).then(|| ("rate_c", Value::from(*rate_c)));
            let said = [("do", Value::from(work.name()))].into_iter().chain(strength);
            ("duty", said.collect::<InlineTable>().into())
        }
        Change::Act(ask) => ("act", act(*ask).into()),
        Change::Defect(begun) => ("defect", defect(begun).into()),
        Change::Mend(place) => ("mend", counted(*place)),
        Change::Repair(repaired) => ("repair", repair(repaired).into()),
    }
}

/// What a case file says of changed limits of one fault.
pub(crate) fn limits(change: &LimitChange) -> InlineTable {
    let milliseconds = |time: u64| Value::from(i64::try_from(time).unwrap_or(i64::MAX));
    let said = [
        ("trip", change.trip.map(Value::from)),
        ("release", change.release.map(Value::from)),
        ("dwell_ms", change.dwell_ms.map(milliseconds)),
        ("release_dwell_ms", change.release_dwell_ms.map(milliseconds)),
    ];
    said.into_iter().filter_map(|(key, value)| Some((key, value?))).collect()
}

fn act(ask: Ask) -> InlineTable {
    let more = match ask {
        Ask::Close | Ask::Open => vec![],
        Ask::Clear(Clearance::Panel) => vec![("by", Value::from("panel"))],
        Ask::Clear(Clearance::Service) => vec![("by", Value::from("service"))],
        Ask::Replace(Replaced::Cell(cell)) => vec![("cell", counted(cell.into()))],
        Ask::Replace(Replaced::Contactor(which)) => vec![("contactor", Value::from(contactor(which)))],
        Ask::LosePower(loss) => vec![
            ("for_s", Value::from(Duration::from_millis(loss.for_ms).as_secs_f64())),
            ("record", Value::from(loss.record.name())),
            ("clock", Value::from(loss.clock)),
        ],
    };
    [("ask", Value::from(ask.name()))].into_iter().chain(more).collect()
}

fn contactor(which: Contactor) -> &'static str {
    PlaceKind::Contactor.names().get(which as usize).copied().unwrap_or_default()
}

/// What a case file says of a defect, but for when it begins.
pub(crate) fn defect(begun: &Defect) -> InlineTable {
    let kind = begun.kind;
    let place =
        kind.place().names().get(begun.place).map_or_else(|| counted(begun.place), |name| (*name).into());
    let grows = (begun.grows_seconds > 0.0).then_some(begun.grows_seconds);
    let said = [
        (Some("kind"), Some(Value::from(kind.key()))),
        (kind.place().key(), Some(place)),
        (severity_key(kind.unit()), Some(begun.severity.into())),
        (Some("until_s"), begun.end_seconds.map(Value::from)),
        (Some("ramp_s"), grows.map(Value::from)),
        (Some("intermittent_period_s"), begun.spells.map(|spells| spells.period_seconds.into())),
        (Some("intermittent_duty"), begun.spells.map(|spells| spells.duty.into())),
    ];
    said.into_iter().filter_map(|(key, value)| Some((key?, value?))).collect()
}

fn repair(repaired: &Repair) -> InlineTable {
    let Repair { work, place, cell } = *repaired;
    let place = work.place().names().get(place).map_or_else(|| counted(place), |name| (*name).into());
    // To as many digits as anybody types, so that the same share is read again.
    let percent = |share: f64| Some(Value::from(libm::rint(1e11 * share) / 1e9));
    let mut said = vec![(Some("kind"), Some(Value::from(work.key()))), (work.place().key(), Some(place))];
    if work == repair::Work::SwapCell {
        said.extend([
            (Some("charge_percent"), percent(cell.charge)),
            (Some("capacity_percent"), percent(cell.capacity)),
            (Some("resistance_percent"), percent(cell.resistance)),
            (Some("celsius"), cell.celsius.map(Value::from)),
        ]);
    }
    said.into_iter().filter_map(|(key, value)| Some((key?, value?))).collect()
}

/// A place as people count it, from 1.
fn counted(place: usize) -> Value {
    Value::from(i64::try_from(place).unwrap_or(i64::MAX).saturating_add(1))
}
