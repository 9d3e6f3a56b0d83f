//! What befalls a frame on its way, the ticks of the controller, and its configuration: the pack itself never knows of it.
//!
//! So these are held against their twin where frames reach the core, in the loop. The pack stands open and parked, so that what the
//! firmware makes of it moves nothing.

use crate::entry::Entry;
use bms_core::frame::Asked;
use bms_core::{Config, Frame};
use bms_sim::case::Case;
use bms_sim::defect::{Defect, Kind};
use bms_sim::run::Loop;
use std::sync::Arc;

pub(crate) fn entries() -> Vec<Entry> {
    let kinds = [
        Kind::FramesLost,
        Kind::FramesLate,
        Kind::PartStale,
        Kind::TickLate,
        Kind::ClockFast,
        Kind::ConfigurationBit,
    ];
    kinds
        .into_iter()
        .map(|kind| Entry { kind, place: 0, ticks: (200, 300), at_once: &[], keeps: &[] })
        .collect()
}

/// Whether the kind acts between world and core.
pub(crate) fn holds(kind: Kind) -> bool {
    entries().iter().any(|entry| entry.kind == kind)
}

/// First second in which it is present, and the first in which it is not any more.
const SECONDS: (f64, f64) = (2.0, 3.0);

/// The parked trainer for six seconds.
fn parked(defect: Option<Defect>) -> Loop<16, 8> {
    let text = "schema = 1\ntitle = \"Parked\"\nstory = \"Told by the test.\"\npack = \"trainer\"\nseed = 7\nduration_s = 6\n\
                start = { charge_percent = 60, celsius = 20 }";
    let mut case = Case::parse(text, "parked.toml").expect("the case is accepted");
    case.defects.extend(defect);
    Loop::new(&Arc::new(case)).expect("the trainer is a pack")
}

/// What the core is given in a tick: the frame, and the configuration in its memory.
fn given(played: &Loop<16, 8>) -> (Frame<16, 8>, Config) {
    (played.frame(), **played.core.config())
}

/// The same to the bit before its onset and in another run; something else while it is there; and afterwards just what is measured reaches
/// the core again, at whatever time its clock has come to.
pub(crate) fn wrong_from_the_onset(entry: &Entry) -> Vec<String> {
    let (from, to) = SECONDS;
    let defect = Defect { end_seconds: Some(to), ..Defect::usual(entry.kind, 0, from) };
    let (mut played, mut again, mut twin) = (parked(Some(defect)), parked(Some(defect)), parked(None));
    let mut hidden = true;
    while !twin.over() {
        let (at, seen, sound) = (twin.seconds(), given(&played), given(&twin));
        if seen != given(&again) {
            return entry.say(&format!("another run differs at {at} s"));
        }
        if at < from && seen != sound {
            return entry.say(&format!("shows at {at} s, before its onset"));
        }
        let measured = played.world.measure(played.tick, seen.0.at, Asked::NOTHING);
        if played.world.seconds > to + 0.015 && seen != (measured, sound.1) {
            return entry.say(&format!("still shows at {at} s"));
        }
        hidden &= seen == sound;
        for each in [&mut played, &mut again, &mut twin] {
            each.advance(&mut ());
        }
    }
    if hidden { entry.say("is seen nowhere") } else { Vec::new() }
}
