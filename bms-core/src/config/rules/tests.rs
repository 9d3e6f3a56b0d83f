use super::*;
use crate::config::{Pack, SequenceFacts, ThermistorCurve};
use crate::fault::Fault;
use crate::units::OhmsPerVolt;
use crate::witness::Quantity;

/// The crane with one thing changed, and what its check says.
fn refused(spoil: impl FnOnce(&mut Config)) -> Option<ConfigError> {
    let mut config = Config::crane();
    spoil(&mut config);
    config.check(96, 16).err()
}

fn says(spoil: impl FnOnce(&mut Config)) -> String {
    refused(spoil).map_or_else(|| "accepted".to_owned(), |error| error.to_string())
}

/// One way to break each rule, in the order of the list; values are chosen so that no rule before it is broken.
const SPOILT: [fn(&mut Config); LISTED] = [
    |c| c.pack.cells_per_module = 11,
    |c| c.pack.thermistors_per_module = 1,
    |c| c.pack.cells_below_fuse = 0,
    |c| c.pack.cells_below_fuse = 97,
    |c| c.pack.capacity = Coulombs::ZERO,
    |c| c.pack.one_c = Amps::ZERO,
    |c| c.pack.one_c = Amps::from_milli(98_000),
    |c| c.pack.one_c = Amps::from_milli(102_000),
    |c| c.pack.nominal = Volts::from_milli(268_000),
    |c| c.pack.nominal = Volts::from_milli(351_000),
    |c| c.pack.current_range = Amps::from_milli(499_000),
    |c| {
        c.pack.current_range = Amps::from_milli(600_000);
        c.faults.over_current_charge.trip = Amps::from_milli(601_000);
    },
    |c| c.pack.current_check_range = Amps::from_milli(2_000_000),
    |c| c.pack.tick = Millis::ZERO,
    |c| c.pack.stands_twice = Millis::ZERO,
    |c| c.pack.stands_twice = Millis(60_001),
    |c| c.pack.oldest_age = Millis(9),
    |c| c.pack.resistance.expected = Milliohms::ZERO,
    |c| c.pack.resistance.least_step = Amps::ZERO,
    |c| c.pack.resistance.least_step = Amps::from_milli(400_000),
    // 6 mV in 30 A are 0.2 mΩ.
    |c| c.pack.resistance.excess = Milliohms::from_milli(199),
    |c| c.pack.resistance.excess_of_expected = Ratio::from_bits(-1),
    |c| c.pack.resistance.steady = Ratio::ZERO,
    |c| c.pack.resistance.steady = Ratio::percent(50),
    |c| c.pack.resistance.against = 0,
    |c| c.pack.resistance.accounted = Ratio::ZERO,
    |c| c.pack.resistance.accounted = Ratio::ONE,
    |c| c.pack.resistance.before = Millis(19),
    |c| c.pack.resistance.before = Millis(2_001),
    |c| c.pack.resistance.settle = Millis(9),
    |c| c.pack.resistance.longest_move = Millis(9),
    |c| c.pack.resistance.median_within = 0,
    |c| c.pack.resistance.after = Millis(19),
    |c| c.pack.resistance.after = Millis(2_001),
    |c| c.sensing.cell_error = Volts::ZERO,
    |c| c.sensing.voltage_error = Volts::ZERO,
    |c| c.sensing.path = Milliohms::from_bits(-1),
    |c| c.sensing.current_offset = Amps::from_milli(5_001),
    |c| c.sensing.current_offset_learnt = Amps::from_bits(-1),
    |c| c.sensing.current_offset_learnt = Amps::from_milli(2_001),
    |c| c.sensing.learning = Millis(999),
    |c| c.sensing.unseen = Millis(29),
    |c| c.sensing.range_end = Ratio::percent(89),
    |c| c.sensing.range_end = Ratio::percent(101),
    |c| c.sensing.current_gain = Ratio::from_bits(-1),
    |c| c.sensing.current_gain = Ratio::percent(50),
    |c| c.sensing.temperature_error = Celsius::from_bits(-1),
    |c| c.sensing.time_base = Ratio::from_bits(-1),
    |c| c.sensing.rail = Ratio::ZERO,
    // 10 kΩ to 332.1 kΩ at −40 °C leaves 2.92 %.
    |c| {
        c.sensing.curve = ThermistorCurve::B3977;
        c.sensing.rail = Ratio::from_milli(30);
    },
    |c| c.sensing.jump = Celsius::from_milli(2_000),
    |c| c.sensing.stray = Celsius::from_milli(4_000),
    |c| c.sensing.stray_back = Ratio::ZERO,
    |c| c.sensing.stray_back = Ratio::ONE,
    |c| c.sensing.warmer_by_work = Ratio::from_bits(-1),
    |c| c.sensing.doubted_after_jump = 2,
    |c| c.sensing.frozen = Celsius::ZERO,
    |c| c.sensing.frozen_window = Millis(1_999),
    |c| c.sensing.blind_margin = Celsius::from_milli(1_999),
    |c| c.charge.capacity_least = Ratio::ZERO,
    |c| c.charge.capacity_least = Ratio::percent(101),
    |c| c.charge.capacity_most = Ratio::percent(99),
    |c| c.charge.drain = Amps::from_bits(-1),
    |c| c.charge.self_discharge = Amps::from_bits(-1),
    |c| c.charge.bleed = Amps::ZERO,
    |c| c.charge.bleed_tolerance = Ratio::from_bits(-1),
    |c| c.charge.bleed_tolerance = Ratio::ONE,
    |c| c.charge.rest_warm = Millis(9_999),
    |c| c.charge.rest_cold = Millis(1_799_999),
    |c| c.charge.rest_cold_by = Celsius::ZERO,
    |c| c.charge.still_mean = Millis(999),
    |c| c.charge.compare_again = Millis(9_999),
    |c| c.charge.curve_error = Volts::from_bits(-1),
    |c| c.charge.curve_error_ends = Volts::from_bits(-1),
    |c| c.charge.curve_spread = Volts::from_bits(-1),
    |c| c.charge.curve_spread = Volts::from_milli(21),
    |c| c.charge.entropy = Volts::from_bits(-1),
    |c| c.charge.hysteresis = Volts::from_bits(-1),
    |c| c.charge.one_way = Ratio::from_milli(5),
    |c| c.charge.one_way_back = Ratio::from_bits(-1),
    |c| c.charge.shared = Ratio::percent(4),
    |c| c.charge.beyond = Ratio::from_bits(-1),
    |c| c.charge.beyond = Ratio::percent(11),
    |c| c.charge.relaxation = Volts::from_bits(-1),
    |c| c.charge.still_resistance = Milliohms::from_milli(714),
    |c| c.rest.settled = 0,
    |c| c.rest.fall_mean = Millis(59_999),
    |c| c.rest.fall_window = Millis::from_seconds(2_399),
    |c| c.rest.fall_window = Millis::from_seconds(86_401),
    |c| c.rest.most_of_lesser = Ratio::percent(99),
    |c| c.rest.least_leak = Ratio::ZERO,
    |c| c.rest.least_leak = Ratio::from_milli(201),
    |c| c.rest.steep = Volts::ZERO,
    |c| c.rest.loss_between = Millis::from_seconds(3_599),
    |c| c.rest.loss_between = Millis::from_seconds(3_456_001),
    |c| c.quarantine.quiet = Millis::from_seconds(3_599),
    |c| c.quarantine.quiet = Millis::from_seconds(3_456_001),
    |c| c.quarantine.longest_step = Millis(9),
    |c| c.quarantine.longest_step = Millis::from_seconds(3_601),
    |c| c.quarantine.rise = Celsius::ZERO,
    |c| c.quarantine.fall = Volts::ZERO,
    |c| c.sensing.calm = Amps::from_milli(20_001),
    |c| c.sensing.flows = Amps::from_milli(2_000),
    |c| c.cells.cold_reduction = Volts::from_milli(-1),
    |c| c.cells.cold_reduction = Volts::from_milli(2_500),
    |c| c.cells.cold_full = Celsius::ZERO,
    |c| c.cells.spread_after = Millis(59_999),
    |c| c.cells.flat_from = Ratio::percent(90),
    |c| c.cells.steep_times = 0,
    |c| c.sensing.gap_mean = Millis(1_001),
    |c| c.sensing.rises_until = Celsius::from_milli(45_000),
    |c| c.sensing.rises_from = Celsius::from_milli(55_001),
    |c| c.cooling.window = Millis(59_999),
    |c| (c.cooling.window, c.cooling.mean) = (Millis(60_000), 31),
    |c| c.cooling.mean = 0,
    |c| c.cooling.hot_from = Celsius::from_milli(65_000),
    |c| c.cooling.surroundings = Celsius::from_milli(45_001),
    |c| c.cooling.hot_until = Celsius::from_milli(50_000),
    |c| c.cooling.from = Celsius::from_milli(47_000),
    |c| c.cooling.least_fall = Ratio::ZERO,
    |c| c.cooling.least_fall = Ratio::ONE,
    |c| c.sequence.precharge_ohms = Ohms(0),
    |c| c.sequence.bleed_down_ohms = Ohms(0),
    |c| c.sequence.link_microfarads = 0,
    // Twice 1.536 V of 307.2 V are 1 %.
    |c| c.sequence.end_fraction = Ratio::from_milli(9),
    |c| c.sequence.end_fraction = Ratio::from_milli(101),
    |c| c.sequence.end_volts = Volts::from_milli(3_070),
    |c| c.sequence.least_rise = Ratio::ZERO,
    |c| c.sequence.least_rise = Ratio::percent(5),
    // 2 500 of 2 640 Ω are 94.7 %.
    |c| c.sequence.precharge_ohms = Ohms(140),
    // 1.96 % of 350.4 V are 6.87 V.
    |c| c.sequence.end_volts = Volts::from_milli(6_860),
    |c| c.sequence.link_microfarads = 500,
    // 98.04 % − 95 % = 3.04 % = 98.04 % · e^(−3.47).
    |c| c.sequence.time_constants = 3,
    |c| c.sequence.flat_after = Millis(70),
    |c| c.sequence.floating_time_constant = Millis(9),
    |c| c.sequence.step_deadline = Millis(126),
    |c| c.sequence.step_deadline = Millis(131),
    |c| c.sequence.differs_for = Millis(9),
    |c| c.sequence.differs_for = Millis(501),
    |c| c.sequence.switching_limit = Amps::from_milli(2_000),
    |c| c.sequence.breaking_limit = Amps::from_milli(399_000),
    |c| {
        c.limits.discharge = Amps::from_milli(90_000);
        c.sequence.breaking_limit = Amps::from_milli(95_000);
    },
    |c| c.sequence.grace = Millis(199),
    |c| c.sequence.touch_limit = Volts::ZERO,
    |c| c.sequence.touch_limit = Volts::from_milli(60_001),
    |c| c.sequence.live_fraction = Ratio::ZERO,
    |c| c.sequence.live_fraction = Ratio::ONE,
    // 350.4 V · e^(−4.4 s / 2.5 s) = 60.3 V.
    |c| c.sequence.dead_after = Millis(4_400),
    |c| c.sequence.supply_for_closing = Volts::from_milli(9_400),
    |c| c.sequence.supply_at_pull_in = Volts::ZERO,
    |c| c.sequence.supply_at_pull_in = Volts::from_milli(9_001),
    |c| c.sequence.supply_sag = Millis(39),
    |c| c.sequence.supply_sag = Millis(501),
    |c| c.sequence.retries = 0,
    |c| c.sequence.retry_pause = Millis(19),
    |c| c.sequence.resistor_rise_per_start = Celsius::ZERO,
    |c| c.sequence.resistor_rise_most = Celsius::from_milli(44_000),
    |c| c.sequence.resistor_cooling = Millis::ZERO,
    |c| c.life.slight_difference = Ratio::percent(4),
    |c| c.life.slight_closings = 49,
    |c| c.life.large_difference = Ratio::percent(10),
    |c| c.life.large_closings = 0,
    |c| c.life.openings = 0,
    |c| c.contacts.break_window = Millis(999),
    |c| c.contacts.impact_window = Millis(4),
    |c| c.contacts.most_counts = 3,
    |c| c.contacts.most_counts = 128,
    // 100 Ω/V at 307.2 V are 30 720 Ω, ten times 500 Ω/V are 1.536 MΩ, four times 614.4 kΩ.
    |c| c.insulation.known = Ohms(30_700),
    |c| c.insulation.known = Ohms(1_537_000),
    |c| c.insulation.meter = Ohms(614_000),
    |c| c.insulation.nanofarads = 0,
    |c| c.insulation.window = Millis(19),
    |c| c.insulation.settled = Ratio::ZERO,
    |c| c.insulation.settled = Ratio::percent(2),
    // 9 halvings of 1 s, 6.24 s, and three windows of 250 ms.
    |c| c.insulation.patience = Millis(6_980),
    |c| c.insulation.moved = Ratio::percent(10),
    |c| c.insulation.least = Volts::from_milli(1_500),
    // 96 cells of 2.5 V.
    |c| c.insulation.least = Volts::from_milli(240_000),
    |c| c.insulation.pause = Millis(3_600_001),
    // A pause of 5 s, and twice 1 s · 9 · ln 2 + 0.75 s.
    |c| c.insulation.oldest = Millis(18_000),
    |c| c.insulation.oldest = Millis(86_400_001),
    |c| c.insulation.charging = Amps::from_milli(2_000),
    |c| c.insulation.charging_for = Millis(999),
    |c| c.insulation.readings = 9,
    |c| c.insulation.readings_far = 0,
    |c| c.insulation.readings_far = 4,
    |c| c.wires.every = Millis(3_600_001),
    |c| c.wires.again = Millis(19),
    |c| c.wires.again = Millis(60_001),
    |c| c.wires.tests = 0,
    |c| c.wires.rail = Volts::from_milli(2),
    |c| c.wires.rail = Volts::from_milli(2_500),
    |c| c.wires.answer = Millis(19),
    |c| c.limits.charge = Amps::ZERO,
    |c| c.limits.charge = Amps::from_milli(271_000),
    |c| c.limits.discharge = Amps::from_milli(451_000),
    |c| c.limits.ahead = Millis(999),
    |c| c.limits.follows = Millis(9),
    |c| c.limits.margin = Volts::from_milli(2),
    |c| c.limits.resistance = Milliohms::from_milli(714),
    |c| c.limits.cold_charge_none = Celsius::from_milli(-1),
    |c| c.limits.cold_charge_some = Celsius::ZERO,
    |c| c.limits.cold_charge_warm = Celsius::from_milli(5_000),
    |c| c.limits.cold_charge_full = Celsius::from_milli(15_000),
    |c| c.limits.cold_charge_least = Amps::ZERO,
    |c| c.limits.cold_charge_more = Amps::from_milli(19_000),
    |c| c.limits.cold_charge_more = Amps::from_milli(101_000),
    |c| c.limits.hot_from = Celsius::from_milli(54_000),
    |c| c.limits.hot_none = Celsius::from_milli(55_001),
    |c| c.limits.near_empty = Ratio::ZERO,
    |c| c.limits.near_full = Ratio::percent(10),
    |c| c.limits.near_full = Ratio::ONE,
    |c| c.limits.end = Amps::ZERO,
    |c| c.limits.end = Amps::from_milli(101_000),
    |c| c.limits.known = Ratio::from_bits(-1),
    |c| c.limits.heat_full = Ratio::percent(50),
    |c| c.limits.heat_full = Ratio::percent(81),
    |c| c.limits.derate = Ratio::ZERO,
    |c| c.limits.derate = Ratio::percent(101),
    |c| c.limits.too_cold = Amps::ZERO,
    |c| c.limits.blind = Amps::ZERO,
    |c| c.limits.blind = Amps::from_milli(101_000),
    // 400 A in 10 s at 10 ms a tick are 0.4 A a tick.
    |c| c.limits.step = Amps::from_milli(399),
    |c| (c.limits.ahead, c.limits.step) = (Millis::MAX, Amps::ZERO),
    |c| c.limits.overrun = Ratio::ZERO,
    |c| c.limits.overrun = Ratio::percent(30),
    |c| c.limits.overrun_back = Ratio::ZERO,
    |c| c.limits.overrun_back = Ratio::ONE,
    |c| c.balance.stuck_after = 0,
    |c| c.balance.stuck_after = 4,
    // 0.11 A for 10 s are 1.1 C.
    |c| c.balance.margin = Amps::from_milli(100).over(Millis(10_000)),
    |c| c.balance.margin = Coulombs::from_milliamp_hours(100_000),
    |c| c.balance.floor = Ratio::percent(10),
    |c| c.balance.floor = Ratio::ONE,
    |c| c.balance.hottest = Celsius::ZERO,
    |c| c.balance.hottest = Celsius::from_milli(55_000),
    |c| c.balance.most_per_module = 0,
    |c| c.balance.most_per_module = 13,
    |c| c.balance.pause = Millis(39),
    |c| c.balance.pause = Millis(10_000),
    |c| c.faults.cell_over_voltage.trip = Volts::from_milli(3_750),
    |c| c.faults.cell_over_voltage.release = Volts::from_milli(3_479),
    |c| c.faults.cell_under_voltage.trip = Volts::from_milli(2_500),
    |c| c.faults.cell_under_voltage_far.trip = Volts::from_milli(2_000),
    |c| c.faults.cell_deeply_discharged.trip = Volts::from_milli(500),
    |c| c.faults.cell_spread.trip = Volts::from_milli(8),
    |c| c.faults.cell_spread.trip = Volts::from_milli(200),
    // 96 times 3 mV and 1.536 V are 1.824 V.
    |c| c.faults.pack_sum_disagrees.trip = Volts::from_milli(1_820),
    // 3.072 V at 100 A are 30.7 mΩ.
    |c| c.sensing.path = Milliohms::from_milli(30_800),
    |c| c.faults.internal_short.trip = Volts::ZERO,
    |c| c.quarantine.fall = Volts::from_milli(6),
    |c| c.faults.cell_self_discharge.release = Ratio::ZERO,
    |c| c.faults.cell_reading_frozen.release = Ratio::percent(50),
    |c| c.faults.over_temperature.trip = Celsius::from_milli(65_000),
    |c| c.faults.over_temperature_far.trip = Celsius::from_milli(125_000),
    |c| c.faults.too_cold_to_work.trip = Celsius::from_milli(-40_000),
    |c| c.faults.thermistor_open.trip = Ratio::percent(95),
    |c| c.faults.thermistor_open.trip = Ratio::ONE,
    // 531 Ω to 10 kΩ at 125 °C give 5.04 %.
    |c| c.faults.thermistor_shorted.trip = Ratio::from_milli(51),
    |c| c.faults.thermistor_shorted.trip = Ratio::ZERO,
    // (3² − 1) and (5² − 1) of the rated heat: 30 s / 8 and 30 s / 24.
    |c| c.faults.over_current_charge.dwell = Millis(3_760),
    |c| c.faults.over_current_discharge.dwell = Millis(1_260),
    |c| c.faults.thermal_current_near.trip = Ratio::ONE,
    |c| c.faults.thermal_current_over.trip = Ratio::percent(101),
    // 2 A and 0.5 % of 600 A are 5 A.
    |c| c.faults.current_sensors_disagree.trip = Amps::from_milli(4_900),
    // 2 A and 0.5 % of 400 A are 4 A.
    |c| c.faults.limit_not_obeyed.trip = Amps::from_milli(3_900),
    |c| c.faults.limit_not_obeyed.trip = Amps::from_milli(15_000),
    |c| c.faults.precharge_resistor_hot.trip = Ratio::percent(101),
    |c| c.faults.sense_wire_open.trip = Volts::from_milli(12),
    |c| c.faults.sense_wire_open.dwell = Millis(1_001),
    |c| c.faults.insulation_low.trip = OhmsPerVolt(100),
    |c| c.faults.charged_with_leak.trip = OhmsPerVolt(99),
    |c| c.faults.link_stays_live.trip = Volts::from_milli(60_001),
    |c| c.faults.interlock_intermittent.trip = 5,
    |c| c.faults.impact_signal.trip = 1,
    |c| c.faults.string_open.trip = Ratio::percent(51),
    // 3.072 V of 307.2 V are 1 %.
    |c| c.faults.string_open.trip = Ratio::from_milli(9),
    |c| c.faults.string_open.dwell = Millis(30),
    |c| c.faults.contactor_worn.trip = Ratio::percent(200),
    |c| c.faults.contactor_worn_out.trip = Ratio::percent(1_501),
    |c| c.faults.measurements_stale.trip = Millis(30),
    |c| c.faults.measurements_stale.trip = Millis(301),
    |c| c.faults.tick_late.trip = Millis(10),
    |c| c.faults.tick_late.trip = Millis(32),
    // From here on the rules of each limit.
    |c| c.faults.supply_low.release = Volts::from_milli(8_900),
    |c| c.faults.supply_low.dwell = Millis(3_600_001),
    |c| c.faults.supply_low.dwell = Millis(9),
    |c| c.faults.supply_low.release_dwell = Millis(3_600_001),
    |c| c.faults.supply_low.release_dwell = Millis(19),
];

const LISTED: usize = RULES.len();

#[test]
fn every_rule_refuses_what_breaks_it() {
    for (number, spoil) in SPOILT.iter().enumerate() {
        let error = refused(spoil).unwrap_or_else(|| panic!("{} is not refused", RULES[number].key));
        assert_eq!(usize::from(error.rule), number, "{} instead of {}", error, RULES[number].key);
    }
}

/// The bench differs in every size, and so do packs of one cell and of 128.
#[test]
fn what_is_sensible_passes_every_rule() {
    let pack_of = |cells: u8, milliamp_hours| {
        let pack = Pack::of(1, cells, 1, milliamp_hours, i32::from(cells) * 3_200);
        let sequence = match cells {
            0..32 => SequenceFacts::trainer(),
            32..=96 => SequenceFacts::crane(),
            _ => SequenceFacts::of(Ohms(50), Ohms(2_000), 1_000),
        };
        Config::for_pack(pack, sequence).check(cells.into(), 1).err()
    };
    assert_eq!(refused(|_| ()), None);
    assert_eq!(Config::trainer().check(16, 8).err(), None);
    for (cells, milliamp_hours) in [(1, 20_000), (128, 20_000), (16, 5_000), (96, 400_000)] {
        assert_eq!(pack_of(cells, milliamp_hours), None, "{cells} cells of {milliamp_hours} mAh");
    }
}

/// Each fault by itself: a dwell that no tick counts, a limit that ends by one good reading.
#[test]
fn the_limit_of_every_fault_is_checked() {
    macro_rules! refused_for {
        ($($field:ident $fault:ident)+) => {$(
            let error = refused(|c| c.faults.$field.release_dwell = Millis::ZERO).expect("refused");
            assert_eq!(error.fault, Some(Fault::$fault));
            assert_eq!(error.key().to_string(), concat!("faults.", stringify!($field), ".release_dwell"));
        )+};
    }
    refused_for! {
        cell_over_voltage CellOverVoltage
        thermistor_frozen ThermistorFrozen
        precharge_flat PrechargeFlat
        configuration_invalid ConfigurationInvalid
    }
}

#[test]
fn a_refusal_reads_as_a_sentence() {
    assert_eq!(
        says(|c| c.sequence.link_microfarads = 409),
        "sequence.time_constant = 20 ms is too short for a tick of 10 ms: at least 30 ms is accepted"
    );
    assert_eq!(
        says(|c| c.faults.cell_under_voltage_far.release = Volts::from_milli(2_400)),
        "faults.cell_under_voltage_far.release = 2.4 V is too low for a trip limit of 2.5 V: more than 2.5 V is accepted"
    );
    assert_eq!(
        says(|c| c.pack.modules = 9),
        "pack.cells = 108 is not the size of the controller: 96 is accepted"
    );
    assert_eq!(
        says(|c| c.sensing.current_gain = Ratio::percent(60)),
        "sensing.current_gain = 60 % is too large: less than 50 % is accepted"
    );
    assert_eq!(
        says(|c| c.sequence.retry_pause = Millis(5)),
        "sequence.retry_pause = 5 ms is too short for a tick of 10 ms: at least 20 ms is accepted"
    );
    assert_eq!(
        says(|c| c.balance.margin = Coulombs::ZERO),
        "balance.margin = 0 Ah is too small for a period of 10 s: more than 1.1 C is accepted"
    );
}

/// 100 Ω with 1.5 kΩ ends at 93.75 % of the pack: the end limit of 95 % is never met.
#[test]
fn a_pair_of_resistors_that_never_ends_is_refused() {
    let config = Config::for_pack(Pack::crane(), SequenceFacts::of(Ohms(100), Ohms(1_500), 1_000));
    assert_eq!(
        config.check(96, 16).err().map(|error| error.to_string()).as_deref(),
        Some(
            "sequence.end_ratio = 93.8 % is too small for an end fraction of 5 %: more than 95 % is accepted"
        )
    );
}

/// 4 kΩ with 1 mF: a full pack of 350.4 V · e^(−5 s/4 s) = 100.4 V are left after five seconds, more than may be touched.
#[test]
fn a_bleed_down_that_is_too_slow_is_refused() {
    let config = Config::for_pack(Pack::crane(), SequenceFacts::of(Ohms(50), Ohms(4_000), 1_000));
    let error = config.check(96, 16).expect_err("too slow");
    assert_eq!(error.key().to_string(), "sequence.left_when_dead");
    let Quantity::Volts(left) = error.found() else { panic!("{error}") };
    assert!((100_300..=100_500).contains(&left.milli()), "{left}");
    assert_eq!(error.accepted(), (Accepts::LessThan, Volts::from_milli(60_000).into()));
}
