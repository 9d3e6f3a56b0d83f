//! # The chain
//!
//! What led to what, each link with its time: a defect begins; truth departs from the twin; a measurement departs by more than its
//! step; the fault is Suspect; it is Confirmed; its reaction holds; the contactors are open; the link is below 60 V. Every time is read
//! from two runs in step: the case, and its *twin*, the same seed without the defect. They share all their noise, so
//! that every difference between them is caused by that defect.
//!
//! Which defect it is, is found the same way, not guessed: the defect without which the fault is not Confirmed by then is its
//! cause. A fault that comes without any one of them as well has no single cause, and its chain begins with what the firmware told.
//!
//! The two runs are compared up to the reaction: what the reaction changes is no longer the defect's doing. If truth is the twin's until
//! then, only a reading lies, and the chain says so. A fault that only reports opens nothing, and where nothing was closed
//! nothing is opened.

use super::channels;
use crate::case::{Ask, StartError};
use crate::recording::{Recording, What};
use crate::run::Loop;
use crate::world::World;
use crate::world::spec::SensorSpec;
use bms_core::fault::{Fault, Reaction, Stage};
use bms_core::sequence::Because;
use bms_core::witness::{Assessment, Evidence};
use bms_core::{Frame, Step};
use std::sync::Arc;

/// A true voltage that differs by more than this differs by more than rounding, in volts.
const TRUTH_VOLTS: f64 = 1e-6;
/// As a share of the other.
const TRUTH_INSULATION: f64 = 1e-9;

/// A true temperature that differs by more than this differs by more than rounding, in °C.
const TRUTH_CELSIUS: f64 = 1e-6;

/// A true state of charge that differs by more than this differs by more than rounding.
const TRUTH_CHARGE: f64 = 1e-9;

/// The touch limit of a link, in volts (UN R100 and ISO 6469 set 60 V DC; class A voltage ends there).
const TOUCH_VOLTS: f64 = 60.0;

/// A link of the chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// What happened.
    pub what: LinkKind,
    /// When, in seconds from the start.
    pub seconds: f64,
}

/// What a link of the chain is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LinkKind {
    /// The defect that caused the fault begins; its place in the case's list.
    DefectBegins(usize),
    /// Contactors that stood open when the defect began begin to close.
    StartBegins,
    /// A true voltage, charge or temperature, a true contact, or what befalls the loop and the impact sensor differs from the twin's.
    TruthDeparts,
    /// Up to the reaction truth is the twin's: only a reading lies.
    TruthUnharmed,
    /// A measurement differs from the twin's by more than its step.
    FrameDeparts,
    /// The fault is Suspect.
    Suspected(Assessment),
    /// The fault is Confirmed.
    Confirmed(Assessment),
    /// Its reaction holds.
    Reacted(Reaction),
    /// No contactor passes current any more.
    ContactorsOpen,
    /// The link is below the touch limit.
    LinkDown,
    /// Operator or workshop acted.
    Acted(Ask),
    /// A fault that is in the way came to the stage in which it is.
    Staged(Assessment),
    /// The firmware told this.
    Told(Evidence),
}

/// From when the time to open contactors counts.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Since {
    /// The defect began.
    Onset,
    /// The contactors began to close, after the defect had begun.
    Start,
}

/// The chain of one fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Chain {
    /// The fault.
    pub fault: Fault,
    /// Its links, in order of time.
    pub links: Vec<Link>,
}

impl Chain {
    /// The chain that led to a fault, or nothing if it was never suspected.
    ///
    /// # Errors
    /// When the type has other counts than the case's pack.
    pub fn of<const CELLS: usize, const THERMISTORS: usize>(
        recording: &Recording<CELLS, THERMISTORS>,
        fault: Fault,
    ) -> Result<Option<Self>, StartError> {
        let told = told(recording, fault);
        let Some(until) = told.last().map(|link| link.seconds) else { return Ok(None) };
        let mut links = Vec::new();
        if let Some(place) = cause(recording, fault, until)? {
            let seconds = recording.case.defects.get(place).map_or(0.0, |defect| defect.onset_seconds);
            links.push(Link { what: LinkKind::DefectBegins(place), seconds });
            links.extend(departures(recording, place, until)?);
        }
        links.extend(told);
        links.extend(opening(recording, fault));
        links.extend(start(recording, &links));
        links.sort_by(|one, other| one.seconds.total_cmp(&other.seconds));
        Ok(Some(Self { fault, links }))
    }

    /// When the defect began that caused the fault, in seconds from the start.
    #[must_use]
    pub fn onset(&self) -> Option<f64> {
        self.when(|what| matches!(what, LinkKind::DefectBegins(_)))
    }

    /// The defect that caused the fault, by its place in the case's list.
    #[must_use]
    pub fn cause(&self) -> Option<usize> {
        self.links.iter().find_map(|link| match link.what {
            LinkKind::DefectBegins(place) => Some(place),
            _ => None,
        })
    }

    /// How long it took to open the contactors: from the onset, or from the start that came after it, since what stands open harms
    /// nobody. Nothing if they were not opened.
    #[must_use]
    pub fn until_open(&self) -> Option<(Since, f64)> {
        let opened = self.when(|what| matches!(what, LinkKind::ContactorsOpen))?;
        match self.when(|what| matches!(what, LinkKind::StartBegins)) {
            Some(start) => Some((Since::Start, opened - start)),
            None => Some((Since::Onset, opened - self.onset()?)),
        }
    }

    fn when(&self, is: impl Fn(&LinkKind) -> bool) -> Option<f64> {
        self.links.iter().find(|link| is(&link.what)).map(|link| link.seconds)
    }
}

/// The defect without which the fault is not Confirmed by then (not suspected, if it never was more); the first one in order of onset.
fn cause<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    fault: Fault,
    until: f64,
) -> Result<Option<usize>, StartError> {
    let confirmed = recording.confirmed().iter().any(|(_, seen)| seen.fault == fault);
    first_needed(recording, until, |mut twin| {
        let mut comes = false;
        while !comes && !twin.over() && twin.seconds() <= until {
            let faults = twin.advance(&mut ()).faults;
            comes = faults.confirmed.holds(fault) || !confirmed && faults.suspect.holds(fault);
        }
        comes
    })
}

/// The first defect in order of onset, of those begun by then, without which something does not come; `comes` plays the twin and looks.
pub(super) fn first_needed<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    until: f64,
    comes: impl Fn(Loop<CELLS, THERMISTORS>) -> bool,
) -> Result<Option<usize>, StartError> {
    let case = &recording.case;
    let onset = |place: &usize| case.defects[*place].onset_seconds;
    let mut begun: Vec<usize> = (0..case.defects.len()).filter(|place| onset(place) <= until).collect();
    begun.sort_by(|one, other| onset(one).total_cmp(&onset(other)));
    for place in begun {
        if !comes(Loop::new(&Arc::new(case.without_defect(place)))?) {
            return Ok(Some(place));
        }
    }
    Ok(None)
}

/// What the firmware told of a fault: its first Suspect, Confirmed and reaction.
fn told<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    fault: Fault,
) -> Vec<Link> {
    let mut told: Vec<Link> = Vec::new();
    for event in &recording.events {
        let What::Told(Evidence::StageChanged { assessment, .. }) = &event.what else { continue };
        if assessment.fault != fault {
            continue;
        }
        match assessment.stage {
            // The suspicion that leads to the first Confirmed is the last one before it.
            Stage::Suspect { .. } => {
                told.clear();
                told.push(Link { what: LinkKind::Suspected(*assessment), seconds: event.seconds });
            }
            Stage::Confirmed { .. } => {
                told.push(Link { what: LinkKind::Confirmed(*assessment), seconds: event.seconds });
                let reaction = recording.case.config().faults.reaction(fault);
                told.push(Link { what: LinkKind::Reacted(reaction), seconds: event.seconds });
                return told;
            }
            Stage::Clear | Stage::Latched => {}
        }
    }
    told
}

/// When truth and frame first differ from the twin's without that defect, up to the reaction.
pub(super) fn departures<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    place: usize,
    until: f64,
) -> Result<Vec<Link>, StartError> {
    let case = &recording.case;
    let mut twin = Loop::<CELLS, THERMISTORS>::new(&Arc::new(case.without_defect(place)))?;
    let mut played = Loop::<CELLS, THERMISTORS>::new(case)?;
    let (mut truth, mut frame) = (None, None);
    // While one of them rests in larger steps they are not in step, and nothing can be compared.
    while !(played.over() || truth.is_some() && frame.is_some()) && played.at_ms == twin.at_ms {
        let seconds = played.seconds();
        if seconds > until {
            break;
        }
        if truth.is_none() && truth_differs(&played.world, &twin.world) {
            truth = Some(Link { what: LinkKind::TruthDeparts, seconds });
        }
        if frame.is_none() && frame_differs(&played.frame(), &twin.frame(), &played.world.spec().sensors) {
            frame = Some(Link { what: LinkKind::FrameDeparts, seconds });
        }
        played.advance(&mut ());
        twin.advance(&mut ());
    }
    if truth.is_none() && played.seconds() > until {
        truth = Some(Link { what: LinkKind::TruthUnharmed, seconds: until });
    }
    Ok([truth, frame].into_iter().flatten().collect())
}

/// Whether anything true differs by more than rounding.
pub(super) fn truth_differs<const CELLS: usize, const THERMISTORS: usize>(
    one: &World<CELLS, THERMISTORS>,
    other: &World<CELLS, THERMISTORS>,
) -> bool {
    let apart = |a: &[f64], b: &[f64], by: f64| a.iter().zip(b).any(|(a, b)| (a - b).abs() > by);
    apart(&one.cells.volts, &other.cells.volts, TRUTH_VOLTS)
        || apart(&one.cells.charge, &other.cells.charge, TRUTH_CHARGE)
        || apart(&one.cells.celsius, &other.cells.celsius, TRUTH_CELSIUS)
        || apart(&one.heat.joint_celsius, &other.heat.joint_celsius, TRUTH_CELSIUS)
        || (one.bus.link_volts - other.bus.link_volts).abs() > TRUTH_VOLTS
        || (one.bus.lifted_volts() - other.bus.lifted_volts()).abs() > TRUTH_VOLTS
        || (one.bus.pole_volts()[0] - other.bus.pole_volts()[0]).abs() > TRUTH_VOLTS
        || (one.insulation_ohms() / other.insulation_ohms() - 1.0).abs() > TRUTH_INSULATION
        || one.truth().made != other.truth().made
        || one.signals != other.signals
}

/// Whether any channel differs by more than rounding at a step's edge.
pub(super) fn frame_differs<const CELLS: usize, const THERMISTORS: usize>(
    one: &Frame<CELLS, THERMISTORS>,
    other: &Frame<CELLS, THERMISTORS>,
    sensors: &SensorSpec,
) -> bool {
    let mut differs = false;
    channels::each((one, other), sensors, |_, (one, other), grain| {
        differs |= (one - other).abs() > grain.rounding();
    });
    differs
}

/// The last start between onset and open contactors.
fn start<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    links: &[Link],
) -> Option<Link> {
    let when = |is: fn(&LinkKind) -> bool| links.iter().find(|link| is(&link.what)).map(|link| link.seconds);
    let onset = when(|what| matches!(what, LinkKind::DefectBegins(_)))?;
    let opened = when(|what| matches!(what, LinkKind::ContactorsOpen))?;
    let starts = recording.events.iter().filter(|event| {
        matches!(event.what, What::Told(Evidence::Moved { from: Step::Open, to: Step::ClosingNegative, .. }))
    });
    let seconds = starts.map(|event| event.seconds).rfind(|at| *at > onset && *at < opened)?;
    Some(Link { what: LinkKind::StartBegins, seconds })
}

/// When the contactors were open and the link was down, in truth, after this fault made them open.
fn opening<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    fault: Fault,
) -> Vec<Link> {
    let by_fault = |because: &Because| match because {
        Because::FaultDemands { fault: by, .. } | Because::PrechargeFailed { fault: by } => *by == fault,
        _ => false,
    };
    let moved = recording.events.iter().find(|event| match &event.what {
        // What stands open needs no opening.
        What::Told(Evidence::Moved { from, because, .. }) => {
            !matches!(from, Step::Open | Step::Barred) && by_fault(because)
        }
        _ => false,
    });
    let Some(moved) = moved else { return Vec::new() };
    let mut visited = recording.at(moved.tick);
    // A link that was never up cannot come down.
    let live = visited.world.truth().link_volts >= TOUCH_VOLTS;
    let (mut open, mut down) = (None, None);
    // Not beyond what was played: what did not happen yet is not told.
    while visited.tick < recording.ticks && !(open.is_some() && (down.is_some() || !live)) {
        visited.advance(&mut ());
        let seconds = visited.seconds();
        let truth = visited.world.truth();
        if open.is_none() && truth.made == [false; 3] {
            open = Some(Link { what: LinkKind::ContactorsOpen, seconds });
        }
        if live && down.is_none() && truth.link_volts < TOUCH_VOLTS {
            down = Some(Link { what: LinkKind::LinkDown, seconds });
        }
    }
    [open, down].into_iter().flatten().collect()
}
