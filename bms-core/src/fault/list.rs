//! The list of faults: one line a fault, and everything else is made from it.
//!
//! A line carries the variant, the field, the words, how many stages it keeps (`one` for the worst place, `each` for one a
//! thermistor), who looks, and the default limit for a pack. To add a fault, add its line here and its `look` in the family's
//! file; the compiler names every other place that must know.
//!
//! Unless a line names a source, its figures are common practice, no source; all of them are configuration.

use super::Clearing::{AtPanel, AtService};
use super::Reaction::{Derate, OpenNow, OpenSoon, Report};
use super::Stage;
use super::judge::{EachThermistor, Faults, Found, Keep, Limit, OfPack, Pass};
use super::{
    bleed, cell_voltage, contactor, control, cooling, current, disconnect, insulation, interlock, precharge,
    resistance, rest, temperature, thermistor, wire,
};
use crate::config::{Checks, Pack};
use crate::units::{Amps, Celsius, CelsiusPerSecond, Coulombs, Milliohms, Millis, OhmsPerVolt, Ratio, Volts};
use crate::witness::Witness;

/// Makes everything that must know all faults.
macro_rules! list {
    ($($(#[doc = $doc:literal])+ $variant:ident $field:ident $words:literal : $keeps:ident $watch:ty, $quantity:ident = $limit:expr;)+) => {
        /// What the firmware can conclude.
        #[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub enum Fault { $($(#[doc = $doc])+ $variant,)+ }

        impl Fault {
            /// All of them, in the order of the list.
            pub const ALL: [Self; Self::COUNT] = [$(Self::$variant,)+];
            /// How many there are.
            pub const COUNT: usize = [$(stringify!($variant),)+].len();

            /// What people call it.
            #[must_use]
            pub const fn words(self) -> &'static str {
                match self { $(Self::$variant => $words,)+ }
            }

            /// What it means, in a sentence or two.
            #[must_use]
            pub const fn meaning(self) -> &'static str {
                match self { $(Self::$variant => concat!($($doc),+).trim_ascii(),)+ }
            }

            /// Whether each thermistor has a stage and a record of its own for it.
            #[must_use]
            pub const fn is_per_thermistor(self) -> bool {
                match self { $(Self::$variant => list!(@per_thermistor $keeps),)+ }
            }

            /// What files and options call it: the words of the configuration key.
            #[must_use]
            pub const fn key(self) -> &'static str {
                match self { $(Self::$variant => stringify!($field),)+ }
            }
        }

        /// The limit of each fault.
        #[derive(Clone, Copy, Debug, Hash, PartialEq)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub struct FaultLimits { $($(#[doc = $doc])+ pub $field: Limit<$quantity>,)+ }

        impl FaultLimits {
            /// The defaults for a pack; limits on current follow its capacity.
            #[must_use]
            pub fn for_pack(pack: &Pack) -> Self {
                Self { $($field: ($limit)(pack),)+ }
            }

            /// Every limit on the right side of its release, with dwells that can be counted.
            pub(crate) fn check(&self, pack: &Pack, checks: &mut Checks) {
                let defaults = Self::for_pack(pack);
                $(self.$field.check(&defaults.$field, Fault::$variant, pack.tick, checks);)+
            }

            /// Dwell and reaction of a fault, whatever its quantity.
            #[must_use]
            pub const fn reaction(&self, fault: Fault) -> super::Reaction {
                match fault { $(Fault::$variant => self.$field.reaction,)+ }
            }

            /// Who may clear a fault, whatever its quantity.
            #[must_use]
            pub const fn clearing(&self, fault: Fault) -> super::Clearing {
                match fault { $(Fault::$variant => self.$field.clearing,)+ }
            }

            /// Trip and release limit, dwell and reaction of a fault, with units, for showing.
            #[must_use]
            pub fn shown(&self, fault: Fault) -> super::judge::Shown {
                match fault { $(Fault::$variant => self.$field.shown(),)+ }
            }

            /// Feeds the limit at a place of the list to a digest; nothing beyond its end.
            pub(crate) fn feed(&self, place: u8, digest: &mut crate::config::Digest<'_>) {
                $(if place == Fault::$variant as u8 { self.$field.feed(digest); })+
            }
        }

        /// The stages of all faults.
        #[derive(Clone, Copy, Debug, Hash, PartialEq)]
        pub(super) struct Kept<const THERMISTORS: usize> { $($field: list!(@keep $keeps),)+ }

        impl<const THERMISTORS: usize> Kept<THERMISTORS> {
            pub(super) const CLEAR: Self = Self { $($field: <list!(@keep $keeps)>::CLEAR,)+ };
            /// How many stages it keeps.
            pub(super) const STAGES: usize = 0_usize$(.saturating_add(list!(@stages $keeps)))+;

            /// The stages of every fault, in the order of the list.
            pub(super) fn each(&self, mut then: impl FnMut(&[Stage])) {
                $(then(self.$field.stages());)+
            }

            /// The same, to be changed.
            pub(super) fn each_mut(&mut self, mut then: impl FnMut(&mut [Stage])) {
                $(then(self.$field.stages_mut());)+
            }
        }

        impl<const CELLS: usize, const THERMISTORS: usize> Faults<CELLS, THERMISTORS> {
            /// Judges every fault of the list once.
            #[inline]
            pub(super) fn judge_all<W: Witness>(kept: &mut Kept<THERMISTORS>, pass: &mut Pass<'_, '_, CELLS, THERMISTORS>, limits: &FaultLimits, witness: &mut W) {
                $(Keep::<CELLS, THERMISTORS, $watch>::judge(&mut kept.$field, Fault::$variant, &limits.$field, pass, witness);)+
            }
        }
    };
    (@per_thermistor one) => { false };
    (@per_thermistor each) => { true };
    (@stages one) => { 1 };
    (@stages each) => { THERMISTORS };
    (@keep one) => { OfPack };
    (@keep each) => { EachThermistor<THERMISTORS> };
}

list! {
    /// Highest cell voltage, first step.
    CellOverVoltage cell_over_voltage "cell over-voltage, first step":
        one cell_voltage::Highest, Volts = |_| limit(volts(3_650), volts(3_600), 2_000, Derate, AtPanel);
    /// Highest cell voltage, second step.
    CellOverVoltageFar cell_over_voltage_far "cell over-voltage, second step":
        one cell_voltage::Highest, Volts = |_| limit(volts(3_750), volts(3_700), 300, OpenNow, AtPanel);
    /// Lowest cell voltage against the limit at its temperature, first step. The limit given here holds from 0 °C up.
    CellUnderVoltage cell_under_voltage "cell under-voltage, first step":
        one cell_voltage::LowestAtTemperature, Volts = |_| limit(volts(2_800), volts(2_850), 2_000, Derate, AtPanel);
    /// Lowest cell voltage against the limit at its temperature, second step. The limit given here holds from 0 °C up.
    CellUnderVoltageFar cell_under_voltage_far "cell under-voltage, second step":
        one cell_voltage::LowestAtTemperature, Volts = |_| limit(volts(2_500), volts(2_550), 300, OpenSoon, AtPanel);
    /// Lowest cell voltage at rest: the cell has been emptied below what it survives.
    CellDeeplyDischarged cell_deeply_discharged "cell deeply discharged":
        one cell_voltage::LowestAtRest, Volts = |_| limit(volts(2_000), volts(2_050), 10_000, OpenNow, AtService);
    /// Lowest cell voltage under any load: the cell is driven backwards. Not while the pack voltage shows that the reading lies.
    CellReversed cell_reversed "cell reversed":
        one cell_voltage::LowestBorneOut, Volts = |_| limit(volts(500), volts(1_000), 300, OpenNow, AtService);
    /// Highest less lowest cell voltage at rest, where the curve is flat.
    CellSpread cell_spread "cell spread":
        one cell_voltage::Spread, Volts = |_| limit(volts(100), volts(90), 60_000, Report, AtPanel);
    /// Highest less lowest cell voltage at rest, twice the limit.
    CellSpreadFar cell_spread_far "cell spread, twice the limit":
        one cell_voltage::Spread, Volts = |_| limit(volts(200), volts(180), 60_000, Derate, AtPanel);
    /// A sense wire between two cells is open: its cells read apart, or the front end's test current moves them apart.
    SenseWireOpen sense_wire_open "sense wire open":
        one wire::Open, Volts = |_| limit(volts(200), volts(150), 500, OpenSoon, AtPanel);
    /// Sum of the cells against the measured pack voltage.
    PackSumDisagrees pack_sum_disagrees "pack sum disagrees":
        one cell_voltage::SumAgainstPack, Volts = |pack: &Pack| {
            let one_percent = pack.nominal.scaled(Ratio::percent(1));
            limit(one_percent, one_percent.scaled(Ratio::percent(90)), 1_000, Derate, AtPanel)
        };
    /// Resistance of a cell with its joint, in excess of what its temperature explains, in the weakest of the last three load steps.
    CellResistanceHigh cell_resistance_high "cell resistance high":
        one resistance::Excess, Milliohms = |pack: &Pack| {
            let excess = pack.resistance.excess;
            limit(excess, excess.scaled(Ratio::percent(90)), 0, OpenSoon, AtService)
        };
    /// A cell's reading stays where it was while the load steps: less than this part of what a typical cell shows, in each of the last
    /// three. The whole pack, when no cell follows what the pack voltage shows.
    CellReadingFrozen cell_reading_frozen "cell reading frozen":
        one resistance::Following, Ratio = |_| limit(Ratio::percent(20), Ratio::percent(25), 0, OpenSoon, AtService);
    /// Counted charge is excluded by the open-circuit voltage, or by what a cell can hold.
    ChargeCountDisagrees charge_count_disagrees "charge count disagrees":
        one resistance::ChargeGap, Coulombs = |pack: &Pack| {
            let gap = pack.capacity.scaled(Ratio::percent(1));
            // From the trip on a count opens and heals; one just short of it must not hold the fault for ever.
            limit(gap, gap.scaled(Ratio::percent(99)), 0, Report, AtPanel)
        };
    /// A cell loses this part of its capacity a month, more than the median cell and beyond any error of the reading: found twice, from one
    /// rest to another on a steep part of the curve.
    CellSelfDischarge cell_self_discharge "cell self-discharge":
        one rest::Losing, Ratio = |_| limit(Ratio::percent(3), Ratio::from_milli(27), 0, Report, AtPanel);
    /// A rested cell falls against a typical one, by this much an hour beyond what relaxation and temperature may make, and in neither half of
    /// an hour by less than a quarter of that: something inside it takes charge, and opening the contactors does not stop it. Where the
    /// curve is steep the limit is what the least leak that counts makes of a voltage.
    InternalShort internal_short "internal short":
        one rest::Falling, Volts = |_| limit(volts(5), volts(5).scaled(Ratio::percent(90)), 0, OpenNow, AtService);
    /// A cell bleeds although its switch is told off, in three observations: it is emptied until somebody mends it.
    BleedPathStuckOn bleed_path_stuck_on "bleed path stuck on":
        one bleed::StuckOn, Found = |_| found(0, Report, AtPanel);
    /// A cell does not bleed although its switch is told on, in three observations: it stays above the others.
    BleedPathStuckOff bleed_path_stuck_off "bleed path stuck off":
        one bleed::StuckOff, Found = |_| found(0, Report, AtPanel);
    /// Hottest sensor that is not at a rail, or module that may be hotter because no sensor of it is believed; first step.
    OverTemperature over_temperature "over-temperature, first step":
        one temperature::Hottest, Celsius = |_| limit(celsius(55_000), celsius(52_000), 2_000, Derate, AtPanel);
    /// Hottest sensor that is not at a rail, or module that may be hotter because no sensor of it is believed; second step.
    OverTemperatureFar over_temperature_far "over-temperature, second step":
        one temperature::Hottest, Celsius = |_| limit(celsius(65_000), celsius(62_000), 500, OpenSoon, AtPanel);
    /// Charge current while the coldest sensor, or a module that may be colder because no sensor of it is believed, is below the limit.
    ChargingTooCold charging_too_cold "charging too cold":
        one temperature::ColdestCharged, Celsius = |_| limit(celsius(0), celsius(3_000), 2_000, OpenSoon, AtPanel);
    /// Coldest sensor, or module that may be colder because no sensor of it is believed.
    TooColdToWork too_cold_to_work "too cold to work":
        one temperature::Coldest, Celsius = |_| limit(celsius(-30_000), celsius(-27_000), 10_000, Derate, AtPanel);
    /// A sensor above 45 °C warms in every single second.
    TemperatureRisingFast temperature_rising_fast "temperature rising fast":
        one temperature::Rising, CelsiusPerSecond = |_| limit(per_second(300), per_second(270), 5_000, OpenNow, AtService);
    /// Cooling is told on and does not cool: its tacho stands for too long, or a hot pack without load does not get colder.
    CoolingFailed cooling_failed "cooling failed":
        one cooling::Fails, Found = |_| found(0, Derate, AtPanel);
    /// Nearly all of the reference voltage stands at a thermistor: an open wire.
    ThermistorOpen thermistor_open "thermistor open":
        each thermistor::Open, Ratio = |_| limit(Ratio::percent(99), Ratio::from_milli(988), 200, Report, AtPanel);
    /// Nearly nothing of the reference voltage stands at a thermistor: a short circuit.
    ThermistorShorted thermistor_shorted "thermistor shorted":
        each thermistor::Shorted, Ratio = |_| limit(Ratio::percent(1), Ratio::from_milli(12), 200, Report, AtPanel);
    /// A thermistor changes faster than anything with its mass can.
    ThermistorJump thermistor_jump "thermistor jump":
        each thermistor::Jump, Celsius = |_| limit(celsius(5_000), celsius(4_500), 0, Report, AtPanel);
    /// A thermistor differs from its neighbours' median.
    ThermistorStray thermistor_stray "thermistor stray":
        each thermistor::Stray, Celsius = |_| limit(celsius(15_000), celsius(12_000), 60_000, Report, AtPanel);
    /// A thermistor stays identical to the bit while its neighbours move.
    ThermistorFrozen thermistor_frozen "thermistor frozen":
        each thermistor::Frozen, Celsius = |_| limit(celsius(3_000), celsius(2_700), 0, Report, AtPanel);
    /// A module has no sensor left that is believed.
    ModuleWithoutSensor module_without_sensor "module without a valid sensor":
        one thermistor::ModulesBlind, Found = |_| found(200, Derate, AtPanel);
    /// Charge current beyond what anything but a short circuit draws.
    OverCurrentCharge over_current_charge "over-current, charge":
        one current::Charging, Amps = |pack: &Pack| limit(pack.rate(300), pack.rate(270), 20, OpenNow, AtPanel);
    /// Discharge current beyond what anything but a short circuit draws.
    OverCurrentDischarge over_current_discharge "over-current, discharge":
        one current::Discharging, Amps = |pack: &Pack| limit(pack.rate(500), pack.rate(450), 20, OpenNow, AtPanel);
    /// Most of the heat budget of fuse and cable is used.
    ThermalCurrentNear thermal_current_near "thermal current budget nearly used":
        one current::HeatBudget, Ratio = |_| limit(Ratio::percent(80), Ratio::percent(70), 0, Derate, AtPanel);
    /// The heat budget of fuse and cable is used up.
    ThermalCurrentOver thermal_current_over "thermal current budget used up":
        one current::HeatBudget, Ratio = |_| limit(Ratio::percent(100), Ratio::percent(70), 0, OpenSoon, AtPanel);
    /// The two current channels differ.
    CurrentSensorsDisagree current_sensors_disagree "current sensors disagree":
        one current::ChannelGap, Amps = |pack: &Pack| {
            let gap = pack.current_range.scaled(Ratio::percent(3));
            limit(gap, gap.scaled(Ratio::percent(90)), 200, OpenSoon, AtPanel)
        };
    /// Current flows although every contactor is commanded open. Until the sensor's idle offset is learnt its stated worst one is added
    /// to the limit given here.
    CurrentWhileOpen current_while_open "current while open":
        one current::WhileOpen, Amps = |_| limit(amps(1_000), amps(900), 500, Report, AtPanel);
    /// The cells' voltage moves against the current in each of the last load steps, by default three.
    CurrentSignImplausible current_sign_implausible "current sign implausible":
        one current::SignAgainstCells, Found = |_| found(0, OpenSoon, AtService);
    /// Current beyond the limit given out, first step.
    LimitNotObeyed limit_not_obeyed "limit not obeyed, first step":
        one current::BeyondGiven<false>, Amps = |pack: &Pack| limit(pack.rate(5), pack.rate(3), 2_000, Derate, AtPanel);
    /// Current beyond the limit given out, second step.
    LimitNotObeyedFar limit_not_obeyed_far "limit not obeyed, second step":
        one current::BeyondGiven<true>, Amps = |pack: &Pack| limit(pack.rate(15), pack.rate(13), 500, OpenSoon, AtPanel);
    /// The link does not rise at all.
    PrechargeFlat precharge_flat "precharge flat":
        one precharge::Flat, Found = |_| found(0, Report, AtPanel);
    /// The link stops rising below the end limit: a load is on.
    PrechargeStalled precharge_stalled "precharge stalled":
        one precharge::Stalled, Found = |_| found(0, Report, AtPanel);
    /// The link does not reach the end limit in time.
    PrechargeTooSlow precharge_too_slow "precharge too slow":
        one precharge::TooSlow, Found = |_| found(0, Report, AtPanel);
    /// The link rises faster than its capacitance allows.
    PrechargeTooFast precharge_too_fast "precharge too fast":
        one precharge::TooFast, Found = |_| found(0, Report, AtPanel);
    /// The link lies above the pack by more than the end limit of precharge, so that positive must not close onto the difference, or began a
    /// start so near to the pack that no rise could show: a turning motor feeds it, or has. Below the pack the start has not ended, and is
    /// stalled or too slow.
    ClosingDifferenceLarge closing_difference_large "closing difference too large":
        one precharge::ClosingDifference, Found = |_| found(0, Report, AtPanel);
    /// The precharge resistor is too hot, by its modelled energy.
    PrechargeResistorHot precharge_resistor_hot "precharge resistor hot":
        one precharge::ResistorHot, Ratio = |_| limit(Ratio::ONE, Ratio::percent(60), 0, Report, AtPanel);
    /// The negative contactor does not close.
    NegativeStuckOpen negative_stuck_open "negative contactor stuck open":
        one contactor::StuckOpen<0>, Found = |_| found(0, OpenSoon, AtPanel);
    /// The precharge contactor does not close, by its feedback contact and a link that no current reaches: the voltages alone cannot tell
    /// it from an open resistor.
    PrechargeStuckOpen precharge_stuck_open "precharge contactor stuck open":
        one contactor::StuckOpen<1>, Found = |_| found(0, OpenSoon, AtPanel);
    /// The positive contactor does not close.
    PositiveStuckOpen positive_stuck_open "positive contactor stuck open":
        one contactor::StuckOpen<2>, Found = |_| found(0, OpenSoon, AtPanel);
    /// The negative contactor does not open.
    NegativeWelded negative_welded "negative contactor welded":
        one contactor::Welded<0>, Found = |_| found(0, OpenNow, AtService);
    /// The precharge contactor does not open.
    PrechargeWelded precharge_welded "precharge contactor welded":
        one contactor::Welded<1>, Found = |_| found(0, OpenNow, AtService);
    /// The positive contactor does not open.
    PositiveWelded positive_welded "positive contactor welded":
        one contactor::Welded<2>, Found = |_| found(0, OpenNow, AtService);
    /// Closings onto a difference and openings under load have used up a contactor's life, by the figures of its sheet.
    ContactorWorn contactor_worn "contactor worn":
        one contactor::Worn, Ratio = |_| limit(Ratio::ONE, Ratio::percent(90), 0, Report, AtService);
    /// A contactor has done twice what its sheet allows: closing is refused until it is replaced.
    ContactorWornOut contactor_worn_out "contactor worn out":
        one contactor::Worn, Ratio = |_| limit(Ratio::percent(200), Ratio::percent(180), 0, Report, AtService);
    /// A feedback contact contradicts coil, voltages and current.
    FeedbackImplausible feedback_implausible "feedback contact implausible":
        one contactor::FeedbackContradicts, Found = |_| found(100, Report, AtPanel);
    /// A feedback contact contradicts its coil, or the voltages where leaks to the chassis explain them as well, and nothing tells which is
    /// right.
    ContactorStateUnknown contactor_state_unknown "contactor state unknown":
        one contactor::StateUnknown, Found = |_| found(100, OpenSoon, AtPanel);
    /// The link is still charged long after opening. A quarter of the pack where that is less than the limit given here.
    LinkStaysLive link_stays_live "link stays live":
        one contactor::LinkAfterOpening, Volts = |_| limit(volts(60_000), volts(54_000), 0, Report, AtPanel);
    /// The link reads another voltage than the others around the contactors leave for it, or than the pack while a load's current flows between
    /// the two. One of these readings lies: neither a start nor an opening can be proven by it.
    LinkReadingImplausible link_reading_implausible "link reading implausible":
        one contactor::LinkReading, Found = |_| found(100, OpenSoon, AtPanel);
    /// The loop through covers and connectors is open, and no load has been on for a while.
    InterlockOpen interlock_open "interlock open":
        one interlock::Open<false>, Found = |pack: &Pack| found(contact(pack), OpenNow, AtPanel);
    /// The loop through covers and connectors is open while a load is on, or was a moment ago.
    InterlockOpenAtLoad interlock_open_at_load "interlock open at load":
        one interlock::Open<true>, Found = |pack: &Pack| found(contact(pack), OpenSoon, AtPanel);
    /// Short breaks of the interlock within a minute, first step.
    InterlockIntermittent interlock_intermittent "interlock intermittent, first step":
        one interlock::ShortBreaks, u8 = |_| limit(1, 0, 0, Report, AtPanel);
    /// Short breaks of the interlock within a minute, second step.
    InterlockIntermittentFar interlock_intermittent_far "interlock intermittent, second step":
        one interlock::ShortBreaks, u8 = |_| limit(5, 2, 0, Report, AtPanel);
    /// The service disconnect is out, by its contact.
    ServiceDisconnectOut service_disconnect_out "service disconnect out":
        one disconnect::ServiceOut, Found = |pack: &Pack| found(contact(pack), OpenNow, AtPanel);
    /// The pack's terminals have lost the cells, which still sum up, while the service disconnect's contact says that it is in its place.
    StringOpen string_open "fuse or service path open":
        one disconnect::StringGap, Ratio = |pack: &Pack| {
            // Cells and pack may be read an oldest age apart: two ticks longer.
            let dwell = pack.oldest_age + pack.tick + pack.tick;
            limit(Ratio::percent(20), Ratio::percent(15), dwell.0, OpenNow, AtPanel)
        };
    /// Edges of the impact sensor within its window.
    ImpactSignal impact_signal "impact signal":
        one disconnect::ImpactEdges, u8 = |_| limit(4, 1, 0, OpenNow, AtService);
    /// The disconnect of the auxiliary supply is pulled, by its contact: the coils drop out by themselves soon.
    AuxiliaryDisconnectPulled auxiliary_disconnect_pulled "auxiliary disconnect pulled":
        one disconnect::AuxiliaryPulled, Found = |_| found(50, OpenSoon, AtPanel);
    /// Insulation of the weaker pole from the chassis over the pack's voltage, in the best of the last readings; first step.
    InsulationLow insulation_low "insulation low, first step":
        one insulation::Low, OhmsPerVolt = |_| limit(OhmsPerVolt(500), OhmsPerVolt(550), 0, Report, AtPanel);
    /// Insulation of the weaker pole from the chassis over the pack's voltage, in the best of the last readings; second step. Nothing closes
    /// then; what is closed stays closed, because a first leak is no shock but a dropped hoist is. Limit: UN R100, direct current.
    InsulationLowFar insulation_low_far "insulation low, second step":
        one insulation::LowFar, OhmsPerVolt = |_| limit(OhmsPerVolt(100), OhmsPerVolt(110), 0, Report, AtPanel);
    /// The pack is charged from a charger while insulation is below its second step: a charger brings the mains near.
    ChargedWithLeak charged_with_leak "charged with insulation low":
        one insulation::LowWhileCharged, OhmsPerVolt = |_| limit(OhmsPerVolt(100), OhmsPerVolt(110), 0, OpenSoon, AtPanel);
    /// For longer than `insulation.oldest` no measurement of the insulation has come to a result: it may be anything.
    InsulationUnknown insulation_unknown "insulation unknown":
        one insulation::Unknown, Found = |_| found(0, Report, AtPanel);
    /// The auxiliary supply is low. While a coil pulls in, the lower `sequence.supply_at_pull_in` holds.
    SupplyLow supply_low "supply low":
        one control::Supply, Volts = |_| limit(volts(9_000), volts(9_500), 50, OpenSoon, AtPanel);
    /// A part of the frame has not come for too long, or a frame came too long after the one before it while current could flow. What is
    /// as old as the oldest that is believed is not stale yet.
    MeasurementsStale measurements_stale "measurements stale":
        one control::Unseen, Millis = |pack: &Pack| limit(pack.oldest_age + Millis(1), pack.oldest_age, 0, OpenSoon, AtPanel);
    /// A frame came later after the one before it than a tick allows, while current could flow: every protection is late by as much.
    TickLate tick_late "tick late":
        one control::Waited, Millis = |pack: &Pack| {
            // A whole tick is missing. The way to its release is half of what lies beyond a tick.
            let trip = (pack.tick + pack.tick).min(pack.oldest_age + Millis(1));
            limit(trip, Millis(pack.tick.0.midpoint(trip.0)), 0, Report, AtPanel)
        };
    /// The configuration fails its checks or its checksum.
    ConfigurationInvalid configuration_invalid "configuration invalid":
        one control::Configuration, Found = |_| found(0, OpenSoon, AtService);
}

/// Release dwell of a limit that names none: at least one second.
const RELEASE_DWELL_MS: u32 = 1_000;

const fn limit<Q>(
    trip: Q,
    release: Q,
    dwell_ms: u32,
    reaction: super::Reaction,
    clearing: super::Clearing,
) -> Limit<Q> {
    let release_dwell = Millis(if dwell_ms > RELEASE_DWELL_MS { dwell_ms } else { RELEASE_DWELL_MS });
    Limit {
        trip,
        release,
        dwell: Millis(dwell_ms),
        release_dwell,
        counter: super::Counter::Resetting,
        reaction,
        clearing,
    }
}

/// The dwell of a contact that opens at once: 10 ms, as far as ticks can count them.
const fn contact(pack: &Pack) -> u32 {
    if pack.tick.0 > 10 { pack.tick.0 } else { 10 }
}

/// A fault that another room finds at a moment of its own, by bounds of its own.
const fn found(dwell_ms: u32, reaction: super::Reaction, clearing: super::Clearing) -> Limit<Found> {
    limit(Found, Found, dwell_ms, reaction, clearing)
}

const fn volts(thousandths: i32) -> Volts {
    Volts::from_milli(thousandths)
}

const fn amps(thousandths: i32) -> Amps {
    Amps::from_milli(thousandths)
}

const fn celsius(thousandths: i32) -> Celsius {
    Celsius::from_milli(thousandths)
}

const fn per_second(thousandths: i32) -> CelsiusPerSecond {
    CelsiusPerSecond::from_milli(thousandths)
}

/// A set of faults, one bit a fault.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FaultSet([u32; WORDS]);

/// Words of a set.
const WORDS: usize = 3;

impl FaultSet {
    /// No fault.
    pub const EMPTY: Self = {
        assert!(Fault::COUNT <= 32 * WORDS, "one bit a fault");
        Self([0; WORDS])
    };

    /// Whether the fault is in the set.
    #[must_use]
    pub fn holds(self, fault: Fault) -> bool {
        let bit = fault as usize;
        self.0.get(bit >> 5).is_some_and(|word| word >> (bit & 31) & 1 == 1)
    }

    /// Takes the fault in.
    pub fn insert(&mut self, fault: Fault) {
        let bit = fault as usize;
        if let Some(word) = self.0.get_mut(bit >> 5) {
            *word |= 1 << (bit & 31);
        }
    }

    /// Whether no fault is in the set.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        let [a, b, c] = self.0;
        a | b | c == 0
    }

    /// The faults of the set, in the order of the list.
    pub fn iter(self) -> impl Iterator<Item = Fault> {
        Fault::ALL.into_iter().filter(move |fault| self.holds(*fault))
    }
}
