//! What the time line draws: values over time, what held when, what happened.

use super::hidden;
use crate::explain::story::happened;
use crate::explain::words;
use crate::recording::signals::{self, Signals};
use crate::recording::{Event, Recording, What};
use crate::report::lanes::{Lane, lanes};
use serde::Serialize;
use std::ops::Range;

/// Moments of a picture: more than its pixels would not be seen.
const MOMENTS: u32 = 1_200;

/// Events that are marked at most; of more of them the first ones.
const EVENTS: usize = 2_000;

/// Values over time, column by column: what is drawn together is read together.
#[derive(Debug, Default, Serialize)]
pub(super) struct Series {
    kind: &'static str,
    of: String,
    from_seconds: f64,
    to_seconds: f64,
    seconds: Vec<f64>,
    played: Vec<u64>,
    current_amps: Vec<f64>,
    charge_limit_amps: Vec<f64>,
    discharge_limit_amps: Vec<f64>,
    lowest_cell_volts: Vec<f64>,
    highest_cell_volts: Vec<f64>,
    pack_volts: Vec<f64>,
    link_volts: Vec<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    true_coldest_cell_celsius: Vec<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    true_warmest_cell_celsius: Vec<f64>,
    lanes: Vec<Lane>,
    events: Vec<Marked>,
    defects: Vec<Span>,
}

#[derive(Debug, Serialize)]
struct Marked {
    played: u64,
    seconds: f64,
    sentence: String,
    /// What sort of event it is, by which it is drawn.
    sort: &'static str,
}

#[derive(Debug, Serialize)]
struct Span {
    name: String,
    from: f64,
    to: f64,
}

impl Series {
    /// Of some ticks of a recording that is called so; without what only the world knows if that is hidden.
    pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
        name: &str,
        recording: &Recording<CELLS, THERMISTORS>,
        ticks: Range<u64>,
        hidden: bool,
    ) -> Self {
        let found = signals::between(recording, ticks, MOMENTS, &[]);
        let end = recording.end.seconds();
        let events = recording.events.iter().filter(|event| !hidden || hidden::is_public(event));
        let mut series = Self {
            kind: "series",
            of: name.to_owned(),
            from_seconds: found.signals.first().map_or(0.0, |first| first.seconds),
            to_seconds: found.signals.last().map_or(0.0, |last| last.seconds),
            lanes: lanes(&recording.events, end),
            events: events.take(EVENTS).map(|event| marked(recording, event)).collect(),
            defects: if hidden { Vec::new() } else { defects(recording, end) },
            ..Self::default()
        };
        found.signals.iter().for_each(|signals| series.add(signals));
        if hidden {
            series.true_coldest_cell_celsius.clear();
            series.true_warmest_cell_celsius.clear();
        }
        series
    }

    fn add(&mut self, signals: &Signals) {
        self.seconds.push(signals.seconds);
        self.played.push(signals.tick + 1);
        self.current_amps.push(signals.current_amps);
        self.charge_limit_amps.push(signals.charge_limit_amps);
        // Drawn below zero, where what it limits is drawn.
        self.discharge_limit_amps.push(0.0 - signals.discharge_limit_amps);
        self.lowest_cell_volts.push(signals.lowest_cell_volts);
        self.highest_cell_volts.push(signals.highest_cell_volts);
        self.pack_volts.push(signals.pack_volts);
        self.link_volts.push(signals.link_volts);
        self.true_coldest_cell_celsius.push(signals.true_coldest_cell_celsius);
        self.true_warmest_cell_celsius.push(signals.true_warmest_cell_celsius);
    }
}

fn marked<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    event: &Event,
) -> Marked {
    let sort = match event.what {
        What::DefectBegan(_) | What::DefectEnded(_) | What::Repaired(_) => "defect",
        What::Acted(_) | What::LimitsChanged(_) | What::DutyBegan(_) => "act",
        What::Told(_) | What::Cooled(_) => "told",
        What::Breached(_) => "breach",
    };
    Marked {
        played: event.tick + 1,
        seconds: event.seconds,
        sentence: happened(&recording.case, event),
        sort,
    }
}

fn defects<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    end: f64,
) -> Vec<Span> {
    let shown = recording.case.defects.iter().map(|defect| Span {
        name: words::defect(defect),
        from: defect.onset_seconds,
        to: defect.end_seconds.unwrap_or(end),
    });
    shown.collect()
}
