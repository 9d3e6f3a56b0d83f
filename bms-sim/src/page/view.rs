//! What the page shows of where it stands, as JSON. The page's head describes each key.

use super::command::Later;
use super::hidden;
use crate::case::Case;
use crate::explain::picture::{self, Line};
use crate::explain::stop::StopShown;
use crate::explain::story::{happened, relative};
use crate::explain::words;
use crate::recording::stepper::{Branch, Stepper, Stop};
use crate::recording::values::EventShown;
use crate::recording::{Event, number};
use bms_core::decision::Coil;
use bms_core::fault::{Reading, Stage};
use bms_core::frame::{Contact, Contactor, Turning};
use bms_core::units::{Ratio, Volts};
use bms_core::witness::{Assessment, Evidence};
use serde::Serialize;
use serde_json::Value;

/// Events that are shown before where it stands.
const RECENT: usize = 12;

/// Faults that are shown by how near they are.
const NEAR: usize = 6;

/// Any of the answers as text.
pub(super) fn text(answer: &impl Serialize) -> String {
    serde_json::to_string(answer).unwrap_or_else(|error| {
        serde_json::json!({ "kind": "refused", "said": error.to_string() }).to_string()
    })
}

/// That something was not done.
#[derive(Debug, Serialize)]
pub(super) struct RefusedShown {
    kind: &'static str,
    said: String,
}

impl RefusedShown {
    pub(super) fn of(error: &impl ToString) -> Self {
        Self { kind: "refused", said: error.to_string() }
    }
}

/// What is said of why.
#[derive(Debug, Serialize)]
pub(super) struct Reasons {
    pub(super) kind: &'static str,
    /// The chain of each fault, line by line.
    pub(super) why: String,
    /// The faults that came near over the whole story.
    pub(super) near: String,
    /// Whether the pack is dangerous, and how the firmware did.
    pub(super) verdict: Vec<String>,
    /// Whether it is, or is watched by nothing any more.
    pub(super) dangerous: bool,
}

/// That a case is hidden.
#[derive(Debug, Serialize)]
pub(super) struct HiddenShown {
    kind: &'static str,
    /// By which it is found.
    word: String,
}

impl HiddenShown {
    pub(super) const fn of(word: String) -> Self {
        Self { kind: "hidden", word }
    }
}

/// What is said to somebody who has said what is wrong.
#[derive(Debug, Serialize)]
pub(super) struct Diagnosed {
    pub(super) kind: &'static str,
    pub(super) right: bool,
    pub(super) said: Vec<String>,
}

/// A list of lines.
#[derive(Debug, Serialize)]
pub(super) struct Lines {
    pub(super) kind: &'static str,
    pub(super) lines: Vec<String>,
}

/// The case that was loaded.
#[derive(Debug, Serialize)]
#[expect(clippy::struct_field_names, reason = "a case file calls it so")]
pub(super) struct Story {
    hidden: bool,
    kind: &'static str,
    name: String,
    title: String,
    story: String,
    pack: &'static str,
    cells: usize,
    cells_a_module: usize,
    cells_below_fuse: usize,
    thermistors_a_module: usize,
    /// The cell that carries each thermistor, from 1.
    thermistor_cells: Vec<usize>,
    ampere_hours: f64,
    precharge_ohms: f64,
    link_farads: f64,
    bleed_down_ohms: f64,
    seed: Option<u64>,
    duration_seconds: f64,
    tick_ms: u64,
    /// Limits of a cell's voltage that the picture draws.
    cell_low_volts: Option<f64>,
    cell_high_volts: Option<f64>,
}

impl Story {
    /// A case is told by its title and story, unless these would tell what is hidden.
    pub(super) fn of(case: &Case, hidden: bool) -> Self {
        let (name, title, story) = if hidden {
            (hidden::NAME, hidden::TITLE, hidden::STORY)
        } else {
            (case.name.as_str(), case.title.as_str(), case.story.as_str())
        };
        let spec = case.spec();
        let thermistors = spec.modules() * spec.thermistors_a_module;
        let trip = |fault| {
            let shown = case.config().faults.shown(fault);
            shown.trip.map(|trip| number(trip).0)
        };
        Self {
            kind: "story",
            hidden,
            name: name.to_owned(),
            title: title.to_owned(),
            story: story.to_owned(),
            pack: case.pack.name(),
            cells: spec.cells,
            cells_a_module: spec.cells_a_module,
            cells_below_fuse: spec.cells_below_fuse,
            thermistors_a_module: spec.thermistors_a_module,
            thermistor_cells: (0..thermistors).map(|place| spec.cell_of_thermistor(place) + 1).collect(),
            ampere_hours: case.pack.ampere_hours(),
            precharge_ohms: spec.bus.precharge_ohms,
            link_farads: spec.bus.link_farads,
            bleed_down_ohms: spec.bus.bleed_down_ohms,
            seed: (!hidden).then_some(case.seed),
            duration_seconds: case.duration_seconds,
            tick_ms: case.tick_ms,
            cell_low_volts: trip(bms_core::Fault::CellUnderVoltage),
            cell_high_volts: trip(bms_core::Fault::CellOverVoltage),
        }
    }
}

/// Where somebody stands.
#[derive(Debug, Serialize)]
pub(super) struct View {
    kind: &'static str,
    case: String,
    hidden: bool,
    digest: Option<String>,
    seed: Option<u64>,
    played: u64,
    ticks: u64,
    seconds: f64,
    end_seconds: f64,
    clock: String,
    speed: Option<f64>,
    over: bool,
    branch: String,
    branches: Vec<BranchShown>,
    /// The changes that lead here from the case, for an address.
    changes: Vec<Later>,
    defects: Vec<DefectShown>,
    recent: Vec<Happened>,
    #[serde(flatten)]
    tick: Option<Tick>,
}

#[derive(Debug, Serialize)]
struct BranchShown {
    name: String,
    said: String,
    from: Option<String>,
    at_played: u64,
}

#[derive(Debug, Serialize)]
struct DefectShown {
    number: usize,
    kind: &'static str,
    said: String,
    present: bool,
    over: bool,
}

#[derive(Debug, Serialize)]
struct Happened {
    played: u64,
    clock: String,
    #[serde(flatten)]
    event: EventShown,
}

/// What is only there once a tick was played.
#[derive(Debug, Serialize)]
struct Tick {
    stop: Value,
    lines: Vec<LineShown>,
    said: Vec<String>,
    near: Vec<NearShown>,
    contactors: Vec<ContactorShown>,
    around: Around,
    /// What the firmware believes of each cell's charge, of 1.
    cells_charge_of_1: Vec<(f64, f64)>,
    #[serde(skip_serializing_if = "Option::is_none")]
    truth: Option<TruthShown>,
}

#[derive(Debug, Serialize)]
struct LineShown {
    name: Option<&'static str>,
    text: String,
    alarming: bool,
}

/// How near a fault is to its limit in this tick.
#[derive(Debug, Serialize)]
struct NearShown {
    fault: &'static str,
    words: &'static str,
    said: String,
    stage: &'static str,
    /// The margin to the limit as a share of it; less than none beyond it.
    margin_of_limit: f64,
}

#[derive(Debug, Serialize)]
struct ContactorShown {
    which: &'static str,
    said: String,
    coil_on: bool,
    says_closed: bool,
}

/// What is measured around the contactors beside what a stop shows.
#[derive(Debug, Serialize)]
#[expect(clippy::struct_excessive_bools, reason = "contacts are open or closed")]
struct Around {
    behind_negative_volts: f64,
    behind_positive_volts: f64,
    chassis_to_negative_volts: f64,
    positive_to_chassis_volts: f64,
    interlock_made: bool,
    service_disconnect_made: bool,
    fan_turning: bool,
    cooling_asked: bool,
    closing_asked: bool,
}

/// What only the world knows.
#[derive(Debug, Serialize)]
struct TruthShown {
    cells_celsius: Vec<f64>,
    cells_charge_of_1: Vec<f64>,
    closed: [bool; 3],
    string_amps: f64,
    pack_volts: f64,
    link_volts: f64,
    resistor_celsius: f64,
    string_whole: bool,
}

impl View {
    pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
        stop: Option<Stop<CELLS, THERMISTORS>>,
        stepper: &Stepper<CELLS, THERMISTORS>,
        made_by: &[Option<Later>],
        (speed, hidden): (Option<f64>, bool),
    ) -> Self {
        let (here, played) = (stepper.here(), stepper.played());
        let recording = &here.recording;
        let case = &recording.case;
        let seconds = stop.as_ref().map_or(0.0, |stop| stop.seconds);
        Self {
            kind: "view",
            case: if hidden { hidden::NAME.to_owned() } else { case.name.clone() },
            hidden,
            digest: (!hidden).then(|| format!("{:08x}", case.digest)),
            seed: (!hidden).then_some(case.seed),
            played,
            ticks: recording.ticks,
            seconds,
            end_seconds: recording.end.seconds(),
            clock: words::clock(seconds),
            speed,
            over: played >= recording.ticks,
            branch: here.name.clone(),
            branches: stepper.branches().iter().map(|branch| of_branch(stepper, branch)).collect(),
            changes: changes_to(stepper, made_by),
            defects: stop.as_ref().filter(|_| !hidden).map_or_else(Vec::new, |stop| of_defects(case, stop)),
            recent: recent(here, played, hidden),
            tick: stop.map(|stop| Tick::of(&stop, case, &here.name, hidden)),
        }
    }
}

fn of_branch<const CELLS: usize, const THERMISTORS: usize>(
    stepper: &Stepper<CELLS, THERMISTORS>,
    branch: &Branch<CELLS, THERMISTORS>,
) -> BranchShown {
    let trunk =
        branch.from.and_then(|(trunk, tick)| Some((stepper.branches().get(trunk)?.name.as_str(), tick)));
    let here = branch.name == stepper.here().name;
    BranchShown {
        name: branch.name.clone(),
        said: words::stop::branch(&branch.name, trunk, branch.change.as_ref(), &branch.recording.case, here),
        from: trunk.map(|(name, _)| name.to_owned()),
        at_played: branch.from.map_or(0, |(_, tick)| tick),
    }
}

/// What leads from the case to this branch.
fn changes_to<const CELLS: usize, const THERMISTORS: usize>(
    stepper: &Stepper<CELLS, THERMISTORS>,
    made_by: &[Option<Later>],
) -> Vec<Later> {
    let mut changes = Vec::new();
    let mut at = stepper.place(&stepper.here().name);
    while let Some(place) = at {
        changes.extend(made_by.get(place).cloned().flatten());
        at = stepper.branches().get(place).and_then(|branch| branch.from).map(|(trunk, _)| trunk);
    }
    changes.reverse();
    changes
}

/// The defects of a case: still to come, there, or over; one that went with a part that was replaced is over, too.
fn of_defects<const CELLS: usize, const THERMISTORS: usize>(
    case: &Case,
    stop: &Stop<CELLS, THERMISTORS>,
) -> Vec<DefectShown> {
    let seconds = stop.after.seconds();
    let shown = (1..).zip(&case.defects).map(|(number, defect)| {
        let ended = defect.end_seconds.is_some_and(|end| end <= seconds);
        let begun = defect.onset_seconds <= seconds;
        let gone = begun && !stop.after.world.defects().iter().any(|(_, known)| known == defect);
        let over = ended || gone;
        DefectShown {
            number,
            kind: defect.kind.key(),
            said: words::stop::numbered_defect(number, defect),
            present: begun && !over,
            over,
        }
    });
    shown.collect()
}

fn recent<const CELLS: usize, const THERMISTORS: usize>(
    branch: &Branch<CELLS, THERMISTORS>,
    played: u64,
    hidden: bool,
) -> Vec<Happened> {
    let events = &branch.recording.events;
    let until = events.partition_point(|event| event.tick < played);
    let seen = events.iter().take(until).rev().filter(|event| !hidden || hidden::is_public(event));
    let mut shown: Vec<&Event> = seen.take(RECENT).collect();
    shown.reverse();
    let shown = shown.into_iter().map(|event| Happened {
        played: event.tick + 1,
        clock: words::clock(event.seconds),
        event: EventShown::of(event, happened(&branch.recording.case, event)),
    });
    shown.collect()
}

impl Tick {
    fn of<const CELLS: usize, const THERMISTORS: usize>(
        stop: &Stop<CELLS, THERMISTORS>,
        case: &Case,
        branch: &str,
        hidden: bool,
    ) -> Self {
        let world = &stop.after.world;
        let truth = world.truth();
        let estimated = stop.after.core.estimated();
        let intervals =
            (0..CELLS).filter_map(|cell| estimated.cell_state_of_charge(u8::try_from(cell).ok()?));
        Self {
            stop: shown(StopShown::of(stop, case, branch), hidden),
            lines: lines(picture::of(stop, case, branch), hidden),
            said: picture::sentences(stop, case),
            near: near(&stop.told),
            contactors: contactors(stop, (!hidden).then_some(truth.made)),
            around: Around::of(stop),
            cells_charge_of_1: intervals.map(|(low, high)| (share(low), share(high))).collect(),
            truth: (!hidden).then(|| TruthShown {
                cells_celsius: world.cells.celsius.iter().copied().map(tenth).collect(),
                cells_charge_of_1: world.cells.charge.iter().copied().map(thousandth).collect(),
                closed: truth.made,
                string_amps: thousandth(truth.string_amps),
                pack_volts: thousandth(truth.pack_volts),
                link_volts: thousandth(truth.link_volts),
                resistor_celsius: tenth(truth.resistor_celsius),
                string_whole: !world.bus.parted(world.deviations()),
            }),
        }
    }
}

fn share(ratio: Ratio) -> f64 {
    thousandth(f64::from(ratio.parts_per_million()) / 1e6)
}

fn tenth(value: f64) -> f64 {
    libm::rint(10.0 * value) / 10.0
}

fn thousandth(value: f64) -> f64 {
    libm::rint(1_000.0 * value) / 1_000.0
}

/// A stop as data, without what only the world knows if that is hidden.
fn shown(stop: StopShown, hidden: bool) -> Value {
    let mut shown = serde_json::to_value(stop).unwrap_or_default();
    if let Some(keys) = shown.as_object_mut().filter(|_| hidden) {
        keys.retain(|key, _| !key.contains("true_") && !key.contains("truth"));
    }
    shown
}

/// The lines of the picture; of a hidden case without those that say the truth beside what is measured.
fn lines(lines: Vec<Line>, hidden: bool) -> Vec<LineShown> {
    /// Lines that do, with those that go on from them.
    const TRUTHFUL: [&str; 2] = ["contactors", "charge"];
    let mut truthful = false;
    let mut shown = Vec::new();
    for Line { name, text, alarming } in lines {
        truthful = match name {
            Some("") => truthful,
            Some(name) => TRUTHFUL.contains(&name),
            None => false,
        };
        if !(hidden && truthful) {
            shown.push(LineShown { name, text, alarming });
        }
    }
    shown
}

/// The faults that have a limit, the nearest to it first.
fn near(told: &[Evidence]) -> Vec<NearShown> {
    let judged = told.iter().filter_map(|told| match told {
        Evidence::Assessed(seen) if seen.reading != Reading::Unknown => Some((relative(seen)?, seen)),
        _ => None,
    });
    let mut judged: Vec<(f64, &Assessment)> = judged.collect();
    judged.sort_by(|one, other| one.0.total_cmp(&other.0));
    let shown = judged.into_iter().take(NEAR).map(|(margin, seen)| NearShown {
        fault: seen.fault.key(),
        words: seen.fault.words(),
        said: words::assessment(seen),
        stage: match seen.stage {
            Stage::Clear => "Clear",
            Stage::Suspect { .. } => "Suspect",
            Stage::Confirmed { .. } => "Confirmed",
            Stage::Latched => "Latched",
        },
        margin_of_limit: thousandth(margin),
    });
    shown.collect()
}

fn contactors<const CELLS: usize, const THERMISTORS: usize>(
    stop: &Stop<CELLS, THERMISTORS>,
    made: Option<[bool; 3]>,
) -> Vec<ContactorShown> {
    let feedback = stop.frame.feedback.value;
    let each = [
        ("negative", Contactor::Negative, feedback.negative),
        ("precharge", Contactor::Precharge, feedback.precharge),
        ("positive", Contactor::Positive, feedback.positive),
    ];
    let shown = each.into_iter().enumerate().map(|(place, (name, which, says))| {
        let (coil, says_closed) = (stop.decision.coils.of(which), says == Contact::Made);
        let made = made.map_or(says_closed, |made| made[place]);
        ContactorShown {
            which: name,
            said: words::stop::contactor(which, coil, says_closed, made),
            coil_on: coil == Coil::On,
            says_closed,
        }
    });
    shown.collect()
}

impl Around {
    fn of<const CELLS: usize, const THERMISTORS: usize>(stop: &Stop<CELLS, THERMISTORS>) -> Self {
        let volts = |volts: Volts| f64::from(volts.milli()) / 1_000.0;
        let (voltages, poles) = (&stop.frame.voltages.value, &stop.frame.poles.value);
        let contacts = &stop.frame.contacts.value;
        Self {
            behind_negative_volts: volts(voltages.behind_negative),
            behind_positive_volts: volts(voltages.behind_positive),
            chassis_to_negative_volts: volts(poles.negative),
            positive_to_chassis_volts: volts(poles.positive),
            interlock_made: contacts.interlock == Contact::Made,
            service_disconnect_made: contacts.service_disconnect == Contact::Made,
            fan_turning: contacts.cooling == Turning::Turning,
            cooling_asked: stop.decision.cooling == bms_core::decision::Cooling::On,
            closing_asked: stop.frame.asked.contactors == bms_core::frame::Wanted::Closed,
        }
    }
}
