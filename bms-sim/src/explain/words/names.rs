//! Names of steps, stages, rules and reasons: one a variant.

use bms_core::BleedRefusal;
use bms_core::decision::{Coil, Coils};
use bms_core::estimate::Discarded;
use bms_core::fault::{Clearing, Reaction, Stage};
use bms_core::frame::{Clearance, Contactor, Pole};
use bms_core::limit::LimitRule;
use bms_core::sense::{Doubt, PartName};
use bms_core::sequence::Step;
use bms_core::witness::Act;

/// A contactor's name.
#[must_use]
pub const fn contactor(contactor: Contactor) -> &'static str {
    match contactor {
        Contactor::Negative => "negative",
        Contactor::Precharge => "precharge",
        Contactor::Positive => "positive",
    }
}

/// A pole of the pack.
#[must_use]
pub(super) const fn pole(pole: Pole) -> &'static str {
    match pole {
        Pole::Negative => "negative",
        Pole::Positive => "positive",
    }
}

/// A step of the contactor sequence.
#[must_use]
pub const fn step(step: Step) -> &'static str {
    match step {
        Step::Open => "Open",
        Step::ClosingNegative => "ClosingNegative",
        Step::Precharging => "Precharging",
        Step::ClosingPositive => "ClosingPositive",
        Step::Closed => "Closed",
        Step::Easing => "Easing",
        Step::Opening => "Opening",
        Step::ProvingDead => "ProvingDead",
        Step::Barred => "Barred",
    }
}

/// A reaction.
#[must_use]
pub const fn reaction(reaction: Reaction) -> &'static str {
    match reaction {
        Reaction::Report => "Report",
        Reaction::Derate => "Derate",
        Reaction::OpenSoon => "OpenSoon",
        Reaction::OpenNow => "OpenNow",
    }
}

/// A stage.
#[must_use]
pub const fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::Clear => "Clear",
        Stage::Suspect { .. } => "Suspect",
        Stage::Confirmed { .. } => "Confirmed",
        Stage::Latched => "Latched",
    }
}

/// Which coils are energised.
#[must_use]
pub fn coils(coils: Coils) -> String {
    let on: Vec<&str> = [Contactor::Negative, Contactor::Precharge, Contactor::Positive]
        .into_iter()
        .filter(|which| coils.of(*which) == Coil::On)
        .map(contactor)
        .collect();
    if on.is_empty() { "no coil".to_owned() } else { on.join(", ") }
}

/// The name of a frame's part.
#[must_use]
pub const fn part(part: PartName) -> &'static str {
    match part {
        PartName::Cells => "cell voltages",
        PartName::Thermistors => "thermistors",
        PartName::Current => "current",
        PartName::CurrentCheck => "current of the check sensor",
        PartName::Voltages => "pack and link voltages",
        PartName::Supply => "auxiliary supply",
        PartName::Feedback => "feedback contacts",
        PartName::Poles => "voltages of the poles against the chassis",
        PartName::Contacts => "contacts and counters around the pack",
    }
}

/// A rule of the current limit.
#[must_use]
pub const fn rule(rule: LimitRule) -> &'static str {
    match rule {
        LimitRule::Rating => "what the pack is built for",
        LimitRule::CellVoltage => "the voltage that a cell would soon reach",
        LimitRule::Temperature => "temperature",
        LimitRule::Charge => "the worse end of the charge interval",
        LimitRule::HeatBudget => "the heat budget of fuse and cable",
        LimitRule::Derate => "a fault that demands Derate",
        LimitRule::LostReading => "a reading that is missing",
        LimitRule::NotClosed => "contactors that are not closed",
        LimitRule::Smoothing => "how fast a limit may change",
    }
}

/// Who may clear a fault.
#[must_use]
pub const fn clearing(clearing: Clearing) -> &'static str {
    match clearing {
        Clearing::AtPanel => "at the panel",
        Clearing::AtService => "by the workshop only",
    }
}

/// Who clears.
pub(super) const fn clearance(by: Clearance) -> &'static str {
    match by {
        Clearance::Panel => "at the panel",
        Clearance::Service => "by the workshop",
    }
}

/// Something that was asked for.
pub(super) const fn act(act: Act) -> &'static str {
    match act {
        Act::Close => "closing",
        Act::Replace => "entering what was replaced",
    }
}

/// What speaks against a thermistor's reading.
pub(super) const fn doubt(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::AtOpenRail => "it stands at the rail of an open wire and is dropped",
        Doubt::AtShortRail => "it stands at the rail of a short circuit and is dropped",
        Doubt::ClimbedToRail => {
            "it climbed to the rail of a short circuit and counts as hot as its table goes"
        }
        Doubt::Jumped => "it changed faster than its mass allows",
        Doubt::Stray => "it is far from its neighbours",
        Doubt::Frozen => "it stayed identical while its neighbours moved",
    }
}

/// Why a load step was not used.
pub(super) const fn discarded(because: Discarded) -> &'static str {
    match because {
        Discarded::TooSmall => "it is too small",
        Discarded::CurrentMoved => "the current still moved in the window after it",
        Discarded::ReadingMissing => "a reading was missing in a window",
        Discarded::NotQuiet => "cells were bleeding or precharge was running",
    }
}

/// Why a cell does not bleed.
pub(super) const fn bleed_refusal(because: BleedRefusal) -> &'static str {
    match because {
        BleedRefusal::NotProvenAbove => {
            "its charge interval does not prove that it is fuller than the emptiest cell"
        }
        BleedRefusal::BelowFloor => "it may be too empty",
        BleedRefusal::Temperature => "its module is too cold or too hot",
        BleedRefusal::HeatBudget => "its module already makes all the heat that is allowed",
        BleedRefusal::ReadingDoubted => "a fault speaks against its reading",
        BleedRefusal::Measuring => "cells are being measured",
        BleedRefusal::WiresUntested => "the sense wires have not been tested since the start",
    }
}
