//! The parts of a story.

use super::Story;
use crate::case::{Case, Knob, LimitChange, Pack, Work};
use crate::defect::{Defect, Kind};
use crate::dictionary::Subject;
use bms_core::Fault;
use proptest::prelude::*;
use std::ops::RangeInclusive;

/// Either pack. Shrinks to the trainer.
pub fn packs() -> impl Strategy<Value = Pack> {
    prop_oneof![Just(Pack::Trainer), Just(Pack::Crane)]
}

/// A stretch of work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Phase {
    /// The work.
    pub work: Work,
    /// For so many seconds.
    pub seconds: u32,
    /// Its strength in tenths of a C; as usual when there is none, or where the work has no strength.
    pub rate_tenths: Option<u32>,
}

impl Phase {
    /// So many seconds of a work at its usual strength.
    #[must_use]
    pub const fn of(work: Work, seconds: u32) -> Self {
        Self { work, seconds, rate_tenths: None }
    }
}

/// One to eight phases of one to ten seconds. Shrinks to one second of parking.
pub fn duties() -> impl Strategy<Value = Vec<Phase>> {
    let phase = (proptest::sample::select(&Work::ALL[..]), 1..=10_u32, proptest::option::of(1..=20_u32));
    let phase = phase.prop_map(|(work, seconds, rate_tenths)| {
        let rate_tenths = rate_tenths.filter(|_| work.usual_rate() != 0.0);
        Phase { work, seconds, rate_tenths }
    });
    proptest::collection::vec(phase, 1..=8)
}

/// From 3 to 97 %. Shrinks to 50.
pub(super) fn charge() -> impl Strategy<Value = u8> {
    prop_oneof![50..=97_u8, (0..=47_u8).prop_map(|below| 50 - below)]
}

/// From −28 to 45 °C. Shrinks to 20.
pub(super) fn celsius() -> impl Strategy<Value = i8> {
    prop_oneof![20..=45_i8, (0..=48_i8).prop_map(|below| 20 - below)]
}

/// Steps of severity to choose from: a factor of two or less between two of them.
const SEVERITIES: usize = 25;

/// A defect of one of these kinds: anywhere, of any severity of its range on a log scale, with an onset in these seconds; one in four grows
/// where it can. Shrinks to an earlier kind, the first place, the least severity, at once, from the start.
pub fn defects(
    pack: Pack,
    kinds: &[Kind],
    onsets: RangeInclusive<u32>,
) -> impl Strategy<Value = Defect> + use<> {
    let spec = pack.spec();
    proptest::sample::select(kinds.to_vec()).prop_flat_map(move |kind| {
        let count = kind.place().count(&spec).max(1);
        let mut severities = Subject { kind, place: 0 }.severities(SEVERITIES, &spec);
        severities.sort_by(|one, other| one.abs().total_cmp(&other.abs()));
        let grows = prop_oneof![3 => Just(0_u32), 1 => 1..=20_u32];
        (0..count, proptest::sample::select(severities), onsets.clone(), grows).prop_map(
            move |(place, severity, onset, grows)| {
                let usual = Defect::usual(kind, place, f64::from(onset));
                let grows_seconds = if kind.grows() { f64::from(grows) } else { 0.0 };
                Defect { severity, grows_seconds, ..usual }
            },
        )
    })
}

/// Changed limits of the firmware, each as a case file says it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limits(pub Vec<LimitChange>);

impl Limits {
    /// The usual ones.
    #[must_use]
    pub const fn usual() -> Self {
        Self(Vec::new())
    }

    /// The same with another trip limit, in the unit of the fault; its release limit moves along.
    #[must_use]
    pub fn trip(self, fault: Fault, value: f64) -> Self {
        self.with(fault, |change| change.trip = Some(value))
    }

    /// The same with another dwell, in milliseconds.
    #[must_use]
    pub fn dwell(self, fault: Fault, milliseconds: u64) -> Self {
        self.with(fault, |change| change.dwell_ms = Some(milliseconds))
    }

    /// In order of the list of faults, in which a file is read.
    fn with(mut self, fault: Fault, change: impl FnOnce(&mut LimitChange)) -> Self {
        let Self(all) = &mut self;
        let place = all.iter().position(|known| known.fault == fault).unwrap_or_else(|| {
            all.push(LimitChange {
                fault,
                trip: None,
                release: None,
                dwell_ms: None,
                release_dwell_ms: None,
            });
            all.len() - 1
        });
        change(&mut all[place]);
        all.sort_by_key(|change| change.fault.key());
        self
    }
}

/// Dwells that are drawn, in milliseconds.
const DWELLS: [u32; 8] = [0, 50, 100, 300, 1_000, 3_000, 10_000, 60_000];

/// Up to three limits and dwells of the firmware, anywhere in what a case file accepts. Shrinks to the usual ones.
pub fn limits(pack: Pack) -> impl Strategy<Value = Limits> {
    let fault = proptest::sample::select(&Fault::ALL[..]);
    // A limit as hundredths of the way through its range, a dwell by its place in the list.
    let moved = (fault, proptest::option::of(0..=100_u8), proptest::option::of(0..DWELLS.len()));
    let usual = bare(pack);
    proptest::collection::vec(moved, 0..=3).prop_map(move |moved| {
        let (mut limits, mut so_far) = (Limits::usual(), usual.clone());
        let mut turn = |knob: Knob, value: f64| {
            let turned = so_far.as_ref().and_then(|case| knob.turned(case, value).ok());
            let accepted = turned.is_some();
            so_far = turned.or_else(|| so_far.take());
            accepted
        };
        for (fault, share, dwell) in moved {
            let range = usual.as_ref().and_then(|case| Knob::Trip(fault).range(case));
            let trip = share.zip(range).map(|(share, range)| within(range, share));
            if let Some(trip) = trip.filter(|trip| turn(Knob::Trip(fault), *trip)) {
                limits = limits.trip(fault, trip);
            }
            let dwell = dwell.and_then(|place| DWELLS.get(place));
            if let Some(ms) = dwell.filter(|ms| turn(Knob::Dwell(fault), f64::from(**ms))) {
                limits = limits.dwell(fault, u64::from(*ms));
            }
        }
        limits
    })
}

/// So many hundredths of the way through a range, to two digits; a range without an end is one to twice its beginning.
fn within((low, high): (f64, f64), hundredths: u8) -> f64 {
    let high = if high.is_finite() { high } else { 2.0 * low };
    let value = low + f64::from(hundredths) / 100.0 * (high - low);
    format!("{value:.1e}").parse().unwrap_or(value)
}

/// A case about this pack in which nothing happens.
fn bare(pack: Pack) -> Option<Case> {
    let (seed, charge_percent, celsius) = (0, 50, 20);
    let (duty, defects, limits) = (Vec::new(), Vec::new(), Limits::usual());
    Story { pack, seed, charge_percent, celsius, duty, defects, limits }.case("limits.toml").ok()
}
