//! Plays a case through the whole loop and keeps what became of its faults.

use bms_core::fault::Stage;
use bms_core::witness::{Assessment, Place, Quantity};
use bms_core::{Evidence, Fault, Witness};
use bms_sim::case::{Case, Pack};
use bms_sim::explain::chain::Chain;
use bms_sim::recording;
use bms_sim::run::Loop;
use std::fmt::Write;
use std::sync::Arc;

/// What a case showed.
#[derive(Default)]
pub(crate) struct Played {
    /// What became Confirmed and when, in seconds, as it was judged then.
    pub(crate) confirmed: Vec<(f64, Assessment)>,
    /// What stood confirmed, in every tenth of a second.
    pub(crate) stood: Vec<(f64, Vec<Fault>)>,
    /// What is confirmed or latched at the end.
    pub(crate) left: Vec<Fault>,
    /// What the fault memory holds at the end: the fault, where it was worst, how often it was confirmed.
    pub(crate) records: Vec<(Fault, Place, u16)>,
}

impl Played {
    /// When the fault first became Confirmed, and how it was judged then.
    pub(crate) fn first(&self, fault: Fault) -> Option<(f64, Assessment)> {
        self.confirmed.iter().find(|(_, assessment)| assessment.fault == fault).copied()
    }

    /// Everything that became Confirmed, with its figures; empty when nothing did.
    pub(crate) fn summary(&self) -> String {
        let mut all = String::new();
        for (at, Assessment { fault, place, observed, limit, .. }) in &self.confirmed {
            let of = |quantity: &Option<Quantity>| quantity.map_or(f64::NAN, value);
            let (key, observed, limit) = (fault.key(), of(observed), of(limit));
            let _ = write!(all, "{key} at {at} s in {place:?}: {observed:.4} against {limit:.4}; ");
        }
        all
    }
}

/// A quantity in its own unit, charge in Ah.
pub(crate) fn value(quantity: Quantity) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "bits of a reading are far below 2⁵³")]
    let bits = quantity.bits() as f64;
    match quantity {
        Quantity::Volts(_)
        | Quantity::Amps(_)
        | Quantity::Celsius(_)
        | Quantity::CelsiusPerSecond(_)
        | Quantity::Milliohms(_)
        | Quantity::Ratio(_) => bits / 65_536.0,
        Quantity::Coulombs(_) => bits / (65_536.0 * 3.6e6),
        Quantity::Ohms(_) | Quantity::OhmsPerVolt(_) | Quantity::Count(_) | Quantity::Millis(_) => bits,
    }
}

/// Hears what becomes Confirmed.
#[derive(Default)]
struct Ear(Vec<Assessment>);

impl Witness for Ear {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::StageChanged { assessment, .. } = evidence
            && matches!(assessment.stage, Stage::Confirmed { .. })
        {
            self.0.push(assessment);
        }
    }
}

/// Plays the text of a case file.
pub(crate) fn text(text: &str) -> Played {
    let case = Case::parse(text, "story.toml").unwrap_or_else(|error| panic!("{error}"));
    let case = Arc::new(case);
    match case.pack {
        Pack::Crane => play::<96, 16>(&case),
        Pack::Trainer => play::<16, 8>(&case),
    }
}

/// What led to a fault in the text of a case file, if it was suspected.
pub(crate) fn chain(text: &str, fault: Fault) -> Option<Chain> {
    let case = Arc::new(Case::parse(text, "story.toml").unwrap_or_else(|error| panic!("{error}")));
    match case.pack {
        Pack::Crane => chain_in::<96, 16>(&case, fault),
        Pack::Trainer => chain_in::<16, 8>(&case, fault),
    }
}

fn chain_in<const CELLS: usize, const THERMISTORS: usize>(case: &Arc<Case>, fault: Fault) -> Option<Chain> {
    let recording =
        recording::play::<CELLS, THERMISTORS>(case, |_| true).expect("the pack is the one of the case");
    Chain::of(&recording, fault).expect("the pack is the one of the case")
}

fn play<const CELLS: usize, const THERMISTORS: usize>(case: &Arc<Case>) -> Played {
    let mut played = Loop::<CELLS, THERMISTORS>::new(case).expect("the pack is the one of the case");
    let (mut seen, mut ear, mut next) = (Played::default(), Ear::default(), 0.0);
    while !played.over() {
        let at = played.seconds();
        let decision = played.advance(&mut ear);
        seen.confirmed.extend(ear.0.drain(..).map(|assessment| (at, assessment)));
        if at >= next {
            next = at + 0.1;
            seen.stood.push((at, decision.faults.confirmed.iter().collect()));
        }
        seen.left = decision.faults.confirmed.iter().chain(decision.faults.latched.iter()).collect();
    }
    let records = played.core.memory().records();
    seen.records = records.map(|record| (record.fault, record.place, record.count)).collect();
    seen
}
