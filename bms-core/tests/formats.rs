//! Every public value of the core formats through defmt with the feature `defmt`, and with `serde` it can be stored: all can be
//! written, and all but those that name a rule of the configuration can be read back. States (the controller and what it owns) and
//! what holds drivers are no values: they are read through their methods.
//!
//! That the bounds hold is checked by compiling this file with the features (clippy and the feature stage do); that the lists are
//! complete is checked by running it: every public struct and enum of the sources must stand in one of them.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// `sort: path, …` makes the names, and for each feature a function that compiles only if the bounds hold.
macro_rules! values {
    (read_back { $($both:ty,)+ } written { $($written:ty,)+ } formatted { $($formatted:ty,)+ }) => {
        /// The names of all values of the lists.
        const VALUES: &[&str] =
            &[$(stringify!($both),)+ $(stringify!($written),)+ $(stringify!($formatted),)+];

        #[cfg(feature = "defmt")]
        #[allow(dead_code, reason = "compiling it is the check")]
        fn formats_through_defmt() {
            fn formats<T: defmt::Format>() {}
            $(formats::<$both>();)+
            $(formats::<$written>();)+
            $(formats::<$formatted>();)+
        }

        #[cfg(feature = "serde")]
        #[allow(dead_code, reason = "compiling it is the check")]
        fn stores_through_serde() {
            fn written<T: serde::Serialize>() {}
            fn read_back<T: serde::Serialize + serde::de::DeserializeOwned>() {}
            $(read_back::<$both>();)+
            $(written::<$written>();)+
        }
    };
}

values! {
    read_back {
        bms_core::BleedRefusal,
        bms_core::config::Accepts, bms_core::config::BalanceRules, bms_core::config::ChargeFacts, bms_core::config::Config,
        bms_core::config::ContactRules, bms_core::config::ContactorLife,
        bms_core::config::CoolingRules, bms_core::config::InsulationFacts, bms_core::config::QuarantineRules,
        bms_core::config::LimitRules, bms_core::config::MeasuringPoints, bms_core::config::Pack, bms_core::config::ResistanceFacts,
        bms_core::config::RestRules, bms_core::config::Sensing, bms_core::config::SequenceFacts, bms_core::config::ThermistorCurve, bms_core::config::WireRules, bms_core::config::Wiring,
        bms_core::decision::CellSet<96>, bms_core::decision::Coil, bms_core::decision::Coils, bms_core::decision::Cooling,
        bms_core::decision::CurrentLimits, bms_core::decision::Decision<96>, bms_core::decision::FaultSummary,
        bms_core::decision::Warning,
        bms_core::Each<bms_core::units::Volts, 96>,
        bms_core::estimate::Discarded, bms_core::estimate::Interval, bms_core::estimate::LoadStep,
        bms_core::fault::Clearing, bms_core::fault::Counter, bms_core::fault::Fault, bms_core::fault::FaultLimits,
        bms_core::fault::FaultSet, bms_core::fault::Found, bms_core::fault::Freeze,
        bms_core::fault::Limit<bms_core::units::Volts>, bms_core::fault::Reaction, bms_core::fault::Reading,
        bms_core::fault::Record, bms_core::fault::Stage, bms_core::fault::Was,
        bms_core::frame::Asked, bms_core::frame::Clearance, bms_core::frame::Contact, bms_core::frame::Contactor,
        bms_core::frame::Contacts, bms_core::frame::Feedback, bms_core::frame::Frame<96, 16>, bms_core::frame::Inputs,
        bms_core::frame::PackVoltages, bms_core::frame::Part<bms_core::units::Amps>, bms_core::frame::Pole,
        bms_core::frame::PoleVoltages, bms_core::frame::Pulled<96>, bms_core::frame::Replaced, bms_core::frame::ToChassis, bms_core::frame::Turning,
        bms_core::frame::Wanted,
        bms_core::insulation::Insulated, bms_core::insulation::InsulationSide, bms_core::insulation::InsulationStep,
        bms_core::insulation::Spoilt,
        bms_core::quarantine::Disturbance, bms_core::quarantine::Quarantine,
        bms_core::kept::Label, bms_core::kept::Restart, bms_core::kept::Unusable,
        bms_core::limit::LimitRule, bms_core::limit::Side,
        bms_core::sense::Doubt, bms_core::sense::PartName,
        bms_core::sequence::Because, bms_core::sequence::PrechargeCheck, bms_core::sequence::Step, bms_core::sequence::Wear,
        bms_core::units::Amps, bms_core::units::Celsius, bms_core::units::CelsiusPerSecond, bms_core::units::Coulombs,
        bms_core::units::Instant, bms_core::units::Milliohms, bms_core::units::Millis, bms_core::units::Ohms,
        bms_core::units::OhmsPerVolt, bms_core::units::Ratio, bms_core::units::Uptime, bms_core::units::Volts,
        bms_core::wires::OpenWire, bms_core::wires::WireTest,
        bms_core::witness::Act, bms_core::witness::Assessment, bms_core::witness::Place, bms_core::witness::Quantity,
        bms_core::witness::Refusal, bms_core::witness::Unseparable,
    }
    written { bms_core::config::ConfigError, bms_core::config::Key, bms_core::witness::Evidence, }
    formatted {
        bms_core::fault::Dwells, bms_core::fault::Shown,
        bms_core::hal::Channel, bms_core::hal::DriverErrorKind, bms_core::hal::FittedScales, bms_core::hal::Misfit,
        bms_core::hal::Scale<bms_core::units::Volts>, bms_core::hal::Scales, bms_core::hal::Trouble,
    }
}

/// What the serial line carries exists with its feature only, which has both others' bounds by itself.
#[cfg(feature = "serial")]
#[allow(dead_code, reason = "compiling it is the check")]
fn goes_over_the_wire() {
    fn both_ways<T: serde::Serialize + serde::de::DeserializeOwned>() {}
    both_ways::<bms_core::serial::ToTarget<96, 16>>();
    both_ways::<bms_core::serial::ToHost<96>>();
    both_ways::<bms_core::serial::Refusal>();
}

/// No values: states, what owns them, drivers, borrowed bytes, the end of a sentence, and what the serial line carries (above).
const NO_VALUES: [&str; 20] = [
    "Board",
    "Checked",
    "Controller",
    "Estimated",
    "Faults",
    "Fitted",
    "Garbled",
    "Insulation",
    "Memory",
    "NoRoom",
    "Objection",
    "Receiver",
    "Schedule",
    "Station",
    "Stored",
    "ToHost",
    "ToTarget",
    "hal::Coils",
    "hal::Feedback",
    "$name",
];

fn name(of: &str) -> String {
    let path: String = of.split('<').next().unwrap_or_default().split_whitespace().collect();
    path.rsplit("::").next().unwrap_or_default().to_owned()
}

/// The public structs and enums of a file; a `pub(crate)` one is none.
fn declared(text: &str) -> impl Iterator<Item = &str> {
    text.lines().filter_map(|line| {
        let line = line.trim_start();
        let rest = line.strip_prefix("pub struct ").or_else(|| line.strip_prefix("pub enum "))?;
        rest.split(['<', '(', '{', ' ', ';']).next()
    })
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of the sources can be read") {
        let path = entry.expect("an entry can be read").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

#[test]
fn every_public_type_stands_in_a_list() {
    let mut files = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut files);
    let listed: BTreeSet<String> = VALUES.iter().map(|value| name(value)).collect();
    let mut missing = Vec::new();
    let mut count = 0;
    for file in &files {
        let text = fs::read_to_string(file).expect("a source file is text");
        for declared in declared(&text) {
            count += 1;
            let in_hal = format!("hal::{declared}");
            let no_value = NO_VALUES.contains(&declared) || NO_VALUES.contains(&in_hal.as_str());
            if !listed.contains(declared) && !no_value {
                missing.push(format!("{}: {declared}", file.display()));
            }
        }
    }
    assert!(count > 50, "the sources were not found: only {count} types");
    assert!(missing.is_empty(), "neither formatted nor named as no value:\n{}", missing.join("\n"));
}
