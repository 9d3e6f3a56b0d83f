//! # The columns of a tick
//!
//! The [signals](super::super::signals) first, which a recording holds and pictures show, and after them all else that playing again
//! gives: what each sensor read beside what was true, what was asked, answered and believed, and the stage of each fault.

use crate::recording::column::{Column, Kind, Shown, Unit, Value, decimal, millionths};
use crate::recording::signals::{self, Moment, Signals};
use crate::world::deviation::CONTACTORS;
use bms_core::Fault;
use bms_core::decision::Cooling;
use bms_core::fault::FaultSet;
use bms_core::frame::{Contact, Contactor, Part, Wanted};
use bms_core::units::{Ratio, Volts};
use std::borrow::Cow;

/// How the value of a column comes from a moment; the place is that of a cell, a thermistor, a fault, from 0.
type Read<const CELLS: usize, const THERMISTORS: usize> = fn(&Seen<'_, CELLS, THERMISTORS>, usize) -> Value;

/// A moment with its signals.
pub(super) struct Seen<'a, const CELLS: usize, const THERMISTORS: usize> {
    moment: Moment<'a, CELLS, THERMISTORS>,
    signals: Signals,
}

impl<'a, const CELLS: usize, const THERMISTORS: usize> Seen<'a, CELLS, THERMISTORS> {
    pub(super) fn of(moment: Moment<'a, CELLS, THERMISTORS>) -> Self {
        Self { signals: Signals::of(&moment), moment }
    }
}

/// A column of a tick.
#[derive(Clone, Debug)]
pub(super) struct Channel<const CELLS: usize, const THERMISTORS: usize> {
    pub(super) column: Column,
    place: usize,
    read: Read<CELLS, THERMISTORS>,
}

impl<const CELLS: usize, const THERMISTORS: usize> Channel<CELLS, THERMISTORS> {
    /// Its value at a moment.
    pub(super) fn value(&self, seen: &Seen<'_, CELLS, THERMISTORS>) -> Value {
        (self.read)(seen, self.place)
    }
}

/// All of them, in the order of the columns.
pub(super) fn all<const CELLS: usize, const THERMISTORS: usize>() -> Vec<Channel<CELLS, THERMISTORS>> {
    let mut list = List(Vec::new());
    for (place, signal) in signals::LIST.iter().enumerate() {
        let read: Read<CELLS, THERMISTORS> = |seen, place| {
            signals::LIST.get(place).map_or(Value::Missing, |signal| (signal.of)(&seen.signals))
        };
        list.0.push(Channel { column: signal.column(), place, read });
    }
    list.measured();
    list.answered();
    list.charge();
    list.contactors();
    list.cells();
    list.thermistors();
    list.faults();
    list.0
}

struct List<const CELLS: usize, const THERMISTORS: usize>(Vec<Channel<CELLS, THERMISTORS>>);

impl<const CELLS: usize, const THERMISTORS: usize> List<CELLS, THERMISTORS> {
    fn number(&mut self, name: &str, unit: Unit, says: &str, read: Read<CELLS, THERMISTORS>) {
        self.add(0, Column::new(name, Kind::Number, Some(unit), says), read);
    }

    fn plain(&mut self, name: &str, kind: Kind, says: &str, read: Read<CELLS, THERMISTORS>) {
        self.add(0, Column::new(name, kind, None, says), read);
    }

    fn add(&mut self, place: usize, column: Column, read: Read<CELLS, THERMISTORS>) {
        self.0.push(Channel { column, place, read });
    }

    /// What is measured once in a pack, and what is true of it.
    fn measured(&mut self) {
        self.number(
            "true_current",
            Unit::Amps,
            "Current of the string, in truth; positive into the pack.",
            |seen, _| truth(seen.moment.truth.string_amps),
        );
        self.number(
            "current_check",
            Unit::Amps,
            "Current as the second sensor measured it, positive into the pack.",
            |seen, _| measured(&seen.moment.frame.current_check, |amps| decimal(amps.bits())),
        );
        self.number("true_pack", Unit::Volts, "Pack voltage, in truth.", |seen, _| {
            truth(seen.moment.truth.pack_volts)
        });
        self.number("true_link", Unit::Volts, "Link voltage, in truth.", |seen, _| {
            truth(seen.moment.truth.link_volts)
        });
        self.number(
            "behind_negative",
            Unit::Volts,
            "B+ to L−, behind the negative contactor, as measured.",
            |seen, _| measured(&seen.moment.frame.voltages, |volts| decimal(volts.behind_negative.bits())),
        );
        self.number(
            "behind_positive",
            Unit::Volts,
            "L+ to B−, behind the positive contactor, as measured.",
            |seen, _| measured(&seen.moment.frame.voltages, |volts| decimal(volts.behind_positive.bits())),
        );
        self.number("pole_negative", Unit::Volts, "Chassis above B−, as measured.", |seen, _| {
            measured(&seen.moment.frame.poles, |poles| decimal(poles.negative.bits()))
        });
        self.number("pole_positive", Unit::Volts, "B+ above the chassis, as measured.", |seen, _| {
            measured(&seen.moment.frame.poles, |poles| decimal(poles.positive.bits()))
        });
        self.number(
            "true_insulation",
            Unit::OhmsPerVolt,
            "Insulation of the weaker pole for each volt of the string, in truth; the controller's own meter is not counted.",
            |seen, _| truth(seen.moment.truth.insulation_ohms_a_volt),
        );
    }

    /// What was asked, and what is answered beside current limits and step.
    fn answered(&mut self) {
        self.plain("duty", Kind::Text, "The work of the pack.", |seen, _| {
            let before = seen.moment.before;
            before.case().demand_at(before.seconds()).work.name().shown()
        });
        self.plain(
            "close_asked",
            Kind::Flag,
            "Whether the operator wants the contactors closed.",
            |seen, _| (seen.moment.frame.asked.contactors == Wanted::Closed).shown(),
        );
        self.plain("cooling_on", Kind::Flag, "Whether the firmware lets the cooling run.", |seen, _| {
            (seen.moment.decision.cooling == Cooling::On).shown()
        });
        self.plain(
            "bleeding_cells",
            Kind::Wholes,
            "The cells that the firmware bleeds, from 1, a space between two.",
            |seen, _| {
                let cells = seen.moment.decision.bleed.iter().map(|cell| (u16::from(cell) + 1).to_string());
                word(cells.collect::<Vec<_>>().join(" "))
            },
        );
        self.plain("warning", Kind::Text, "What people near the pack are warned of.", |seen, _| {
            seen.moment.decision.warning.map_or(Value::Missing, |warning| word(format!("{warning:?}")))
        });
        self.plain("reaction", Kind::Text, "The strongest reaction that holds.", |seen, _| {
            let held = seen.moment.decision.faults.reaction;
            held.map_or(Value::Missing, |(reaction, _)| word(format!("{reaction:?}")))
        });
        self.plain("reaction_fault", Kind::Text, "The fault that demands it.", |seen, _| {
            seen.moment.decision.faults.reaction.map_or(Value::Missing, |(_, fault)| fault.key().shown())
        });
    }

    /// Ends of the charge, as believed and in truth.
    fn charge(&mut self) {
        self.number(
            "charge_least",
            Unit::Percent,
            "Lowest charge of a cell that the firmware holds possible.",
            |seen, _| percent(seen.moment.after.core.estimated().state_of_charge().0),
        );
        self.number(
            "charge_most",
            Unit::Percent,
            "Highest charge of a cell that the firmware holds possible.",
            |seen, _| percent(seen.moment.after.core.estimated().state_of_charge().1),
        );
        self.number(
            "true_charge_least",
            Unit::Percent,
            "Charge of the emptiest cell, in truth.",
            |seen, _| truth(seen.moment.truth.charge_low.value * 100.0),
        );
        self.number("true_charge_most", Unit::Percent, "Charge of the fullest cell, in truth.", |seen, _| {
            truth(seen.moment.truth.charge_high.value * 100.0)
        });
    }

    /// Command, feedback and truth of each contactor.
    fn contactors(&mut self) {
        for (place, name) in CONTACTOR_NAMES.into_iter().enumerate() {
            let mut flag = |key: &str, says: String, read: Read<CELLS, THERMISTORS>| {
                self.add(place, Column::new(key, Kind::Flag, None, &says), read);
            };
            flag(
                &format!("{name}_coil_on"),
                format!("Whether the firmware drives the coil of the {name} contactor."),
                |seen, place| {
                    let coils = seen.moment.decision.coils;
                    CONTACTORS_IN_ORDER.get(place).map_or(Value::Missing, |which| {
                        (coils.of(*which) == bms_core::decision::Coil::On).shown()
                    })
                },
            );
            flag(
                &format!("{name}_feedback_made"),
                format!("Whether the feedback contact says that the {name} contactor is closed."),
                |seen, place| {
                    let says = |feedback: &bms_core::frame::Feedback| match place {
                        0 => feedback.negative,
                        1 => feedback.precharge,
                        _ => feedback.positive,
                    };
                    let part = &seen.moment.frame.feedback;
                    part.within(KNOWN).map_or(Value::Missing, |part| (says(part) == Contact::Made).shown())
                },
            );
            flag(
                &format!("true_{name}_made"),
                format!("Whether the {name} contactor passes current, in truth."),
                |seen, place| seen.moment.truth.made.get(place).map_or(Value::Missing, |made| made.shown()),
            );
            flag(
                &format!("true_{name}_welded"),
                format!("Whether the {name} contactor is welded, in truth."),
                |seen, place| {
                    seen.moment.truth.welded.get(place).map_or(Value::Missing, |welded| welded.shown())
                },
            );
        }
    }

    /// Reading and truth of each cell.
    fn cells(&mut self) {
        for cell in 0..CELLS {
            let name = numbered("cell", cell, CELLS);
            let mut one = |name: &str, unit: Unit, says: String, read: Read<CELLS, THERMISTORS>| {
                self.add(cell, Column::new(name, Kind::Number, Some(unit), &says), read);
            };
            let number = cell + 1;
            one(&name, Unit::Volts, format!("Voltage of cell {number} as measured."), |seen, cell| {
                let part = &seen.moment.frame.cells;
                measured(part, |cells| {
                    cells.0.get(cell).map_or(f64::NAN, |volts: &Volts| decimal(volts.bits()))
                })
            });
            one(
                &format!("true_{name}"),
                Unit::Volts,
                format!("Voltage of cell {number} between its own terminals, without any joint, in truth."),
                |seen, cell| {
                    let world = &seen.moment.before.world;
                    truth(world.cells.own_volts(cell, world.flow.end_amps))
                },
            );
            one(
                &format!("true_{name}"),
                Unit::Celsius,
                format!("Temperature inside cell {number}, in truth."),
                |seen, cell| given(seen.moment.before.world.cells.celsius.get(cell).copied()),
            );
            one(
                &format!("true_{name}_charge"),
                Unit::Percent,
                format!("Charge of cell {number}, in truth."),
                |seen, cell| {
                    given(seen.moment.before.world.cells.charge.get(cell).map(|charge| charge * 100.0))
                },
            );
        }
    }

    /// Reading and truth of each thermistor.
    fn thermistors(&mut self) {
        for thermistor in 0..THERMISTORS {
            let (name, number) = (numbered("thermistor", thermistor, THERMISTORS), thermistor + 1);
            self.add(
                thermistor,
                Column::new(
                    &name,
                    Kind::Number,
                    Some(Unit::Celsius),
                    &format!("What thermistor {number} reads; none where its divider stands at a rail."),
                ),
                |seen, thermistor| {
                    let (frame, sensing) = (seen.moment.frame, &seen.moment.after.core.config().sensing);
                    let ratio = frame.thermistors.within(KNOWN).and_then(|ratios| ratios.0.get(thermistor));
                    let celsius = ratio.and_then(|ratio| sensing.celsius(*ratio));
                    celsius.map_or(Value::Missing, |celsius| Value::Number(decimal(celsius.bits())))
                },
            );
            self.add(
                thermistor,
                Column::new(
                    &format!("true_{name}"),
                    Kind::Number,
                    Some(Unit::Celsius),
                    &format!("Temperature of thermistor {number}, in truth."),
                ),
                |seen, thermistor| {
                    given(seen.moment.before.world.heat.thermistor_celsius.get(thermistor).copied())
                },
            );
        }
    }

    /// The stage of each fault.
    fn faults(&mut self) {
        for (place, fault) in Fault::ALL.into_iter().enumerate() {
            let says = format!("How far \"{}\" has come: {STAGES}.", fault.words());
            self.add(
                place,
                Column::new(&format!("{}_stage", fault.key()), Kind::Whole, None, &says),
                |seen, place| {
                    let faults = &seen.moment.decision.faults;
                    let holds = |set: FaultSet| Fault::ALL.get(place).is_some_and(|fault| set.holds(*fault));
                    let stages = [(2, faults.confirmed), (1, faults.suspect), (3, faults.latched)];
                    let stage = stages.into_iter().find(|(_, set)| holds(*set));
                    Value::Whole(stage.map_or(0, |(stage, _)| stage))
                },
            );
        }
    }
}

/// What the numbers of the stages mean. One that is suspect again while its record stays counts as suspect.
pub(super) const STAGES: &str = "0 clear, 1 suspect, 2 confirmed, 3 latched";

const CONTACTOR_NAMES: [&str; CONTACTORS] = ["negative", "precharge", "positive"];

const CONTACTORS_IN_ORDER: [Contactor; CONTACTORS] =
    [Contactor::Negative, Contactor::Precharge, Contactor::Positive];

/// A part that was measured at all.
const KNOWN: bms_core::units::Millis = bms_core::units::Millis(u32::MAX - 1);

/// What a part of a frame holds, unless it was never measured.
fn measured<T>(part: &Part<T>, of: impl FnOnce(&T) -> f64) -> Value {
    part.within(KNOWN).map_or(Value::Missing, |value| Value::Number(of(value)))
}

fn truth(value: f64) -> Value {
    Value::Number(millionths(value))
}

fn given(value: Option<f64>) -> Value {
    value.map_or(Value::Missing, truth)
}

/// A share in percent, to a millionth of the whole.
fn percent(ratio: Ratio) -> Value {
    Value::Number(f64::from(ratio.parts_per_million()) / 1e4)
}

fn word(text: String) -> Value {
    Value::Text(Cow::Owned(text))
}

/// `cell_01`, with as many digits as the last one has, at least two.
fn numbered(what: &str, place: usize, count: usize) -> String {
    let digits = count.to_string().len().max(2);
    format!("{what}_{:0digits$}", place + 1)
}
