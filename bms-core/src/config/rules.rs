//! # The rules that a configuration must keep
//!
//! The list of all of them: one row a rule, in the order in which they are tried. A row carries the key, the value, how it must
//! stand to which bound, what the bound follows from, and why. It makes the check itself, the words of [`ConfigError`] and the
//! table in the documentation of [`Config::check`]. A row whose bound is another value of the configuration is a cross-check: each of
//! the two may be sensible by itself.
//!
//! To add a rule, add its row, and in the tests a way to break it: a rule that nothing breaks fails there.

use super::checks::{Checks, Rule, rules};
use super::error::Accepts;
use super::{Checked, Config, ConfigError, SequenceFacts};
use crate::estimate::{FULL, LOSS_LONGEST, lasts};
use crate::insulation::HISTORY;
use crate::sense::{COLDEST, HOTTEST, table_ends};
use crate::sequence::{decay, proof_of_opening, proof_of_positive};
use crate::units::{Amps, Celsius, Coulombs, Milliohms, Millis, Ohms, Ratio, Volts};

rules! {
    |c, cells, thermistors| {
        let (pack, sensing, charge, rest, sequence, limits, balance, faults) =
            (&c.pack, &c.sensing, &c.charge, &c.rest, &c.sequence, &c.limits, &c.balance, &c.faults);
        let (contacts, cooling, life) = (&c.contacts, &c.cooling, &c.life);
        let (insulation, quarantine, wires) = (&c.insulation, &c.quarantine, &c.wires);
        let ticks = |count: u32| Millis(pack.tick.0.saturating_mul(count));
        let full = times(faults.cell_over_voltage.trip, pack.cells());
        let meter = sensing.cell_error + sensing.cell_error;
        let around = sensing.voltage_error + sensing.voltage_error;
        let dead = sequence.live_above(pack.nominal);
        let (cold_end, hot_end) = table_ends(sensing.curve);
    }

    "pack.cells": pack.cells() => Exactly cells, "`CELLS` of the controller"; "modules times cells a module";
    "pack.thermistors": pack.thermistors() => Exactly thermistors, "`THERMISTORS` of the controller"; "modules times thermistors a module";
    "pack.cells_below_fuse": pack.cells_below_fuse => AtLeast 1_u8, "1"; "a front end measures something";
    "pack.cells_below_fuse": u32::from(pack.cells_below_fuse) => AtMost pack.cells(), "all cells", beside "a pack" pack.cells(); "there are no more";
    "pack.capacity": pack.capacity => MoreThan Coulombs::ZERO, "0"; "charge is counted against it";
    "pack.one_c": pack.one_c => MoreThan Amps::ZERO, "0"; "rates are counted in it";
    "pack.one_c": hour_of(pack.one_c) => AtLeast pack.capacity.scaled(Ratio::percent(99)), "99 % of the capacity, in an hour",
        beside "a capacity" pack.capacity; "it moves the rated capacity in one hour";
    "pack.one_c": hour_of(pack.one_c) => AtMost pack.capacity.scaled(Ratio::percent(101)), "101 % of the capacity, in an hour",
        beside "a capacity" pack.capacity; "it moves the rated capacity in one hour";
    "pack.nominal": pack.nominal => AtLeast times(faults.cell_under_voltage.trip, pack.cells()), "all cells at their under-voltage limit",
        beside "a cell's under-voltage limit" faults.cell_under_voltage.trip; "limits around the contactors are fractions of it";
    "pack.nominal": pack.nominal => AtMost full, "all cells at their over-voltage limit",
        beside "a cell's over-voltage limit" faults.cell_over_voltage.trip; "limits around the contactors are fractions of it";
    "pack.current_range": pack.current_range => AtLeast faults.over_current_discharge.trip, "the over-current limit, discharge",
        beside "an over-current limit" faults.over_current_discharge.trip; "the sensor must see what it protects from";
    "pack.current_range": pack.current_range => AtLeast faults.over_current_charge.trip, "the over-current limit, charge",
        beside "an over-current limit" faults.over_current_charge.trip; "the sensor must see what it protects from";
    "pack.widest_current_range": pack.widest_current_range() => MoreThan sequence.breaking_limit, "what the contactors may break",
        beside "a breaking limit" sequence.breaking_limit; "one sensor must tell a current that they break from one that the fuse clears";
    "pack.tick": pack.tick => MoreThan Millis::ZERO, "0"; "time must pass";
    "pack.stands_twice": pack.stands_twice => MoreThan Millis::ZERO, "0"; "a fuse stands twice its rated current for a while";
    "pack.stands_twice": pack.stands_twice => AtMost Millis::from_seconds(60), "1 min"; "then its heat is no sum any more";
    "pack.oldest_age": pack.oldest_age => AtLeast pack.tick, "a tick", beside "a tick" pack.tick; "else nothing would ever be believed";

    "pack.resistance.expected": pack.resistance.expected => MoreThan Milliohms::ZERO, "0"; "a cell resists";
    "pack.resistance.least_step": pack.resistance.least_step => MoreThan Amps::ZERO, "0"; "a resistance is a quotient by it";
    "pack.resistance.least_step": pack.resistance.least_step => LessThan limits.discharge, "the discharge current",
        beside "a discharge limit" limits.discharge; "else no load is a step";
    "pack.resistance.excess": pack.resistance.excess => AtLeast meter.over_current(pack.resistance.least_step).unwrap_or(Milliohms::MAX),
        "what two readings in error show in the least step", beside "a cell voltage error" sensing.cell_error; "else the meter is the fault";
    "pack.resistance.excess_of_expected": pack.resistance.excess_of_expected => AtLeast Ratio::ZERO, "0"; "a part of it is allowed on top";
    "pack.resistance.steady": pack.resistance.steady => MoreThan Ratio::ZERO, "0"; "no current stands still to the bit";
    "pack.resistance.steady": pack.resistance.steady => LessThan Ratio::percent(50), "half of the step"; "a step must leave the band, which lies on both sides";
    "pack.resistance.against": pack.resistance.against => AtLeast 1_u8, "1"; "a fault rests on a step";
    "pack.resistance.accounted": pack.resistance.accounted => MoreThan Ratio::ZERO, "0"; "else cells that all stand still are trusted";
    "pack.resistance.accounted": pack.resistance.accounted => LessThan Ratio::ONE, "the whole"; "cable and fuse show some of a step too";
    "pack.resistance.before": pack.resistance.before => AtLeast ticks(2), "two ticks", beside "a tick" pack.tick; "a mean of one reading is none";
    "pack.resistance.before": pack.resistance.before => AtMost ticks(LONGEST_WINDOW), "200 ticks", beside "a tick" pack.tick; "the window ends there: its sums fit no more";
    "pack.resistance.settle": pack.resistance.settle => AtLeast pack.tick, "a tick", beside "a tick" pack.tick; "the first reading after the step still holds some of it";
    "pack.resistance.longest_move": pack.resistance.longest_move => AtLeast pack.tick, "a tick", beside "a tick" pack.tick; "no load steps within a reading";
    "pack.resistance.median_within": pack.resistance.median_within => AtLeast 1_u8, "1"; "a healthy pack is as expected";
    "pack.resistance.after": pack.resistance.after => AtLeast ticks(2), "two ticks", beside "a tick" pack.tick; "a mean of one reading is none";
    "pack.resistance.after": pack.resistance.after => AtMost ticks(LONGEST_WINDOW), "200 ticks", beside "a tick" pack.tick; "the window ends there: its sums fit no more";

    "sensing.cell_error": sensing.cell_error => MoreThan Volts::ZERO, "0"; "every bound rests on it";
    "sensing.voltage_error": sensing.voltage_error => MoreThan Volts::ZERO, "0"; "every weld check rests on it";
    "sensing.path": sensing.path => AtLeast Milliohms::ZERO, "0"; "a resistance is an amount";
    "sensing.current_offset": sensing.current_offset => LessThan sensing.calm, "`calm`", beside "a calm current" sensing.calm; "a rest is a current below that";
    "sensing.current_offset_learnt": sensing.current_offset_learnt => AtLeast Amps::ZERO, "0"; "an error is an amount";
    "sensing.current_offset_learnt": sensing.current_offset_learnt => AtMost sensing.current_offset, "the offset before",
        beside "an offset before learning" sensing.current_offset; "learning makes it smaller";
    "sensing.learning": sensing.learning => AtLeast Millis::from_seconds(1), "1 s"; "noise is no offset";
    "sensing.unseen": sensing.unseen => AtLeast pack.oldest_age, "the oldest age", beside "an oldest age" pack.oldest_age; "what is still believed was seen";
    "sensing.range_end": sensing.range_end => AtLeast Ratio::percent(90), "90 %"; "what a sensor reads must be used";
    "sensing.range_end": sensing.range_end => AtMost Ratio::ONE, "the whole"; "no reading lies beyond its range";
    "sensing.current_gain": sensing.current_gain => AtLeast Ratio::ZERO, "0"; "an error is an amount";
    "sensing.current_gain": sensing.current_gain => LessThan Ratio::percent(50), "50 %"; "the bound of the current's error is linear up to there";
    "sensing.temperature_error": sensing.temperature_error => AtLeast Celsius::ZERO, "0"; "an error is an amount";
    "sensing.time_base": sensing.time_base => AtLeast Ratio::ZERO, "0"; "an error is an amount";
    "sensing.rail": sensing.rail => MoreThan Ratio::ZERO, "0"; "no converter reads its reference exactly";
    "sensing.rail": sensing.rail => LessThan hot_end.min(Ratio::ONE - cold_end), "what the divider leaves at either end of the thermistor's table",
        beside "a share of the coldest thermistor" cold_end; "cold is no open wire, heat no short circuit";
    "sensing.jump": sensing.jump => MoreThan sensing.temperature_error, "the temperature error",
        beside "a temperature error" sensing.temperature_error; "an error is no jump";
    "sensing.stray": sensing.stray => MoreThan sensing.temperature_error + sensing.temperature_error, "the errors of two sensors",
        beside "a temperature error" sensing.temperature_error; "two sensors may err either way";
    "sensing.stray_back": sensing.stray_back => MoreThan Ratio::ZERO, "0"; "else the doubt never ends";
    "sensing.stray_back": sensing.stray_back => LessThan Ratio::ONE, "the whole"; "noise around the limit must not end what it began";
    "sensing.warmer_by_work": sensing.warmer_by_work => AtLeast Ratio::ZERO, "0"; "work cools nothing";
    "sensing.doubted_after_jump": sensing.doubted_after_jump => AtLeast 3_u8, "3"; "the fault is told by two readings of a second, and holds that long";
    "sensing.frozen": sensing.frozen => MoreThan Celsius::ZERO, "0"; "neighbours that stand still prove nothing";
    "sensing.frozen_window": sensing.frozen_window => AtLeast Millis::from_seconds(2), "2 s"; "neighbours are compared once a second";
    "sensing.blind_margin": sensing.blind_margin => AtLeast sensing.temperature_error, "the temperature error",
        beside "a temperature error" sensing.temperature_error; "a neighbour's reading may be off by that";

    "charge.capacity_least": charge.capacity_least => MoreThan Ratio::ZERO, "0"; "a cell holds charge";
    "charge.capacity_least": charge.capacity_least => AtMost Ratio::ONE, "the rated one"; "a cell as rated is a working cell";
    "charge.capacity_most": charge.capacity_most => AtLeast Ratio::ONE, "the rated one"; "a cell as rated is a new cell";
    "charge.drain": charge.drain => AtLeast Amps::ZERO, "0"; "nothing charges a cell unseen";
    "charge.self_discharge": charge.self_discharge => AtLeast Amps::ZERO, "0"; "nothing charges a cell unseen";
    "charge.bleed": charge.bleed => MoreThan Amps::ZERO, "0"; "a bleed resistor draws current";
    "charge.bleed_tolerance": charge.bleed_tolerance => AtLeast Ratio::ZERO, "0"; "an error is an amount";
    "charge.bleed_tolerance": charge.bleed_tolerance => LessThan Ratio::ONE, "the whole"; "bleeding takes charge out";
    "charge.rest_warm": charge.rest_warm => AtLeast charge.still_mean, "`still_mean`", beside "a mean" charge.still_mean; "rest is judged in blocks of that length";
    "charge.rest_cold": charge.rest_cold => AtLeast charge.rest_warm, "the rest when warm", beside "a rest when warm" charge.rest_warm; "relaxation is slower in the cold";
    "charge.rest_cold_by": charge.rest_cold_by => MoreThan Celsius::ZERO, "0"; "the rest grows with the cold";
    "charge.still_mean": charge.still_mean => AtLeast Millis::from_seconds(1), "1 s"; "noise is no load";
    "charge.compare_again": charge.compare_again => AtLeast charge.still_mean, "`still_mean`", beside "a mean" charge.still_mean; "rest is judged in blocks of that length";
    "charge.curve_error": charge.curve_error => AtLeast Volts::ZERO, "0"; "an error is an amount";
    "charge.curve_error_ends": charge.curve_error_ends => AtLeast Volts::ZERO, "0"; "an error is an amount";
    "charge.curve_spread": charge.curve_spread => AtLeast Volts::ZERO, "0"; "an error is an amount";
    "charge.curve_spread": charge.curve_spread => AtMost charge.curve_error, "the curve's error", beside "a curve error" charge.curve_error; "it is what of that error does not cancel";
    "charge.entropy": charge.entropy => AtLeast Volts::ZERO, "0"; "an error is an amount";
    "charge.hysteresis": charge.hysteresis => AtLeast Volts::ZERO, "0"; "an error is an amount";
    "charge.one_way": charge.one_way => MoreThan charge.one_way_back, "`one_way_back`", beside "a way back" charge.one_way_back; "what goes back as far holds no side";
    "charge.one_way_back": charge.one_way_back => AtLeast Ratio::ZERO, "0"; "a charge that went back is an amount";
    "charge.shared": charge.shared => AtLeast charge.one_way, "`one_way`", beside "one way" charge.one_way; "both ways wash out less than one";
    "charge.beyond": charge.beyond => AtLeast Ratio::ZERO, "0"; "a full cell may be full";
    "charge.beyond": charge.beyond => AtMost Ratio::percent(10), "10 %"; "more harms it";
    "charge.relaxation": charge.relaxation => AtLeast Volts::ZERO, "0"; "an error is an amount";
    "charge.still_resistance": charge.still_resistance => AtLeast pack.resistance.expected, "what a load step shows",
        beside "an expected resistance" pack.resistance.expected; "a current that flows on drops more than a step";

    "rest.settled": rest.settled => AtLeast 1_u8, "1"; "a cell that still relaxes falls";
    "rest.fall_mean": rest.fall_mean => AtLeast Millis::from_seconds(60), "1 min"; "noise of 0.5 mV must not be a fall of millivolts an hour";
    "rest.fall_window": rest.fall_window => AtLeast rest.fall_mean.times(4), "four times `fall_mean`", beside "a mean" rest.fall_mean; "a mean at either end of both halves";
    "rest.fall_window": rest.fall_window => AtMost Millis::from_seconds(86_400), "a day"; "a short must be found";
    "rest.most_of_lesser": rest.most_of_lesser => AtLeast Ratio::ONE, "1"; "a half is no more than the whole";
    "rest.least_leak": rest.least_leak => MoreThan Ratio::ZERO, "0"; "near full any leak would be a short";
    "rest.least_leak": rest.least_leak => AtMost Ratio::percent(20), "20 %"; "a short that empties a cell in five hours is one";
    "rest.steep": rest.steep => MoreThan Volts::ZERO, "0"; "on the plateau a voltage says nothing of charge";
    "rest.loss_between": rest.loss_between => AtLeast Millis::from_seconds(3_600), "1 h"; "an hour's loss is less than any reading shows";
    "rest.loss_between": rest.loss_between => AtMost LOSS_LONGEST, "40 days"; "then the reading begins anew";

    "quarantine.quiet": quarantine.quiet => AtLeast rest.fall_window, "the window in which a fall is judged";
        "a cell that falls must show in it";
    "quarantine.quiet": quarantine.quiet => AtMost Millis::from_seconds(3_456_000), "40 days"; "times are told up to 49 days";
    "quarantine.longest_step": quarantine.longest_step => AtLeast pack.tick, "a tick"; "else nothing counts";
    "quarantine.longest_step": quarantine.longest_step => AtMost Millis::from_seconds(3_600), "1 h"; "a rise is judged by the hour";
    "quarantine.rise": quarantine.rise => MoreThan Celsius::ZERO, "0"; "any noise would be a rise";
    "quarantine.fall": quarantine.fall => MoreThan Volts::ZERO, "0"; "any noise would be a fall";

    "sensing.calm": sensing.calm => AtMost pack.rate(20), "a fifth of 1C", beside "1C" pack.one_c; "what is a load is no rest";
    "sensing.flows": sensing.flows => MoreThan sensing.current_offset, "the current's offset", beside "an offset" sensing.current_offset; "an offset flows through nothing";
    "cells.cold_reduction": c.cells.cold_reduction => AtLeast Volts::ZERO, "0"; "a cold cell drops more under load, not less";
    "cells.cold_reduction": c.cells.cold_reduction => LessThan faults.cell_under_voltage_far.trip, "the second step of under-voltage",
        beside "a limit of under-voltage" faults.cell_under_voltage_far.trip; "else nothing protects a cold cell";
    "cells.cold_full": c.cells.cold_full => LessThan Celsius::ZERO, "0 °C"; "from there up the limits hold in full";
    "cells.spread_after": c.cells.spread_after => AtLeast Millis::from_seconds(60), "1 min"; "polarisation is no spread of charge";
    "cells.flat_from": c.cells.flat_from => LessThan c.cells.flat_to, "`flat_to`", beside "an end" c.cells.flat_to; "in between the limits hold";
    "cells.steep_times": c.cells.steep_times => AtLeast 1_u8, "1"; "where the curve is steep cells lie no nearer to each other";
    "sensing.gap_mean": sensing.gap_mean => AtMost faults.pack_sum_disagrees.dwell, "the dwell of pack sum disagrees",
        beside "a dwell" faults.pack_sum_disagrees.dwell; "what is smoothed for longer is found later than the fault says";
    "sensing.rises_until": sensing.rises_until => LessThan sensing.rises_from, "`rises_from`", beside "a beginning" sensing.rises_from; "noise around it must not end what it began";
    "sensing.rises_from": sensing.rises_from => AtMost faults.over_temperature.trip, "the over-temperature limit",
        beside "an over-temperature limit" faults.over_temperature.trip; "what runs away is found before it is hot";

    "cooling.window": cooling.window => AtLeast Millis::from_seconds(60), "1 min"; "a pack warms and cools slowly";
    "cooling.window": cooling.window => AtLeast Millis::from_seconds(2).times(cooling.mean), "twice `mean`, in seconds", beside "a mean" cooling.mean; "a mean at either end";
    "cooling.mean": cooling.mean => AtLeast 1_u8, "1"; "a mean is one of readings";
    "cooling.hot_from": cooling.hot_from => LessThan faults.over_temperature_far.trip, "the over-temperature limit, second step",
        beside "an over-temperature limit" faults.over_temperature_far.trip; "else it is never watched";
    "cooling.hot_from": cooling.hot_from => AtLeast cooling.surroundings + Celsius::from_milli(5_000), "5 °C above `surroundings`",
        beside "surroundings" cooling.surroundings; "less is a fall that no sensor tells from noise";
    "cooling.hot_until": cooling.hot_until => LessThan cooling.hot_from, "`hot_from`", beside "a beginning" cooling.hot_from; "noise around it must not end what it began";
    "cooling.from": cooling.from => LessThan cooling.hot_until, "`hot_until`", beside "an end" cooling.hot_until; "only cooling that runs can be watched";
    "cooling.least_fall": cooling.least_fall => MoreThan Ratio::ZERO, "0"; "what cools gets colder";
    "cooling.least_fall": cooling.least_fall => LessThan Ratio::ONE, "the whole"; "nothing cools below its surroundings";

    "sequence.precharge_ohms": sequence.precharge_ohms => MoreThan Ohms(0), "0"; "it limits the current into the link";
    "sequence.bleed_down_ohms": sequence.bleed_down_ohms => MoreThan Ohms(0), "0"; "it is no short circuit";
    "sequence.link_microfarads": sequence.link_microfarads => MoreThan 0_u32, "0"; "precharge is judged by it";
    "sequence.end_fraction": sequence.end_fraction => AtLeast around.fraction_of(pack.nominal).unwrap_or(Ratio::MAX), "two readings' error",
        beside "a voltage error" sensing.voltage_error; "pack and link are two readings";
    "sequence.end_fraction": sequence.end_fraction => AtMost Ratio::percent(10), "10 %"; "a making life of contactors is stated after a precharge of 90 %";
    "sequence.end_volts": sequence.end_volts => AtLeast around, "two readings' error", beside "a voltage error" sensing.voltage_error; "pack and link are two readings";
    "sequence.least_rise": sequence.least_rise => MoreThan Ratio::ZERO, "0"; "else nothing ever stalls";
    "sequence.least_rise": sequence.least_rise => LessThan sequence.end_fraction, "`end_fraction`", beside "an end fraction" sequence.end_fraction; "a healthy link rises by more until it is there";
    "sequence.end_ratio": sequence.end_ratio() => MoreThan Ratio::ONE - sequence.end_fraction, "the whole less `end_fraction`",
        beside "an end fraction" sequence.end_fraction; "the two resistors divide: below that precharge never ends";
    "sequence.shortage": sequence.shortage(full) => LessThan sequence.end_volts, "`end_volts`",
        beside "a full pack" full; "the two resistors divide: above that precharge never ends";
    "sequence.time_constant": sequence.time_constant() => AtLeast ticks(3), "three ticks", beside "a tick" pack.tick; "else the band test of precharge means nothing";
    "sequence.time_constants": sequence.time_constants => AtLeast constants_needed(sequence), "so many that a healthy link is charged",
        beside "an end fraction" sequence.end_fraction; "else every precharge is too slow";
    "sequence.flat_after": sequence.flat_after => MoreThan sequence.pull_in + pack.oldest_age, "the pull-in and the age of a reading",
        beside "a pull-in" sequence.pull_in; "a contactor that still closes is not flat";
    "sequence.floating_time_constant": sequence.floating_time_constant => AtLeast pack.tick, "a tick", beside "a tick" pack.tick; "a verdict on a floating link holds for that long";
    "sequence.step_deadline": sequence.step_deadline => MoreThan sequence.pull_in + sequence.release + proof_of_positive(full, c), "the time an open positive needs to show",
        beside "a pull-in" sequence.pull_in; "else no positive contactor ever closes";
    "sequence.step_deadline": sequence.step_deadline => MoreThan proof_of_opening(full, c), "the time an opened positive needs to show",
        beside "a release" sequence.release; "else every contactor that opens is welded";
    "sequence.differs_for": sequence.differs_for => AtLeast pack.tick, "a tick", beside "a tick" pack.tick; "time is counted in ticks";
    "sequence.differs_for": sequence.differs_for => AtMost sequence.step_deadline, "the deadline of a step", beside "a deadline" sequence.step_deadline; "a contactor that fell open must be found";
    "sequence.switching_limit": sequence.switching_limit => MoreThan sensing.current_offset, "the current's offset",
        beside "an offset" sensing.current_offset; "no current must read as one that may be switched";
    "sequence.breaking_limit": sequence.breaking_limit => AtLeast limits.discharge, "the discharge current", beside "a discharge limit" limits.discharge; "what may flow must be breakable";
    "sequence.breaking_limit": sequence.breaking_limit => AtLeast limits.charge, "the charge current", beside "a charge limit" limits.charge; "what may flow must be breakable";
    "sequence.grace": sequence.grace => AtLeast sequence.supply_grace, "the grace with a low supply", beside "a grace with a low supply" sequence.supply_grace; "a low supply leaves less time";
    "sequence.touch_limit": sequence.touch_limit => MoreThan Volts::ZERO, "0"; "a link is never at nothing";
    "sequence.touch_limit": sequence.touch_limit => AtMost Volts::from_milli(60_000), "60 V"; "direct voltage above that is hazardous (ISO 6469-3, voltage class B)";
    "sequence.live_fraction": sequence.live_fraction => MoreThan Ratio::ZERO, "0"; "a link is never at nothing";
    "sequence.live_fraction": sequence.live_fraction => LessThan Ratio::ONE, "the whole"; "a link on the pack is live";
    "sequence.left_when_dead": sequence.left_when_dead(full) => LessThan dead, "`touch_limit` and `live_fraction` of the pack",
        beside "a full pack" full; "the bleed-down must have emptied the link by then";
    "sequence.supply_for_closing": sequence.supply_for_closing => AtLeast faults.supply_low.release, "the release limit of supply low",
        beside "a supply that recovers" faults.supply_low.release; "else contactors close and open again";
    "sequence.supply_at_pull_in": sequence.supply_at_pull_in => MoreThan Volts::ZERO, "0"; "a coil needs a supply";
    "sequence.supply_at_pull_in": sequence.supply_at_pull_in => AtMost faults.supply_low.trip, "the limit of supply low",
        beside "a limit of supply low" faults.supply_low.trip; "a coil that pulls in makes the supply sag";
    "sequence.supply_sag": sequence.supply_sag => AtLeast sequence.pull_in, "the pull-in", beside "a pull-in" sequence.pull_in; "a coil that has not closed still pulls in";
    "sequence.supply_sag": sequence.supply_sag => AtMost sequence.step_deadline, "the deadline of a step", beside "a deadline" sequence.step_deadline; "a supply that stays low must be found";
    "sequence.retries": sequence.retries => AtLeast 1_u8, "1"; "else nothing ever closes";
    "sequence.retry_pause": sequence.retry_pause => AtLeast ticks(2), "two ticks", beside "a tick" pack.tick; "the resistor cools meanwhile";
    "sequence.resistor_rise_per_start": sequence.resistor_rise_per_start => MoreThan Celsius::ZERO, "0"; "half of C·V² stays in the resistor";
    "sequence.resistor_rise_most": sequence.resistor_rise_most => AtLeast sequence.resistor_rise_per_start + half(sequence.resistor_rise_per_start),
        "a start and a half", beside "a rise a start" sequence.resistor_rise_per_start; "a start begins only half a start below it";
    "sequence.resistor_cooling": sequence.resistor_cooling => MoreThan Millis::ZERO, "0"; "a hot resistor must become usable again";

    "life.slight_difference": life.slight_difference => AtLeast sequence.end_fraction, "`sequence.end_fraction`",
        beside "an end fraction" sequence.end_fraction; "onto what is allowed, closing must be known to last";
    "life.slight_closings": life.slight_closings => AtLeast life.large_closings, "the closings onto the large difference",
        beside "so many onto the large difference" life.large_closings; "a larger difference wears more";
    "life.large_difference": life.large_difference => MoreThan life.slight_difference, "the slight one", beside "a slight one" life.slight_difference; "life is known at two differences";
    "life.large_closings": life.large_closings => AtLeast 1_u32, "1"; "a closing is not more than a life";
    "life.openings": life.openings => AtLeast 1_u32, "1"; "an opening is not more than a life";

    "contacts.break_window": contacts.break_window => AtLeast Millis::from_seconds(1), "1 s"; "a short break is over within milliseconds";
    "contacts.impact_window": contacts.impact_window => AtLeast Millis(5), "5 ms"; "a window has five parts";
    "contacts.most_counts": contacts.most_counts => AtLeast faults.impact_signal.trip, "the edges of an impact",
        beside "an impact" faults.impact_signal.trip; "all of them may come between two frames";
    "contacts.most_counts": contacts.most_counts => LessThan 128_u8, "half of what a counter holds"; "a step back is no way forward";

    "insulation.known": insulation.known => AtLeast faults.insulation_low_far.trip.at(pack.nominal), "the second step of insulation at the nominal voltage",
        beside "a second step" faults.insulation_low_far.trip; "while it is switched it is a leak itself";
    "insulation.known": insulation.known => AtMost times_ohms(10, faults.insulation_low.trip.at(pack.nominal)), "ten times the first step at the nominal voltage",
        beside "a first step" faults.insulation_low.trip; "a low insulation must move the poles by more than errors";
    "insulation.meter": insulation.meter => MoreThan times_ohms(4, faults.insulation_low.trip.at(pack.nominal)), "four times the first step at the nominal voltage",
        beside "a first step" faults.insulation_low.trip; "taking it out of a result must not magnify errors";
    "insulation.nanofarads": insulation.nanofarads => MoreThan 0_u32, "0"; "every pack has some to the chassis";
    "insulation.window": insulation.window => AtLeast ticks(2), "two ticks", beside "a tick" pack.tick; "a mean of one reading is none";
    "insulation.settled": insulation.settled => MoreThan Ratio::ZERO, "0"; "no reading stands still to the bit";
    "insulation.settled": insulation.settled => LessThan insulation.moved, "`moved`", beside "a move" insulation.moved; "both spoil a reading alike";
    "insulation.patience": insulation.patience => AtLeast insulation.settles_in(), "the time in which the slowest reading settles",
        beside "a slowest time constant" insulation.slowest(); "else no insulation that is good is ever read";
    "insulation.moved": insulation.moved => LessThan Ratio::percent(10), "10 %"; "a larger move fakes a leak";
    "insulation.least": insulation.least => MoreThan sensing.voltage_error, "the voltage error", beside "a voltage error" sensing.voltage_error; "an error is no pack";
    "insulation.least": insulation.least => LessThan times(faults.cell_under_voltage_far.trip, pack.cells()), "all cells at the second step of under-voltage",
        beside "a limit of under-voltage" faults.cell_under_voltage_far.trip; "every pack must be measured";
    "insulation.pause": insulation.pause => AtMost Millis::from_seconds(3_600), "1 h"; "dew comes within seconds";
    "insulation.oldest": insulation.oldest => AtLeast insulation.pause + insulation.settles_in() + insulation.settles_in(), "a pause and a pair of the slowest readings",
        beside "a pause" insulation.pause; "a sound pack must have a result by then";
    "insulation.oldest": insulation.oldest => AtMost Millis::from_seconds(86_400), "a day"; "insulation gets low within hours";
    "insulation.charging": insulation.charging => MoreThan sensing.current_offset, "the current's offset",
        beside "an offset" sensing.current_offset; "an offset is no charger";
    "insulation.charging_for": insulation.charging_for => AtLeast Millis::from_seconds(1), "1 s"; "a lowering load is no charger";
    "insulation.readings": insulation.readings => AtMost HISTORY, "the results that are kept"; "else it is never found";
    "insulation.readings_far": insulation.readings_far => AtLeast 1_u8, "1"; "a fault rests on a reading";
    "insulation.readings_far": insulation.readings_far => AtMost insulation.readings, "`readings`", beside "a number of readings" insulation.readings; "what is worse is found no later";

    "wires.every": wires.every => AtMost Millis::from_seconds(3_600), "1 h"; "an open input drifts within minutes";
    "wires.again": wires.again => AtLeast ticks(2), "two ticks", beside "a tick" pack.tick; "odd and even inputs are pulled in turn";
    "wires.again": wires.again => AtMost wires.every, "`every`", beside "a period" wires.every; "a suspicion asks for a test sooner";
    "wires.tests": wires.tests => AtLeast 1_u8, "1"; "a finding rests on a test";
    "wires.rail": wires.rail => AtLeast sensing.cell_error, "the cell voltage error", beside "a cell voltage error" sensing.cell_error; "an error hides the rail";
    "wires.rail": wires.rail => LessThan faults.cell_under_voltage_far.trip, "the second step of under-voltage",
        beside "a limit of under-voltage" faults.cell_under_voltage_far.trip; "a cell that works lies at no rail";
    "wires.answer": wires.answer => AtLeast ticks(2), "two ticks", beside "a tick" pack.tick; "an answer comes in the frame after";

    "limits.charge": limits.charge => MoreThan Amps::ZERO, "0"; "a limit is an amount";
    "limits.charge": limits.charge => AtMost faults.over_current_charge.release, "the release limit of over-current",
        beside "an over-current limit" faults.over_current_charge.trip; "what is allowed must not trip";
    "limits.discharge": limits.discharge => AtMost faults.over_current_discharge.release, "the release limit of over-current",
        beside "an over-current limit" faults.over_current_discharge.trip; "what is allowed must not trip";
    "limits.ahead": limits.ahead => AtLeast limits.follows.times(5), "five times `follows`", beside "a time to follow" limits.follows; "a load must have followed by then";
    "limits.follows": limits.follows => AtLeast pack.tick, "a tick", beside "a tick" pack.tick; "no load follows before it is told";
    "limits.margin": limits.margin => AtLeast sensing.cell_error, "the cell voltage error", beside "a cell voltage error" sensing.cell_error; "else an error alone reaches the fault";
    "limits.resistance": limits.resistance => AtLeast pack.resistance.expected, "what a load step shows",
        beside "an expected resistance" pack.resistance.expected; "polarisation grows with time";
    "limits.cold_charge_none": limits.cold_charge_none => AtLeast faults.charging_too_cold.trip, "the limit of charging too cold",
        beside "a limit of charging too cold" faults.charging_too_cold.trip; "a limit comes before its fault";
    "limits.cold_charge_some": limits.cold_charge_some => MoreThan limits.cold_charge_none, "`cold_charge_none`",
        beside "a cold end" limits.cold_charge_none; "the table rises with temperature";
    "limits.cold_charge_warm": limits.cold_charge_warm => MoreThan limits.cold_charge_some, "`cold_charge_some`",
        beside "a step before" limits.cold_charge_some; "the table rises with temperature";
    "limits.cold_charge_full": limits.cold_charge_full => MoreThan limits.cold_charge_warm, "`cold_charge_warm`",
        beside "a step before" limits.cold_charge_warm; "the table rises with temperature";
    "limits.cold_charge_least": limits.cold_charge_least => MoreThan Amps::ZERO, "0"; "a limit is an amount";
    "limits.cold_charge_more": limits.cold_charge_more => AtLeast limits.cold_charge_least, "`cold_charge_least`",
        beside "a step before" limits.cold_charge_least; "the table rises with temperature";
    "limits.cold_charge_more": limits.cold_charge_more => AtMost limits.charge, "`charge`", beside "a charge limit" limits.charge; "the table rises with temperature";
    "limits.hot_none": limits.hot_none => MoreThan limits.hot_from, "`hot_from`", beside "a beginning" limits.hot_from; "the limit falls with temperature";
    "limits.hot_none": limits.hot_none => AtMost faults.over_temperature.trip, "the over-temperature limit",
        beside "an over-temperature limit" faults.over_temperature.trip; "work alone must not reach the fault";
    "limits.near_empty": limits.near_empty => MoreThan Ratio::ZERO, "0"; "a straight line needs a length";
    "limits.near_full": limits.near_full => MoreThan limits.near_empty, "`near_empty`", beside "a near-empty end" limits.near_empty; "in between nothing holds back";
    "limits.near_full": limits.near_full => LessThan Ratio::ONE, "the whole"; "a straight line needs a length";
    "limits.end": limits.end => MoreThan Amps::ZERO, "0"; "a limit is an amount";
    "limits.end": limits.end => AtMost limits.charge, "`charge`", beside "a charge limit" limits.charge; "it is what is left of it";
    "limits.known": limits.known => AtLeast Ratio::ZERO, "0"; "a width is an amount";
    "limits.heat_full": limits.heat_full => MoreThan limits.heat_from, "`heat_from`", beside "a beginning" limits.heat_from; "the limit falls with heat";
    "limits.heat_full": limits.heat_full => AtMost faults.thermal_current_near.trip, "the limit of the heat budget, first step",
        beside "a limit of the heat budget" faults.thermal_current_near.trip; "work alone must not reach the fault";
    "limits.derate": limits.derate => MoreThan Ratio::ZERO, "0"; "Derate leaves something";
    "limits.derate": limits.derate => AtMost Ratio::ONE, "the whole"; "Derate adds nothing";
    "limits.too_cold": limits.too_cold => MoreThan Amps::ZERO, "0"; "a limit is an amount";
    "limits.blind": limits.blind => MoreThan Amps::ZERO, "0"; "a limit is an amount";
    "limits.blind": limits.blind => AtMost limits.charge, "`charge`", beside "a charge limit" limits.charge; "knowing less allows no more";
    "limits.step": limits.step => AtLeast each_tick(limits.discharge, limits.ahead, pack.tick), "the discharge limit in `ahead`",
        beside "a look-ahead" limits.ahead; "a limit must be able to fall within the time it looks ahead";
    "limits.step": limits.step => MoreThan Amps::ZERO, "0"; "a limit must move";

    "limits.overrun": limits.overrun => MoreThan Ratio::ZERO, "0"; "no load follows exactly";
    "limits.overrun": limits.overrun => LessThan limits.overrun_far, "`overrun_far`", beside "a second step" limits.overrun_far; "a warning comes first";

    "limits.overrun_back": limits.overrun_back => MoreThan Ratio::ZERO, "0"; "else the fault never ends";
    "limits.overrun_back": limits.overrun_back => LessThan Ratio::ONE, "the whole"; "noise around the limit must not end what it began";

    "balance.stuck_after": balance.stuck_after => AtLeast 1_u8, "1"; "a fault rests on an observation";
    "balance.stuck_after": balance.stuck_after => AtMost 3_u8, "3"; "no more are counted";
    "balance.margin": balance.margin => MoreThan charge.bleed.over(balance.every).scaled(Ratio::ONE + charge.bleed_tolerance), "what a period of bleeding takes out",
        beside "a period" balance.every; "bleeding must not widen the spread";
    "balance.margin": balance.margin => LessThan pack.capacity, "the capacity", beside "a capacity" pack.capacity; "else no cell ever bleeds";
    "balance.floor": balance.floor => MoreThan limits.near_empty, "`limits.near_empty`", beside "a near-empty end" limits.near_empty; "what holds the load back must not be bled away";
    "balance.floor": balance.floor => LessThan Ratio::ONE, "the whole"; "else no cell ever bleeds";
    "balance.hottest": balance.hottest => MoreThan balance.coldest, "`coldest`", beside "a coldest" balance.coldest; "in between cells bleed";
    "balance.hottest": balance.hottest => LessThan faults.over_temperature.trip, "the over-temperature limit",
        beside "an over-temperature limit" faults.over_temperature.trip; "bleeding makes heat";
    "balance.most_per_module": balance.most_per_module => AtLeast 1_u8, "1"; "else no cell ever bleeds";
    "balance.most_per_module": balance.most_per_module => AtMost pack.cells_per_module, "the cells of a module", beside "a module" pack.cells_per_module; "there are no more";
    "balance.pause": balance.pause => AtLeast pack.oldest_age + pack.tick, "a tick and the oldest age",
        beside "an oldest age" pack.oldest_age; "a reading of the pause must be one without bleeding";
    "balance.pause": balance.pause => LessThan balance.every, "`every`", beside "a period" balance.every; "else no cell ever bleeds";

    "faults.cell_over_voltage.trip": faults.cell_over_voltage.trip => LessThan faults.cell_over_voltage_far.trip, "the second step",
        beside "a second step" faults.cell_over_voltage_far.trip; "a warning comes first";
    "faults.cell_over_voltage.release": faults.cell_over_voltage.release => MoreThan FULL, "a full cell at rest",
        beside "a full cell" FULL; "else the fault never ends";
    "faults.cell_under_voltage.trip": faults.cell_under_voltage.trip => MoreThan faults.cell_under_voltage_far.trip, "the second step",
        beside "a second step" faults.cell_under_voltage_far.trip; "a warning comes first";
    "faults.cell_under_voltage_far.trip": faults.cell_under_voltage_far.trip => MoreThan faults.cell_deeply_discharged.trip, "deeply discharged",
        beside "a limit of deeply discharged" faults.cell_deeply_discharged.trip; "a cell is protected before it is harmed";
    "faults.cell_deeply_discharged.trip": faults.cell_deeply_discharged.trip => MoreThan faults.cell_reversed.trip, "reversed",
        beside "a limit of reversed" faults.cell_reversed.trip; "a cell is harmed before it is destroyed";
    "faults.cell_spread.trip": faults.cell_spread.trip => MoreThan meter + charge.curve_spread, "two readings' error and the spread of the curve",
        beside "a cell voltage error" sensing.cell_error; "equal cells do not spread";
    "faults.cell_spread.trip": faults.cell_spread.trip => LessThan faults.cell_spread_far.trip, "the second step",
        beside "a second step" faults.cell_spread_far.trip; "a warning comes first";
    "faults.pack_sum_disagrees.trip": faults.pack_sum_disagrees.trip => MoreThan times(sensing.cell_error, pack.cells()) + sensing.voltage_error, "all readings in error",
        beside "a voltage error" sensing.voltage_error; "errors add up";
    "faults.pack_sum_disagrees.trip": faults.pack_sum_disagrees.trip => MoreThan pack.one_c * sensing.path, "the drop along `sensing.path` at 1C",
        beside "a path" sensing.path; "a longer one would hide a cell that lies";
    "faults.internal_short.trip": faults.internal_short.trip => MoreThan Volts::ZERO, "0"; "a cell that holds its voltage is healthy";
    "quarantine.fall": quarantine.fall => AtMost faults.internal_short.trip, "the limit of internal short";
        "what is quiet is no short";
    "faults.cell_self_discharge.release": faults.cell_self_discharge.release => MoreThan Ratio::ZERO, "0"; "else the fault never ends";
    "faults.cell_reading_frozen.release": faults.cell_reading_frozen.release => LessThan Ratio::percent(50), "half of a typical step"; "healthy cells differ";
    "faults.over_temperature.trip": faults.over_temperature.trip => LessThan faults.over_temperature_far.trip, "the second step",
        beside "a second step" faults.over_temperature_far.trip; "a warning comes first";
    "faults.over_temperature_far.trip": faults.over_temperature_far.trip => LessThan HOTTEST, "the hottest end of the thermistor's table"; "no reading lies beyond it";
    "faults.too_cold_to_work.trip": faults.too_cold_to_work.trip => MoreThan COLDEST, "the coldest end of the thermistor's table"; "no reading lies beyond it";
    "faults.thermistor_open.trip": faults.thermistor_open.trip => MoreThan cold_end, "the share at the coldest end of the table"; "cold is no open wire";
    "faults.thermistor_open.trip": faults.thermistor_open.trip => LessThan Ratio::ONE, "the whole"; "no converter reads its reference exactly";
    "faults.thermistor_shorted.trip": faults.thermistor_shorted.trip => LessThan hot_end, "the share at the hottest end of the table"; "heat is no short circuit";
    "faults.thermistor_shorted.trip": faults.thermistor_shorted.trip => MoreThan Ratio::ZERO, "nothing"; "no converter reads nothing exactly";
    "faults.over_current_charge.dwell": faults.over_current_charge.dwell => AtMost lasts(faults.over_current_charge.trip, pack), "the time that fuse and cable stand it",
        beside "a limit" faults.over_current_charge.trip; "the hazard comes no sooner than the reaction";
    "faults.over_current_discharge.dwell": faults.over_current_discharge.dwell => AtMost lasts(faults.over_current_discharge.trip, pack), "the time that fuse and cable stand it",
        beside "a limit" faults.over_current_discharge.trip; "the hazard comes no sooner than the reaction";
    "faults.thermal_current_near.trip": faults.thermal_current_near.trip => LessThan faults.thermal_current_over.trip, "the second step",
        beside "a second step" faults.thermal_current_over.trip; "a warning comes first";
    "faults.thermal_current_over.trip": faults.thermal_current_over.trip => AtMost Ratio::ONE, "the whole budget"; "fuse and cable stand no more";
    "faults.current_sensors_disagree.trip": faults.current_sensors_disagree.trip => AtLeast sensing.current_offset + pack.current_range.scaled(sensing.current_gain),
        "the main sensor's error at the end of its range", beside "a range" pack.current_range; "errors differ";
    "faults.limit_not_obeyed.trip": faults.limit_not_obeyed.trip => AtLeast sensing.current_offset + limits.discharge.scaled(sensing.current_gain), "the sensor's error at the limit",
        beside "a discharge limit" limits.discharge; "a load that obeys may read as more";
    "faults.limit_not_obeyed.trip": faults.limit_not_obeyed.trip => LessThan faults.limit_not_obeyed_far.trip, "the second step",
        beside "a second step" faults.limit_not_obeyed_far.trip; "a warning comes first";
    "faults.precharge_resistor_hot.trip": faults.precharge_resistor_hot.trip => AtMost Ratio::ONE, "the whole of `resistor_rise_most`"; "the resistor stands no more";
    "faults.sense_wire_open.trip": faults.sense_wire_open.trip => MoreThan meter + meter, "four readings' error",
        beside "a cell voltage error" sensing.cell_error; "two cells are read twice";
    "faults.sense_wire_open.dwell": faults.sense_wire_open.dwell => AtMost Millis::from_seconds(1), "1 s"; "voltage faults wait for it";
    "faults.insulation_low.trip": faults.insulation_low.trip => MoreThan faults.insulation_low_far.trip, "the second step",
        beside "a second step" faults.insulation_low_far.trip; "a warning comes first";
    "faults.charged_with_leak.trip": faults.charged_with_leak.trip => AtLeast faults.insulation_low_far.trip, "the second step of insulation",
        beside "a second step" faults.insulation_low_far.trip; "a charger makes it worse";
    "faults.link_stays_live.trip": faults.link_stays_live.trip => AtMost sequence.touch_limit, "`sequence.touch_limit`", beside "a touch limit" sequence.touch_limit; "a live link must be said";
    "faults.interlock_intermittent.trip": faults.interlock_intermittent.trip => LessThan faults.interlock_intermittent_far.trip, "the second step",
        beside "a second step" faults.interlock_intermittent_far.trip; "a warning comes first";
    "faults.impact_signal.trip": faults.impact_signal.trip => AtLeast 2_u8, "2"; "a single edge is a disturbance";
    "faults.string_open.trip": faults.string_open.trip => AtMost Ratio::percent(50), "half of the cells"; "an open string leaves nothing at its terminals";
    "faults.string_open.trip": faults.string_open.trip => MoreThan faults.pack_sum_disagrees.trip.fraction_of(pack.nominal).unwrap_or(Ratio::MAX), "the limit of pack sum disagrees",
        beside "a limit of pack sum disagrees" faults.pack_sum_disagrees.trip; "an error of scale is no open string";
    "faults.string_open.dwell": faults.string_open.dwell => MoreThan pack.oldest_age, "the oldest age", beside "an oldest age" pack.oldest_age; "cells and pack may be read so far apart";
    "faults.contactor_worn.trip": faults.contactor_worn.trip => LessThan faults.contactor_worn_out.trip, "worn out",
        beside "a limit of worn out" faults.contactor_worn_out.trip; "a warning comes first";
    "faults.contactor_worn_out.trip": faults.contactor_worn_out.trip => AtMost Ratio::percent(1_500), "15 lives"; "no more are counted";
    "faults.measurements_stale.trip": faults.measurements_stale.trip => MoreThan pack.oldest_age, "the oldest age", beside "an oldest age" pack.oldest_age; "what is still believed is not stale";
    "faults.measurements_stale.trip": faults.measurements_stale.trip => AtMost pack.oldest_age + pack.tick, "the oldest age and a tick",
        beside "an oldest age" pack.oldest_age; "frames that come later are credited with no more: they must be found";

    "faults.tick_late.trip": faults.tick_late.trip => MoreThan pack.tick, "a tick", beside "a tick" pack.tick; "a frame in time is not late";
    "faults.tick_late.trip": faults.tick_late.trip => AtMost faults.measurements_stale.trip, "the limit of measurements stale",
        beside "a limit of measurements stale" faults.measurements_stale.trip; "a warning comes first";

    each fault
    Release "faults.*.release": "inside the trip limit, on the side of the default", beside "a trip limit"; "one limit for both would chatter";
    Dwell "faults.*.dwell": "at most 1 h"; "a longer one never ends";
    DwellOfTicks "faults.*.dwell": "0, or at least a tick", beside "a tick"; "time is counted in ticks; 0 confirms at once";
    ReleaseDwell "faults.*.release_dwell": "at most 1 h"; "a longer one never ends";
    ReleaseDwellOfTicks "faults.*.release_dwell": "at least two ticks", beside "a tick"; "one good reading must not end a fault";
}

/// The most samples of a window of a load step.
const LONGEST_WINDOW: u32 = 200;

fn count(places: usize) -> u32 {
    u32::try_from(places).unwrap_or(u32::MAX)
}

/// The same voltage so many times in series.
fn times(volts: Volts, count: u32) -> Volts {
    Volts::from_wide(i64::from(volts.bits()).saturating_mul(i64::from(count)))
}

fn times_ohms(count: u32, ohms: Ohms) -> Ohms {
    Ohms(ohms.0.saturating_mul(count))
}

fn hour_of(amps: Amps) -> Coulombs {
    amps.over(Millis::from_seconds(3_600))
}

fn half(celsius: Celsius) -> Celsius {
    celsius.scaled(Ratio::percent(50))
}

/// What must change in each tick so that all of it has changed in that time.
fn each_tick(all: Amps, time: Millis, tick: Millis) -> Amps {
    let bits = i64::from(all.bits()).saturating_mul(i64::from(tick.0)).checked_div(i64::from(time.0));
    bits.map_or(Amps::MAX, Amps::from_wide)
}

/// The least number of time constants after which a healthy link is within the end fraction; 8, where the curve ends, if none is.
fn constants_needed(sequence: &SequenceFacts) -> u8 {
    let missing_most = sequence.end_fraction - (Ratio::ONE - sequence.end_ratio());
    let constant = Millis(1_000);
    let charged = |count: &u8| {
        decay(Millis(u32::from(*count).saturating_mul(constant.0)), constant).scaled(sequence.end_ratio())
            < missing_most
    };
    (1..8).find(charged).unwrap_or(8)
}

#[cfg(test)]
mod tests;
