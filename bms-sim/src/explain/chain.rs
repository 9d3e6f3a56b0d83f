//! # The chain
//!
//! What led to what, each link with its time: a defect begins; truth departs from the twin; a measurement departs by more than its
//! step; the fault is Suspect; it is Confirmed; its reaction holds; the contactors are open; the link is below 60 V. Every time is read
//! from two runs in step: the case, and its *twin*, the same seed without the defect. They share all their noise, so
//! that every difference between them is caused by that defect.
//!
//! Which defect it is, is found the same way, not guessed: the defect without which the fault is not Confirmed by then is its
//! cause. Where the fault needs several of them, or would only come a little later without one, it is the defect without which it stays
//! away for longest. A fault that comes without any one of them as well has no single cause, and its chain begins with what the
//! firmware told.
//!
//! The two runs are compared up to the reaction: what the reaction changes is no longer the defect's doing. If truth is the twin's until
//! then, a reading lies, or comes late, or the controller itself is disturbed, and the chain says which. A fault that only reports opens
//! nothing, and where nothing was closed nothing is opened.

use super::channels::Channel;
use super::departs::{self, Departure, Fact};
use crate::case::{Ask, Case, StartError};
use crate::recording::{Event, Recording, What};
use crate::run::Loop;
use bms_core::Step;
use bms_core::fault::{Fault, Reaction, Stage};
use bms_core::sequence::Because;
use bms_core::witness::{Assessment, Evidence};
use std::sync::Arc;

/// The touch limit of a link, in volts (UN R100 and ISO 6469 set 60 V DC; class A voltage ends there).
const TOUCH_VOLTS: f64 = 60.0;

/// A link of the chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// What happened.
    pub what: LinkKind,
    /// In which tick, from 0.
    pub tick: u64,
    /// When, in seconds from the start.
    pub seconds: f64,
}

impl Link {
    /// At the moment of an event.
    pub(super) const fn of(event: &Event, what: LinkKind) -> Self {
        Self { what, tick: event.tick, seconds: event.seconds }
    }
}

/// What a link of the chain is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LinkKind {
    /// The defect that caused the fault begins; its place in the case's list.
    DefectBegins(usize),
    /// Contactors that stood open when the defect began begin to close.
    StartBegins,
    /// Something true differs from the twin's.
    TruthDeparts(Departure<Fact>),
    /// Up to the reaction truth is the twin's: something else is wrong.
    TruthUnharmed(Wrong),
    /// A measurement differs from the twin's by more than its step.
    FrameDeparts(Departure<Channel>),
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

/// What is wrong where truth is that of a sound pack.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Wrong {
    /// A reading lies.
    Reading,
    /// Readings come late or not at all.
    Way,
    /// The firmware gets what a sound pack would show: the wrong is in the controller itself.
    Controller,
}

impl Wrong {
    /// As one word for programs.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Reading => "reading",
            Self::Way => "way",
            Self::Controller => "controller",
        }
    }
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
            links.push(onset(recording, place));
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

    /// When the reaction to the fault began to hold, in seconds from the start.
    #[must_use]
    pub fn reacted(&self) -> Option<f64> {
        self.when(|what| matches!(what, LinkKind::Reacted(_)))
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

/// What comes so much later without a defect comes all the same, in seconds.
pub(super) const ALIKE_SECONDS: f64 = 1.0;

/// The defect without which the fault is not Confirmed by then (not suspected, if it never was more). Of several it is the one without
/// which the fault stays away for longest, of equals the first one in order of onset.
fn cause<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    fault: Fault,
    until: f64,
) -> Result<Option<usize>, StartError> {
    let confirmed = recording.confirmed().iter().any(|(_, seen)| seen.fault == fault);
    // When it comes in a twin, which goes on from where it stands.
    let comes = |twin: &mut Loop<CELLS, THERMISTORS>, until: f64| {
        while !twin.over() && twin.seconds() <= until {
            let seconds = twin.seconds();
            let faults = twin.advance(&mut ()).faults;
            if faults.confirmed.holds(fault) || !confirmed && faults.suspect.holds(fault) {
                return Some(seconds);
            }
        }
        None
    };
    let mut needed = Vec::new();
    for place in begun(&recording.case, until) {
        let mut twin = Loop::<CELLS, THERMISTORS>::new(&Arc::new(recording.case.without_defect(place)))?;
        if comes(&mut twin, until + ALIKE_SECONDS).is_none() {
            needed.push((place, twin));
        }
    }
    if needed.len() < 2 {
        return Ok(needed.first().map(|(place, _)| *place));
    }
    let end = recording.end.seconds();
    let mut longest: Option<(usize, f64)> = None;
    for (place, mut twin) in needed {
        let came = comes(&mut twin, end).unwrap_or(f64::INFINITY);
        if longest.is_none_or(|(_, longest)| came > longest) {
            longest = Some((place, came));
        }
    }
    Ok(longest.map(|(place, _)| place))
}

/// A defect begins.
pub(super) fn onset<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    place: usize,
) -> Link {
    let begins = |event: &&Event| matches!(event.what, What::DefectBegan(begun) if begun == place);
    let tick = recording.events.iter().find(begins).map_or(0, |event| event.tick);
    let seconds = recording.case.defects.get(place).map_or(0.0, |defect| defect.onset_seconds);
    Link { what: LinkKind::DefectBegins(place), tick, seconds }
}

/// The defects that have begun by then, in order of onset.
fn begun(case: &Case, until: f64) -> Vec<usize> {
    let onset = |place: &usize| case.defects[*place].onset_seconds;
    let mut begun: Vec<usize> = (0..case.defects.len()).filter(|place| onset(place) <= until).collect();
    begun.sort_by(|one, other| onset(one).total_cmp(&onset(other)));
    begun
}

/// The first defect in order of onset, of those begun by then, without which something does not come; `comes` plays the twin and looks.
pub(super) fn first_needed<const CELLS: usize, const THERMISTORS: usize>(
    recording: &Recording<CELLS, THERMISTORS>,
    until: f64,
    comes: impl Fn(Loop<CELLS, THERMISTORS>) -> bool,
) -> Result<Option<usize>, StartError> {
    for place in begun(&recording.case, until) {
        if !comes(Loop::new(&Arc::new(recording.case.without_defect(place)))?) {
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
                told.push(Link::of(event, LinkKind::Suspected(*assessment)));
            }
            Stage::Confirmed { .. } => {
                told.push(Link::of(event, LinkKind::Confirmed(*assessment)));
                let reaction = recording.case.config().faults.reaction(fault);
                told.push(Link::of(event, LinkKind::Reacted(reaction)));
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
    let mut compared = (0, 0.0);
    // While one of them rests in larger steps they are not in step, and nothing can be compared.
    while !(played.over() || truth.is_some() && frame.is_some()) && played.at_ms == twin.at_ms {
        let (tick, seconds) = (played.tick, played.seconds());
        if seconds > until {
            break;
        }
        compared = (tick, seconds);
        if truth.is_none() {
            truth = departs::truth(&played.world, &twin.world).map(|found| Link {
                what: LinkKind::TruthDeparts(found),
                tick,
                seconds,
            });
        }
        if frame.is_none() {
            frame = departs::reading(&played.frame(), &twin.frame(), &played.world.spec().sensors)
                .map(|found| Link { what: LinkKind::FrameDeparts(found), tick, seconds });
        }
        played.advance(&mut ());
        twin.advance(&mut ());
    }
    let out_of_step = played.at_ms != twin.at_ms && played.seconds() <= until;
    if frame.is_none() && out_of_step {
        let seconds = played.seconds();
        let [is, twin] = [seconds, twin.seconds()].map(|seconds| 1_000.0 * seconds);
        let what = LinkKind::FrameDeparts(Departure { what: Channel::Clock, is, twin });
        frame = Some(Link { what, tick: played.tick, seconds });
    }
    if truth.is_none() && (out_of_step || played.seconds() > until) {
        let wrong = match &frame {
            None => Wrong::Controller,
            Some(Link { what: LinkKind::FrameDeparts(found), .. }) if found.what.is_time() => Wrong::Way,
            Some(_) => Wrong::Reading,
        };
        let (tick, seconds) = compared;
        truth = Some(Link { what: LinkKind::TruthUnharmed(wrong), tick, seconds });
    }
    Ok([truth, frame].into_iter().flatten().collect())
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
    let mut between = starts.filter(|event| event.seconds > onset && event.seconds < opened);
    between.next_back().map(|event| Link::of(event, LinkKind::StartBegins))
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
        let (tick, seconds) = (visited.tick, visited.seconds());
        let truth = visited.world.truth();
        if open.is_none() && truth.made == [false; 3] {
            open = Some(Link { what: LinkKind::ContactorsOpen, tick, seconds });
        }
        if live && down.is_none() && truth.link_volts < TOUCH_VOLTS {
            down = Some(Link { what: LinkKind::LinkDown, tick, seconds });
        }
    }
    [open, down].into_iter().flatten().collect()
}
