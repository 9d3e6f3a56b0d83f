//! What each kind of defect writes into the pack's deviations.
//!
//! Several may act at one place. What has an amount adds up, or what each of them leaves is multiplied; what is only there or not is there
//! once; of what excludes each other the order of the list decides. So the sum depends on which ones are present and not on the
//! order in which they came, and any of them that goes leaves the others.

use super::{Defect, Kind};
use crate::world::deviation::{Deviations, LinkReading, TapSide};
use crate::world::spec::PackSpec;

/// Nominal voltage of a cell, in volts.
const NOMINAL_CELL_VOLTS: f64 = 3.2;

/// Writes one present defect, grown to `growth` (0 to 1); `caught` is the reading caught at its onset, for what is
/// frozen.
///
/// What is a resistance across something grows as a conductance: from none to that of its severity.
pub(super) fn write<const CELLS: usize, const THERMISTORS: usize>(
    defect: &Defect,
    growth: f64,
    caught: f64,
    spec: &PackSpec,
    to: &mut Deviations<CELLS, THERMISTORS>,
) {
    let place = defect.place;
    let amount = defect.severity * growth;
    match defect.kind {
        Kind::AddedResistance => to.cell_ohms[place] += 1e-3 * amount,
        Kind::LooseJointTapAbove => {
            to.joint_ohms[place] += 1e-3 * amount;
            to.tap_side[place] = TapSide::Upper;
        }
        Kind::LooseJointTapBelow => {
            to.joint_ohms[place] += 1e-3 * amount;
            to.tap_side[place] = TapSide::Lower;
        }
        // Done once, at the onset.
        Kind::ChargeOutOfLine => {}
        Kind::CellLeak | Kind::HardShort => to.leak_siemens[place] += growth / defect.severity,
        Kind::LostCapacity => to.capacity_left[place] *= 1.0 - 0.01 * amount,
        Kind::AgedCell => {
            to.capacity_left[place] *= 1.0 - 0.01 * amount;
            to.resistance_factor[place] *= 1.0 + 0.05 * amount;
        }
        Kind::CellReversed => to.cells_reversed ^= 1 << place,
        Kind::CellHeatsItself => to.cell_watts[place] += amount,
        Kind::ExternalHeat => to.module_watts[place] += amount,
        Kind::SenseWireOpen => to.wires[place].open = true,
        Kind::SenseWireCorroded => to.wires[place].ohms += amount,
        Kind::SenseWiresSwapped => to.tap_of_wire.swap(place, spec.wire_beside(place)),
        Kind::BleedStuckOn => to.bleeds_stuck_on |= 1 << place,
        Kind::BleedStuckOff => to.bleeds_stuck_off |= 1 << place,
        Kind::CellChannelOffset => to.cell_offset_volts[place] += 1e-3 * amount,
        Kind::CellChannelGain => to.cell_gain[place] += 0.01 * amount,
        Kind::CellChannelFrozen => {
            to.cells_frozen |= 1 << place;
            to.frozen_volts[place] = caught;
        }
        Kind::CurrentOffset => to.currents[place].offset_amps += amount,
        Kind::CurrentGain => to.currents[place].gain += 0.01 * amount,
        Kind::CurrentDead => to.currents[place].dead = true,
        Kind::CurrentReversed => to.currents[place].reversed ^= true,
        Kind::CurrentDrift => to.currents[place].drift.add(amount / 3_600.0, defect.onset_seconds),
        Kind::CurrentSampledEarly => to.currents[place].earlier_seconds += 1e-3 * amount,
        Kind::PackVoltageGain => to.pack_gain += 0.01 * amount,
        Kind::LinkReadingDead => to.link_reading = LinkReading::Dead,
        // A dead one shows nothing, frozen or not.
        Kind::LinkReadingFrozen if to.link_reading == LinkReading::Dead => {}
        Kind::LinkReadingFrozen => to.link_reading = LinkReading::Frozen(caught),
        Kind::LinkVoltageGain => to.link_gain += 0.01 * amount,
        Kind::SupplyReadingGain => to.supply_gain += 0.01 * amount,
        Kind::ThermistorOpen => to.thermistors[place].open = true,
        Kind::ThermistorShort => to.thermistors[place].leak_siemens += growth / defect.severity,
        Kind::ThermistorMoisture => to.thermistors[place].leak_siemens += 1e-3 * growth / defect.severity,
        Kind::ThermistorFrozen => to.thermistors[place].frozen = Some(caught),
        Kind::ThermistorOffset => to.thermistors[place].offset_kelvin += amount,
        Kind::ThermistorDetached => {
            let detached = &mut to.thermistors[place].detached;
            *detached = 1.0 - (1.0 - *detached) * (1.0 - 0.01 * amount);
        }
        Kind::ThermistorsSwapped => to.thermistor_shown.swap(place, (place + 1) % THERMISTORS),
        Kind::CoolingStopped => to.airflow.fan_stopped = true,
        Kind::AirflowBlocked => to.airflow.left *= 1.0 - 0.01 * amount,
        Kind::ContactorWelded => to.contactors[place].welded = true,
        Kind::ContactorCoilOpen => to.contactors[place].coil_open = true,
        Kind::ContactorSlow => to.contactors[place].slower_seconds += 1e-3 * amount,
        Kind::FeedbackStuckOpen => to.contactors[place].feedback_stuck = Some(false),
        Kind::FeedbackStuckClosed => to.contactors[place].feedback_stuck = Some(true),
        Kind::PrechargeDrifted => to.precharge_factor *= 1.0 + 0.01 * amount,
        Kind::PrechargeOpen => to.precharge_open = true,
        Kind::LinkCapacityLost => to.link_left *= 1.0 - 0.01 * amount,
        Kind::BleedDownOpen => to.bleed_down_open = true,
        Kind::LoadLeftOn | Kind::LinkShorted => to.left_on_siemens += growth / defect.severity,
        Kind::LoadIgnoresLimit => to.ignores_limit = true,
        Kind::MotorTurning => {
            let nominal = NOMINAL_CELL_VOLTS * f64::from(u32::try_from(spec.cells).unwrap_or(u32::MAX));
            // Of two motors on one link the faster one feeds it.
            to.motor_volts = to.motor_volts.max(0.01 * amount * nominal);
        }
        Kind::ContactorBouncing => to.contactors[place].bounce_seconds += 1e-3 * amount,
        Kind::ShortCircuit => to.left_on_siemens += 1e3 * growth / defect.severity,
        Kind::FuseBlown => to.string_breaks.fuse_blown = true,
        Kind::ServiceDisconnectOut => to.string_breaks.disconnect_out = true,
        Kind::InterlockOpen => to.signals.interlock_open = true,
        Kind::InterlockIntermittent => to.signals.interlock_breaks_a_minute += amount,
        Kind::AuxiliaryDisconnectOut => to.signals.auxiliary_out = true,
        Kind::ImpactSignal => to.signals.impact_edges += amount,
        Kind::FramesLost => to.transit.lost = 1.0 - (1.0 - to.transit.lost) * (1.0 - 0.01 * amount),
        Kind::FramesLate => to.transit.late_ms += whole_ms(amount),
        Kind::PartStale => to.transit.standing |= 1 << place,
        Kind::TickLate => to.transit.tick_late_ms += whole_ms(amount),
        Kind::ClockFast => to.transit.clock_gains += 0.01 * amount,
        Kind::ConfigurationBit => to.transit.bit_flipped = true,
        Kind::LeakPositive => to.chassis_leaks.positive += 1e-3 * growth / defect.severity,
        Kind::LeakNegative => to.chassis_leaks.negative += 1e-3 * growth / defect.severity,
        Kind::LeakAlongString => to.string_siemens[place] += 1e-3 * growth / defect.severity,
        Kind::LeakOfLoad => to.chassis_leaks.load_positive += 1e-3 * growth / defect.severity,
        Kind::MoistureToChassis => {
            to.chassis_leaks.positive += 1e-3 * growth / defect.severity;
            to.chassis_leaks.negative += 1e-3 * growth / defect.severity;
        }
        Kind::SupplySagging => to.supply_ohms += amount,
    }
}

/// The range of the list is positive and short.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some seconds at most")]
fn whole_ms(milliseconds: f64) -> u64 {
    libm::round(milliseconds) as u64
}
