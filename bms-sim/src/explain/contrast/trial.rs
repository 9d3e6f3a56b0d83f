//! # What could be done to tell two defects apart
//!
//! | act | what is played from the end of the case on |
//! | --- | --- |
//! | a load step | the workshop clears, the contactors close, hoisting as usual for 8 s |
//! | charging | the same, and charging at the dock for ten minutes |
//! | a rest | the contactors opened, half an hour without current |
//! | opening and closing | the contactors opened and closed again after ten seconds |
//! | swapping thermistors | the plugs of the thermistor in question and its neighbour exchanged; only where a thermistor is in question |
//! | a meter | nothing is played: a meter at each cell and from the pack to the chassis, a thermometer at each cell and joint |
//!
//! Where the frames are the same after an act, the meter and the thermometer are tried once more. A meter's figures are common practice, no source: 2 mV, 1 °C, a tenth of an insulation.

use super::Compared;
use super::reading::{Channel, Difference};
use crate::case::{Act, Ask, Case, Phase, StartError, Work};
use crate::defect::{Defect, Kind};
use crate::run::Loop;
use bms_core::frame::Clearance;
use std::sync::Arc;

/// Something that can be done.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Trial {
    /// A load step.
    LoadStep,
    /// Charging for ten minutes.
    Charge,
    /// Half an hour of rest.
    Rest,
    /// Opening and closing.
    Reclose,
    /// Swapping this thermistor, from 0, and its neighbour.
    SwapThermistors(usize),
    /// A meter and a thermometer.
    Meter,
}

/// Time to clear and to start, in seconds.
const START_SECONDS: f64 = 6.0;

/// From opening to closing again, in milliseconds.
const OPEN_MS: u64 = 10_000;

/// Until a pack that was closed again is left alone, in seconds.
const RECLOSED_SECONDS: f64 = 20.0;

/// What a hand-held meter tells apart at a cell, in volts.
const METER_VOLTS: f64 = 2e-3;

/// What a thermometer held to a part tells apart, in °C.
const THERMOMETER_CELSIUS: f64 = 1.0;

/// What an insulation meter tells apart, as a share.
const INSULATION_SHARE: f64 = 0.1;

impl Trial {
    /// All that can be done where this thermistor is in question, if one is.
    pub fn all(thermistor: Option<usize>) -> impl Iterator<Item = Self> {
        let always = [Self::LoadStep, Self::Charge, Self::Rest, Self::Reclose, Self::Meter];
        always.into_iter().chain(thermistor.map(Self::SwapThermistors))
    }

    /// The first reading that separates two worlds when this is done at their end, if one does.
    ///
    /// # Errors
    /// When the type has other counts than the cases' pack.
    pub fn played<const CELLS: usize, const THERMISTORS: usize>(
        self,
        cases: [&Arc<Case>; 2],
    ) -> Result<Option<Difference>, StartError> {
        if self == Self::Meter {
            return metered::<CELLS, THERMISTORS>(cases);
        }
        let from_ms = cases[0].duration_seconds * 1_000.0;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a story is shorter than 2⁵³ ms"
        )]
        let from_ms = from_ms as u64;
        let done = cases.map(|case| Arc::new(self.done(case, from_ms)));
        let done = [&done[0], &done[1]];
        match Compared::of::<CELLS, THERMISTORS>(done, from_ms)?.differences.first() {
            Some(difference) => Ok(Some(*difference)),
            None => metered::<CELLS, THERMISTORS>(done),
        }
    }

    /// The case with this done at its end.
    fn done(self, case: &Case, from_ms: u64) -> Case {
        let mut done = case.clone();
        let end = case.duration_seconds;
        done.rest_ms = None;
        done.duty.retain(|phase| phase.from_seconds < end);
        if let Some(last) = done.duty.last_mut() {
            last.seconds = last.seconds.min(end - last.from_seconds);
        }
        let phase = |work: Work, from_seconds: f64, seconds: f64| Phase {
            work,
            from_seconds,
            seconds,
            amps: work.usual_rate() * case.pack.ampere_hours(),
        };
        let mut work = |work: Work, after: f64, seconds: f64| {
            done.duty.push(phase(Work::Hold, end, after));
            done.duty.push(phase(work, end + after, seconds));
            after + seconds
        };
        let at = |after_ms: u64, ask: Ask| Act { at_ms: from_ms + after_ms, ask };
        // What was latched would hold the contactors open.
        let close = vec![at(0, Ask::Open), at(500, Ask::Clear(Clearance::Service)), at(1_000, Ask::Close)];
        let (lasts, asks): (f64, Vec<Act>) = match self {
            Self::LoadStep => {
                let lasts = work(Work::Hoist, START_SECONDS, Work::Hoist.usual_seconds());
                (lasts, close)
            }
            Self::Charge => {
                let lasts = work(Work::TopUp, START_SECONDS, Work::TopUp.usual_seconds());
                (lasts, close)
            }
            Self::Rest => (work(Work::Park, START_SECONDS, 1_800.0), vec![at(0, Ask::Open)]),
            Self::Reclose => (
                work(Work::Park, START_SECONDS, RECLOSED_SECONDS),
                vec![at(0, Ask::Open), at(OPEN_MS, Ask::Close)],
            ),
            Self::SwapThermistors(_) | Self::Meter => (work(Work::Park, START_SECONDS, 1.0), Vec::new()),
        };
        done.acts.retain(|act| act.at_ms < from_ms);
        done.acts.extend(asks);
        if let Self::SwapThermistors(place) = self {
            done.defects.push(Defect::usual(Kind::ThermistorsSwapped, place, end));
        }
        done.duration_seconds = end + lasts;
        done
    }
}

/// What a meter and a thermometer show at the end of both cases.
fn metered<const CELLS: usize, const THERMISTORS: usize>(
    cases: [&Arc<Case>; 2],
) -> Result<Option<Difference>, StartError> {
    let at_end = |case: &Arc<Case>| {
        let mut now = Loop::<CELLS, THERMISTORS>::new(case)?;
        while !now.over() {
            now.advance(&mut ());
        }
        Ok::<_, StartError>(now)
    };
    let (here, there) = (at_end(cases[0])?, at_end(cases[1])?);
    let seconds = here.seconds();
    let pairs = |one: &[f64], other: &[f64], apart: f64, channel: fn(usize) -> Channel| {
        let pairs = one.iter().zip(other).enumerate();
        let differing = pairs.filter(|(_, (one, other))| (*one - *other).abs() > apart);
        let found = differing.map(|(place, (here, there))| Difference {
            channel: channel(place),
            seconds,
            here: *here,
            there: *there,
        });
        found.max_by(|one, other| (one.here - one.there).abs().total_cmp(&(other.here - other.there).abs()))
    };
    let (one, other) = (&here.world, &there.world);
    let ohms = (one.insulation_ohms(), other.insulation_ohms());
    let insulation = ((ohms.0 / ohms.1).max(ohms.1 / ohms.0) > 1.0 + INSULATION_SHARE).then(|| Difference {
        channel: Channel::MeteredInsulation,
        seconds,
        here: ohms.0 / 1_000.0,
        there: ohms.1 / 1_000.0,
    });
    Ok(pairs(&one.cells.volts, &other.cells.volts, METER_VOLTS, Channel::MeteredCell)
        .or(insulation)
        .or_else(|| pairs(&one.cells.celsius, &other.cells.celsius, THERMOMETER_CELSIUS, Channel::WarmCell))
        .or_else(|| {
            let (one, other) = (&one.heat.joint_celsius, &other.heat.joint_celsius);
            pairs(one, other, THERMOMETER_CELSIUS, Channel::WarmJoint)
        }))
}
