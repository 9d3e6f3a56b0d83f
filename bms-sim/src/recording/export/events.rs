//! The table of what happened.

use crate::recording::Event;
use crate::recording::column::{Column, Kind, Shown as _, Unit, Value};
use crate::recording::values::EventShown;

/// Its columns.
pub(super) fn columns() -> Vec<Column> {
    let column = |name, kind, says| Column::new(name, kind, None, says);
    vec![
        column("tick", Kind::Whole, "In which tick, from 0."),
        Column::new("time", Kind::Number, Some(Unit::Seconds), "When, in seconds from the start."),
        column("what", Kind::Text, "What kind of event it was."),
        column("place", Kind::Text, "Where: a cell, a thermistor, the pack …; places are counted from 1."),
        column("value", Kind::Number, "The value that was seen, in the unit of its row."),
        column("limit", Kind::Number, "The limit that it was held against, in the unit of its row."),
        column("unit", Kind::Text, "The unit of value and limit."),
        column("sentence", Kind::Text, "What happened, in words."),
        column(
            "values",
            Kind::Text,
            "All values of the event as one JSON object; the unit ends each key that has one.",
        ),
    ]
}

/// The row of an event, a value for each column.
pub(super) fn row(event: &Event, sentence: String) -> Vec<Value> {
    let EventShown { tick, seconds, kind, sentence, values } = EventShown::of(event, sentence);
    let text = |text: String| Value::Text(text.into());
    let (value, limit, unit) =
        values.measured().map_or((None, None, None), |(value, limit, unit)| (Some(value), limit, Some(unit)));
    vec![
        tick.shown(),
        seconds.shown(),
        kind.shown(),
        values.whereabouts().map_or(Value::Missing, text),
        value.map_or(Value::Missing, Value::Number),
        limit.map_or(Value::Missing, Value::Number),
        unit.map_or(Value::Missing, text),
        text(sentence),
        text(values.to_string()),
    ]
}
