//! # Evidence as bare values
//!
//! What an event rests on, for files that machines read: a kind in `snake_case`, and one JSON object of numbers and words. Each number
//! carries its unit at the end of its key (`observed_volts`, `dwell_seconds`); cells, modules and thermistors are counted from 1, as
//! people count them; what was not measured is left out.

use super::{Event, What, number};
use crate::case::Ask;
use crate::world::truth::Breach;
use bms_core::decision::Cooling;
use bms_core::estimate::Interval;
use bms_core::fault::{Fault, Stage};
use bms_core::frame::Replaced;
use bms_core::insulation::{InsulationStep, Spoilt};
use bms_core::kept::{Restart, Unusable};
use bms_core::quarantine::{Disturbance, Quarantine};
use bms_core::sequence::Because;
use bms_core::units::{Coulombs, Millis, Ohms};
use bms_core::wires::WireTest;
use bms_core::witness::{Assessment, Evidence, Place, Quantity, Refusal};
use serde::Serialize;
use serde_json::{Map, Value};

/// The values of an event by key.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Values(Map<String, Value>);

impl Values {
    /// One value; nothing that has no number replaces it.
    #[must_use]
    pub(crate) fn with(mut self, key: &str, value: impl Into<Value>) -> Self {
        self.0.insert(key.to_owned(), value.into());
        self
    }

    /// A quantity under its key, the unit behind it.
    #[must_use]
    pub(crate) fn and(mut self, key: &str, quantity: Quantity) -> Self {
        let (value, unit) = number(quantity);
        self.0.insert(format!("{key}_{unit}"), value.into());
        self
    }

    /// A quantity, if there is one.
    #[must_use]
    fn maybe(self, key: &str, quantity: Option<Quantity>) -> Self {
        match quantity {
            Some(quantity) => self.and(key, quantity),
            None => self,
        }
    }

    /// A time, if it ends.
    #[must_use]
    fn time(self, key: &str, time: Millis) -> Self {
        self.maybe(key, (time != Millis::MAX).then_some(Quantity::Millis(time)))
    }

    /// Both ends of a charge interval.
    #[must_use]
    fn interval(self, key: &str, interval: Interval) -> Self {
        let end = |charge: Coulombs| Quantity::Coulombs(charge);
        self.and(&format!("{key}_least"), end(interval.low)).and(&format!("{key}_most"), end(interval.high))
    }

    /// A unit variant of an enumeration under its name in the code, which case files use too.
    #[must_use]
    pub(crate) fn name(self, key: &str, of: impl Serialize) -> Self {
        let name = variant(of);
        self.with(key, name)
    }

    fn fault(self, fault: Fault) -> Self {
        self.with("fault", fault.key())
    }

    /// Where something is.
    #[must_use]
    fn place(self, place: Place) -> Self {
        let counted = |key: &str, from_0: u8| (key.to_owned(), Value::from(u16::from(from_0) + 1));
        let (key, value) = match place {
            Place::Pack => ("place".to_owned(), "pack".into()),
            Place::Link => ("place".to_owned(), "link".into()),
            Place::Supply => ("place".to_owned(), "supply".into()),
            Place::Cell(cell) => counted("cell", cell),
            Place::Module(module) => counted("module", module),
            Place::Thermistor(thermistor) => counted("thermistor", thermistor),
            Place::Contactor(contactor) => ("contactor".to_owned(), variant(contactor).into()),
            Place::Wire(wire) => counted("wire", wire),
            Place::Pole(pole) => ("pole".to_owned(), variant(pole).into()),
        };
        self.with(&key, value)
    }

    /// How a fault was judged.
    #[must_use]
    pub(crate) fn assessed(self, seen: &Assessment) -> Self {
        let held = match seen.stage {
            Stage::Suspect { held, .. } => Some(Quantity::Millis(held)),
            Stage::Clear | Stage::Confirmed { .. } | Stage::Latched => None,
        };
        self.fault(seen.fault)
            .place(seen.place)
            .maybe("observed", seen.observed)
            .maybe("limit", seen.limit)
            .name("reading", seen.reading)
            .name("stage", seen.stage)
            .maybe("held", held)
            .time("dwell", seen.dwell)
    }

    /// Where something is, as a word and, where there are several, a number or a name: `cell 37`.
    pub(super) fn whereabouts(&self) -> Option<String> {
        const PLACES: [&str; 7] = ["cell", "module", "thermistor", "contactor", "wire", "pole", "defect"];
        let shown = |value: &Value| value.as_str().map_or_else(|| value.to_string(), str::to_owned);
        let counted = PLACES.iter().find_map(|key| Some(format!("{key} {}", shown(self.0.get(*key)?))));
        counted.or_else(|| self.0.get("place").map(shown))
    }

    /// What was seen, the limit that it was held against, and the unit of both as [`number`] names it.
    pub(super) fn measured(&self) -> Option<(f64, Option<f64>, String)> {
        let (unit, value) = self.0.iter().find_map(|(key, value)| {
            let unit = key.strip_prefix("observed_").or_else(|| key.strip_prefix("value_"))?;
            Some((unit.to_owned(), value.as_f64()?))
        })?;
        let limit = self.0.get(&format!("limit_{unit}")).and_then(Value::as_f64);
        Some((value, limit, unit))
    }

    /// A safe bound that truth passed.
    #[must_use]
    pub(crate) fn breached(self, breach: &Breach) -> Self {
        let unit = breach.bound.unit();
        let values = self
            .with("bound", format!("{:?}", breach.bound))
            .with(&format!("value_{unit}"), breach.value)
            .with(&format!("limit_{unit}"), breach.limit);
        match breach.place {
            Some(place) => values.with("cell", place + 1),
            None => values,
        }
    }
}

/// One JSON object.
impl std::fmt::Display for Values {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(to, "{}", Value::Object(self.0.clone()))
    }
}

/// One event, as files show it.
#[derive(Clone, Debug, Serialize)]
pub struct EventShown {
    pub(super) tick: u64,
    pub(super) seconds: f64,
    pub(super) kind: &'static str,
    pub(super) sentence: String,
    pub(super) values: Values,
}

impl EventShown {
    /// An event with the sentence that says it.
    #[must_use]
    pub fn of(event: &Event, sentence: String) -> Self {
        let (kind, values) = of(&event.what);
        Self { tick: event.tick, seconds: event.seconds, kind, sentence, values }
    }
}

/// The name of a variant, whatever it holds.
pub(crate) fn variant(of: impl Serialize) -> String {
    match serde_json::to_value(of) {
        Ok(Value::String(name)) => name,
        Ok(Value::Object(holds)) => holds.into_iter().next().map_or_else(String::new, |(name, _)| name),
        Ok(Value::Null | Value::Bool(_) | Value::Number(_) | Value::Array(_)) | Err(_) => String::new(),
    }
}

/// The kind of an event and its values.
#[must_use]
pub fn of(what: &What) -> (&'static str, Values) {
    let none = Values::default();
    match what {
        What::DefectBegan(place) => ("defect_began", none.with("defect", place + 1)),
        What::DefectEnded(place) => ("defect_ended", none.with("defect", place + 1)),
        What::Acted(Ask::Close) => ("acted", none.with("ask", "close")),
        What::Acted(Ask::Open) => ("acted", none.with("ask", "open")),
        What::Acted(Ask::Clear(by)) => ("acted", none.with("ask", "clear").name("by", by)),
        What::Acted(Ask::LosePower(loss)) => {
            let loss_values = none
                .with("ask", "lose_power")
                .and("for", Quantity::Millis(Millis(loss.for_ms.try_into().unwrap_or(u32::MAX))));
            ("acted", loss_values.with("record", loss.record.name()).with("clock", loss.clock))
        }
        What::Acted(Ask::Replace(part)) => {
            let place = match part {
                Replaced::Cell(cell) => Place::Cell(*cell),
                Replaced::Contactor(contactor) => Place::Contactor(*contactor),
            };
            ("acted", none.with("ask", "replace").place(place))
        }
        What::Repaired(repair) => {
            let done = none.with("repair", repair.work.key());
            let done = match (repair.work.place().key(), repair.work.place().names()) {
                (None, _) => done,
                (Some(key), []) => done.with(key, repair.place + 1),
                (Some(key), names) => done.with(key, names.get(repair.place).copied()),
            };
            ("repaired", done)
        }
        What::LimitsChanged(place) => ("limits_changed", none.with("change", place + 1)),
        What::DutyBegan(work) => ("duty_began", none.with("do", *work)),
        What::Told(evidence) => told(evidence),
        What::Cooled(cooling) => ("cooling", none.with("runs", *cooling == Cooling::On)),
        What::Breached(breach) => ("safe_bound_passed", none.breached(breach)),
    }
}

#[expect(clippy::too_many_lines, reason = "one arm for each evidence")]
fn told(evidence: &Evidence) -> (&'static str, Values) {
    let none = Values::default();
    match *evidence {
        Evidence::ConfigRefused(error) => ("config_refused", none.with("problem", error.to_string())),
        Evidence::FrameNotNewer { at, before } => (
            "frame_not_newer",
            none.and("at", Quantity::Millis(Millis(at))).and("before", Quantity::Millis(Millis(before))),
        ),
        Evidence::FrameLate { gap, oldest } => ("frame_late", none.time("gap", gap).time("oldest", oldest)),
        Evidence::PartStale { part, age, oldest } => {
            ("part_stale", none.name("part", part).time("age", age).time("oldest", oldest))
        }
        Evidence::Doubted { thermistor, doubt, reads } => {
            let values = none.place(Place::Thermistor(thermistor)).name("doubt", doubt);
            ("doubted", values.and("reads", Quantity::Celsius(reads)))
        }
        Evidence::Assessed(seen) => ("assessed", none.assessed(&seen)),
        Evidence::StageChanged { from, assessment } => {
            ("stage_changed", none.assessed(&assessment).name("stage_before", from))
        }
        Evidence::NearMiss(seen) => ("near_miss", none.assessed(&seen)),
        Evidence::Reacting { from, to } => {
            let demanded = |values: Values, key: &str, held: Option<(_, Fault)>| match held {
                Some((reaction, fault)) => {
                    values.name(key, reaction).with(&format!("{key}_fault"), fault.key())
                }
                None => values,
            };
            ("reacting", demanded(demanded(none, "reaction_before", from), "reaction", to))
        }
        Evidence::Moved { from, to, because: why } => {
            ("moved", because(none.name("step_before", from).name("step", to).name("because", why), why))
        }
        Evidence::Waits { step, since, deadline } => {
            ("waits", none.name("step", step).time("since", since).time("deadline", deadline))
        }
        Evidence::OpenedUnderLoad { amps, count } => {
            ("opened_under_load", none.and("current", Quantity::Amps(amps)).with("count", count))
        }
        Evidence::Precharging(seen) => (
            "precharging",
            none.time("since_rise", seen.since_rise)
                .and("link", Quantity::Volts(seen.link))
                .and("expected", Quantity::Volts(seen.expected))
                .and("pack", Quantity::Volts(seen.pack))
                .and("within", Quantity::Volts(seen.within))
                .and("rise", Quantity::Ratio(seen.rise))
                .maybe("explained_by", seen.explained_by.map(Quantity::Ohms)),
        ),
        Evidence::CannotSeparate(pair) => ("cannot_separate", none.name("pair", pair)),
        Evidence::Refused(why) => ("refused", refused(none.name("refusal", why), why)),
        Evidence::Limited { side, rule, allows, runner_up, runner_up_allows, given } => (
            "limited",
            none.name("side", side)
                .name("rule", rule)
                .and("allows", Quantity::Amps(allows))
                .name("runner_up", runner_up)
                .and("runner_up_allows", Quantity::Amps(runner_up_allows))
                .and("given", Quantity::Amps(given)),
        ),
        Evidence::OcvCompared { cell, volts, shift, error, counted, by_ocv, after } => (
            "ocv_compared",
            none.place(Place::Cell(cell))
                .and("rested", Quantity::Volts(volts))
                .and("shift", Quantity::Volts(shift))
                .and("error", Quantity::Volts(error))
                .interval("counted", counted)
                .interval("by_ocv", by_ocv)
                .interval("after", after),
        ),
        Evidence::ChargeDisagrees { cell, counted, by_ocv, after } => (
            "charge_disagrees",
            none.place(Place::Cell(cell))
                .interval("counted", counted)
                .interval("by_ocv", by_ocv)
                .interval("after", after),
        ),
        Evidence::ChargeImpossible { cell, counted, possible } => (
            "charge_impossible",
            none.place(Place::Cell(cell)).interval("counted", counted).interval("possible", possible),
        ),
        Evidence::LoadStep(step) => (
            "load_step",
            none.place(Place::Cell(step.cell))
                .and("moved", Quantity::Volts(step.volts))
                .and("by", Quantity::Amps(step.amps))
                .and("observed", Quantity::Milliohms(step.resistance))
                .and("expected", Quantity::Milliohms(step.expected))
                .and("allowed_above", Quantity::Milliohms(step.allowed)),
        ),
        Evidence::LoadStepDiscarded { because, amps } => {
            ("load_step_discarded", none.name("because", because).and("by", Quantity::Amps(amps)))
        }
        Evidence::BleedChosen { cell, excess } => {
            ("bleed_chosen", none.place(Place::Cell(cell)).and("excess", Quantity::Coulombs(excess)))
        }
        Evidence::BleedRefused { cell, because } => {
            ("bleed_refused", none.place(Place::Cell(cell)).name("because", because))
        }
        Evidence::Insulation(step) => insulation(step),
        Evidence::Quarantined(told) => ("quarantined", quarantined(told)),
        Evidence::Restarted(began) => restarted(began),
        Evidence::Wires(test) => wire_test(test),
        Evidence::RecordDropped { fault, dropped } => {
            ("record_dropped", none.fault(fault).with("dropped", dropped))
        }
        Evidence::Cleared { fault, by } => ("cleared", none.fault(fault).name("by", by)),
        Evidence::CellReplaced { cell } => ("cell_replaced", none.place(Place::Cell(cell))),
        Evidence::ContactorReplaced { contactor } => {
            ("contactor_replaced", none.place(Place::Contactor(contactor)))
        }
        Evidence::OffsetLearnt { amps, over } => {
            ("offset_learnt", none.and("offset", Quantity::Amps(amps)).time("over", over))
        }
    }
}

fn restarted(began: Restart) -> (&'static str, Values) {
    match began {
        Restart::Restored { number, holds, off } => {
            let values = Values::default().with("record", number).time("worked_after_it", holds);
            ("restored", off.map_or(values.clone(), |off| values.time("off", off)))
        }
        Restart::Refused(reason) => ("record_refused", unusable(reason)),
    }
}

fn unusable(reason: Unusable) -> Values {
    let because = |why: &str| Values::default().with("because", why);
    let both =
        |why: &str, found: u32, expected: u32| because(why).with("found", found).with("expected", expected);
    let size = |(cells, thermistors): (u8, u8)| vec![cells, thermistors];
    match reason {
        Unusable::Blank => because("blank"),
        Unusable::TooShort { found, needed } => both("too_short", found, needed),
        Unusable::NoRecord { found } => because("no_record").with("found", found.to_vec()),
        Unusable::WrongSum { found, stated } => both("wrong_sum", found, stated),
        Unusable::OtherVersion { found, known } => both("other_version", found.into(), known.into()),
        Unusable::OtherPack { found, expected } => both("other_pack", found, expected),
        Unusable::OtherSize { found, expected } => {
            because("other_size").with("found", size(found)).with("expected", size(expected))
        }
        Unusable::OtherConfiguration { found, expected } => both("other_configuration", found, expected),
    }
}

fn quarantined(told: Quarantine) -> Values {
    let values = Values::default().fault(told.fault).time("quiet", told.quiet).time("needed", told.needed);
    let disturbed = |name: &str| values.clone().with("disturbance", name);
    match told.disturbance {
        None => values,
        Some(Disturbance::Holds(fault)) => disturbed("holds").with("holds", fault.key()),
        Some(Disturbance::NotOpen) => disturbed("not_open"),
        Some(Disturbance::Unseen(part)) => disturbed("unseen").name("part", part),
        Some(Disturbance::Warms) => disturbed("warms"),
        Some(Disturbance::FallUnknown) => disturbed("fall_unknown"),
        Some(Disturbance::Falls(cell)) => disturbed("falls").place(Place::Cell(cell)),
        Some(Disturbance::Loses(cell)) => disturbed("loses").place(Place::Cell(cell)),
        Some(Disturbance::InsulationLow) => disturbed("insulation_low"),
    }
}

fn wire_test(test: WireTest) -> (&'static str, Values) {
    let none = Values::default();
    match test {
        WireTest::Begun => ("wire_test_begun", none),
        WireTest::Unanswered(after) => ("wire_test_unanswered", none.time("after", after)),
        WireTest::Open(open) => {
            ("wire_open", none.place(Place::Wire(open.wire)).and("apart", Quantity::Volts(open.apart)))
        }
        WireTest::Dismissed(wire) => ("wire_dismissed", none.place(Place::Wire(wire))),
        WireTest::Sound => ("wire_test_sound", none),
    }
}

fn insulation(step: InsulationStep) -> (&'static str, Values) {
    let none = Values::default();
    let (volts, ohms) =
        (Quantity::Volts, |ohms: Ohms| (ohms != Ohms(u32::MAX)).then_some(Quantity::Ohms(ohms)));
    match step {
        InsulationStep::NotMeasured => ("insulation_not_measured", none),
        InsulationStep::Begun(side) => ("insulation_begun", none.name("side", side)),
        InsulationStep::Read { resistor, negative, positive } => (
            "insulation_read",
            none.name("resistor", resistor).and("negative", volts(negative)).and("positive", volts(positive)),
        ),
        InsulationStep::Spoilt(why) => {
            let values = none.name("because", why);
            let values = match why {
                Spoilt::PackMoved(lowest, highest) => {
                    values.and("lowest", volts(lowest)).and("highest", volts(highest))
                }
                Spoilt::Unsettled(after) => values.time("after", after),
                Spoilt::PolesContradictPack { poles, pack } => {
                    values.and("poles", volts(poles)).and("pack", volts(pack))
                }
                Spoilt::NoPack(pack) => values.and("pack", volts(pack)),
                Spoilt::ContactorsMoved => values,
            };
            ("insulation_spoilt", values)
        }
        InsulationStep::PausedForCharger => ("insulation_paused_for_charger", none),
        InsulationStep::Found(found) => (
            "insulation_found",
            none.place(Place::Pole(found.weaker))
                .name("side", found.side)
                .maybe("observed", ohms(found.ohms))
                .maybe("other_pole", ohms(found.stronger))
                .and("pack", volts(found.pack))
                .maybe("per_volt", ohms(found.ohms).map(|_| Quantity::OhmsPerVolt(found.per_volt()))),
        ),
    }
}

fn because(values: Values, why: Because) -> Values {
    let volts = Quantity::Volts;
    match why {
        Because::ClosingAsked { behind_negative, behind_positive, pack } => values
            .and("behind_negative", volts(behind_negative))
            .and("behind_positive", volts(behind_positive))
            .and("pack", volts(pack)),
        Because::NegativeClosed { behind_negative, pack, link } => values
            .and("behind_negative", volts(behind_negative))
            .and("pack", volts(pack))
            .and("link", volts(link)),
        Because::LinkCharged { link, pack, within, after } => values
            .and("link", volts(link))
            .and("pack", volts(pack))
            .and("within", volts(within))
            .time("after", after),
        Because::PositiveClosed { link, pack } => values.and("link", volts(link)).and("pack", volts(pack)),
        Because::FaultDemands { fault, reaction } => values.fault(fault).name("reaction", reaction),
        Because::CurrentFallen { amps, below } => {
            values.and("current", Quantity::Amps(amps)).and("below", Quantity::Amps(below))
        }
        Because::GraceOver { amps, grace } => {
            values.maybe("current", amps.map(Quantity::Amps)).time("grace", grace)
        }
        Because::FuseCleared { amps, after } => {
            values.maybe("current", amps.map(Quantity::Amps)).time("after", after)
        }
        Because::LinkFell { from, to, after } => {
            values.and("from", volts(from)).and("to", volts(to)).time("after", after)
        }
        Because::ProvenDead { link, behind_negative, after } => values
            .and("link", volts(link))
            .and("behind_negative", volts(behind_negative))
            .time("after", after),
        Because::NotProven { link, deadline } => {
            values.maybe("link", link.map(Quantity::Volts)).time("deadline", deadline)
        }
        Because::PrechargeFailed { fault } => values.fault(fault),
        Because::OpeningAsked | Because::CoilsOff | Because::Cleared => values,
    }
}

fn refused(values: Values, why: Refusal) -> Values {
    match why {
        Refusal::FaultHolds { act, fault } => values.name("act", act).with("held_by", fault.key()),
        Refusal::ConditionPresent(seen) => values.assessed(&seen),
        Refusal::ConditionUnmeasured { fault } => values.fault(fault),
        Refusal::NotAllowed { fault, by } => values.fault(fault).name("allowed", by),
        Refusal::SupplyTooLow { volts, least } => {
            values.and("supply", Quantity::Volts(volts)).and("least", Quantity::Volts(least))
        }
        Refusal::ResistorHot { rise, most } => {
            values.and("rise", Quantity::Celsius(rise)).and("most", Quantity::Celsius(most))
        }
        Refusal::Retries { wait } => values.time("wait", wait),
        Refusal::Unmeasured(part) => values.name("part", part),
        Refusal::NotProvenOpen { behind_negative, behind_positive, link, pack } => values
            .and("behind_negative", Quantity::Volts(behind_negative))
            .and("behind_positive", Quantity::Volts(behind_positive))
            .and("link", Quantity::Volts(link))
            .and("pack", Quantity::Volts(pack)),
        Refusal::NoSuchCell(cell) => values.place(Place::Cell(cell)),
        Refusal::NotOpen(act) => values.name("act", act),
        Refusal::AwaitsClearing | Refusal::AskAgain | Refusal::InsulationUnknown => values,
    }
}
