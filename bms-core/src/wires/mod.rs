//! # Sense wires
//!
//! Decides whether a wire between a cell's tap and the front end is open. Neighbours share a wire, so an open one shifts one cell up and the
//! other down as much: two voltages lie where one wire broke. Two independent tests:
//!
//! - **passive**, each tick: a pair lies apart, one above and one below the mean of all others by about as much; or one of them at the end of
//!   its channel. An outermost wire moves one cell only; there the pack voltage must allow that the cell is like the others.
//! - **active**, at the start, every minute, and at once when the passive one suspects: the front end pulls a small current on odd, then on even
//!   inputs. A sound wire carries it with no visible drop. Behind an open one the filter is emptied:
//!
//! ```text
//! moved = min(fall of the cell below, rise of the cell above)        open ⇔ moved ≥ limit        I·t/C: 500 µA · 2 ms / 2 µF = 0.5 V
//! ```
//!
//! A step of the load between the two readings moves both cells the same way, and so neither is open. An outermost wire has one cell only; the
//! mean move of all others is taken off.
//!
//! The passive test alone can stay blind: the filter of an open input holds the old reading for minutes. The active one alone would come up to a
//! minute late. Where the active one finds a suspected wire sound, its cells really differ, and the suspicion is dropped. It can
//! say nothing of a filter that is empty already: a reading at the rail stays suspect.
//!
//! **One answer proves nothing.** It is one frame, and no time that passes after it adds to it. So what the active test finds counts once a second
//! result bears it out: the readings show the wire too, as they do behind an open one, whose filter the pull has emptied; or further tests
//! find an open wire again, `wires.tests` in a row. Until then the wire is not trusted (nothing bleeds beside it), and nothing else follows.
//!
//! **Voltage faults wait for the wire.** One broken wire reads as an over- and an under-voltage, and both would open the contactors at once. While
//! a pair fits, its two cells are left out of those faults, until the wire's own dwell has ended and never longer, whatever the pattern
//! does meanwhile; then they speak.

mod layout;
mod pattern;

use crate::config::Checked;
use crate::frame::{Inputs, Pulled};
use crate::sense::{Believed, CellReadings};
use crate::units::{Millis, Volts};
use crate::witness::{Evidence, Witness};
use layout::Layout;
use pattern::Pattern;

/// A wire that is open, or suspected to be.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OpenWire {
    /// The wire, counted from 0 with the lowest.
    pub wire: u8,
    /// By how much it moves its cells apart, each of them.
    pub apart: Volts,
}

/// One step of the active test, for the witness.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum WireTest {
    /// It begins.
    Begun,
    /// The front end gave no reading under the test current for so long. Told once.
    Unanswered(Millis),
    /// A wire is open.
    Open(OpenWire),
    /// The readings made this wire suspect, and the test finds it sound: its cells really differ.
    Dismissed(u8),
    /// It has ended; no wire is open.
    Sound,
}

/// The test of the sense wires.
#[derive(Clone, Debug, Hash, PartialEq)]
pub(crate) struct Wires {
    /// What is pulled for the next frame.
    pull: Option<Inputs>,
    /// Time since the last test ended.
    since: Millis,
    /// Time for which an answer has been waited for.
    unanswered: Millis,
    /// Whether a whole test has ended since the start.
    tested: bool,
    /// Found by the active test.
    found: Option<OpenWire>,
    /// Tests in a row that ended with an open wire.
    found_in: u8,
    /// Suspected by the readings of this tick.
    pattern: Option<Pattern>,
    /// Suspected by the readings, and found sound.
    dismissed: Option<u8>,
    /// For how long voltage faults have waited.
    waited: Millis,
    /// Time without any suspicion.
    calm: Millis,
}

/// The cells beside a wire that is not trusted.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
pub(crate) struct Beside(pub(crate) [Option<u8>; 2]);

impl Beside {
    fn wire(open: OpenWire, config: &Checked) -> Self {
        Self(Layout::of(&config.pack).beside(open.wire))
    }

    /// Whether the cell is one of them.
    pub(crate) fn holds(self, cell: u8) -> bool {
        self.0.contains(&Some(cell))
    }
}

impl Wires {
    pub(crate) const fn new() -> Self {
        Self {
            pull: None,
            since: Millis::MAX,
            unanswered: Millis::ZERO,
            tested: false,
            found: None,
            found_in: 0,
            pattern: None,
            dismissed: None,
            waited: Millis::ZERO,
            calm: Millis::ZERO,
        }
    }

    /// Whether every wire was tested since the start.
    pub(crate) const fn tested(&self) -> bool {
        self.tested
    }

    /// The wire that the readings make suspect, and whether that stands whatever the amount: it explains a voltage limit.
    fn suspected(&self) -> Option<(OpenWire, bool)> {
        let pattern = self.pattern.filter(|pattern| self.dismissed != Some(pattern.open.wire))?;
        Some((pattern.open, pattern.explains))
    }

    /// The wire that the fault is about, and whether that stands whatever the amount: the test found it and is borne out, or it explains a
    /// voltage limit.
    pub(crate) fn suspect(&self, config: &Checked) -> Option<(OpenWire, bool)> {
        let shows = |found: &OpenWire| self.pattern.is_some_and(|pattern| pattern.open.wire == found.wire);
        let borne_out = |found: &OpenWire| self.found_in >= config.wires.tests || shows(found);
        let found = self.found.filter(borne_out).map(|open| (open, true));
        found.or_else(|| self.suspected())
    }

    /// Whether a wire was found that nothing bears out yet.
    pub(crate) fn awaits_another(&self, config: &Checked) -> bool {
        self.found.is_some() && self.suspect(config).is_none()
    }

    /// The cells beside the wire that is open or suspected, borne out or not: what is read of them need not be theirs.
    pub(crate) fn beside(&self, config: &Checked) -> Option<Beside> {
        let open = self.suspect(config).map(|(open, _)| open).or(self.found);
        open.map(|open| Beside::wire(open, config))
    }

    /// The cells that voltage faults leave out for now.
    pub(crate) fn waiting(&self, config: &Checked) -> Option<Beside> {
        let waits = self.waited < config.faults.sense_wire_open.dwell;
        self.suspect(config).filter(|_| waits).map(|(open, _)| Beside::wire(open, config))
    }

    /// Looks at a tick's readings and says what is to be pulled for the next frame.
    pub(crate) fn advance<const CELLS: usize, const THERMISTORS: usize, W: Witness>(
        &mut self,
        believed: &Believed<'_, CELLS, THERMISTORS>,
        config: &Checked,
        witness: &mut W,
    ) -> Option<Inputs> {
        self.since = self.since + believed.elapsed;
        let Some(cells) = &believed.cells else { return self.ask(config, witness) };
        let pack =
            believed.voltages.zip(believed.current).map(|(voltages, current)| (voltages.pack, current.amps));
        self.pattern = pattern::pattern(cells, &believed.temperatures, pack, config);
        match (self.pull, believed.pulled) {
            (Some(asked), Some(pulled)) if pulled.inputs == asked => {
                self.answer(cells, pulled, config, witness);
            }
            (Some(_), _) => self.miss(believed.elapsed, config, witness),
            (None, _) => {}
        }
        self.wait(believed.credit, config);
        self.ask(config, witness)
    }

    /// Counts how long voltage faults have waited. Only a time without suspicion gives them a new wait.
    fn wait(&mut self, credit: Millis, config: &Checked) {
        if self.suspect(config).is_some() {
            // From the tick on in which the suspicion came, as the wire's own dwell.
            let since = if self.calm == Millis::ZERO { credit } else { Millis::ZERO };
            (self.waited, self.calm) = (self.waited + since, Millis::ZERO);
        } else {
            self.calm = if self.pattern.is_some() { Millis::ZERO } else { self.calm + credit };
            if self.calm >= config.faults.sense_wire_open.release_dwell {
                (self.waited, self.dismissed) = (Millis::ZERO, None);
            }
        }
    }

    /// Goes on with a test, or begins one when it is time.
    fn ask<W: Witness>(&mut self, config: &Checked, witness: &mut W) -> Option<Inputs> {
        // While a wire that was found still shows, another pull would only empty its filter further.
        let open_for_certain = self.found.is_some() && self.pattern.is_some();
        let soon = (self.found.is_some() || self.suspected().is_some()) && !open_for_certain;
        let every = if soon { config.wires.again } else { config.wires.every };
        if self.pull.is_none() && self.since >= every {
            witness.tell(|| Evidence::Wires(WireTest::Begun));
            self.pull = Some(Inputs::Odd);
        }
        self.pull
    }

    /// No answer came to what was asked for: it is asked again.
    fn miss<W: Witness>(&mut self, elapsed: Millis, config: &Checked, witness: &mut W) {
        let before = self.unanswered;
        self.unanswered = before + elapsed;
        let after = config.wires.answer;
        if before < after && self.unanswered >= after {
            witness.tell(|| Evidence::Wires(WireTest::Unanswered(self.unanswered)));
        }
    }

    /// One half of the test has its answer.
    fn answer<const CELLS: usize, W: Witness>(
        &mut self,
        cells: &CellReadings<'_, CELLS>,
        pulled: &Pulled<CELLS>,
        config: &Checked,
        witness: &mut W,
    ) {
        self.unanswered = Millis::ZERO;
        let layout = Layout::of(&config.pack);
        let here = |wire: u8| layout.inputs(wire) == pulled.inputs;
        let most =
            most_moved(cells, pulled, layout).filter(|open| open.apart >= config.faults.sense_wire_open.trip);
        let empty = |wire: u8| {
            let [below, _] = layout.beside(wire);
            below.and_then(|below| pulled.cells.at(below)).is_some_and(|volts| *volts <= config.wires.rail)
        };
        if let Some(open) = most {
            if self.found.is_none_or(|found| found.wire != open.wire) {
                witness.tell(|| Evidence::Wires(WireTest::Open(open)));
            }
            (self.found, self.dismissed) = (Some(open), None);
        } else {
            let still = |found: &OpenWire| {
                let fits = self.pattern.is_some_and(|pattern| pattern.open.wire == found.wire);
                !here(found.wire) || fits || empty(found.wire)
            };
            self.found = self.found.filter(still);
            if let Some(Pattern { open: OpenWire { wire, .. }, .. }) = self.pattern
                && self.found.is_none()
                && here(wire)
                && !empty(wire)
                && self.dismissed != Some(wire)
            {
                self.dismissed = Some(wire);
                witness.tell(|| Evidence::Wires(WireTest::Dismissed(wire)));
            }
        }
        self.pull = match pulled.inputs {
            Inputs::Odd => Some(Inputs::Even),
            Inputs::Even => {
                (self.since, self.tested) = (Millis::ZERO, true);
                self.found_in = if self.found.is_some() { self.found_in.saturating_add(1) } else { 0 };
                if self.found.is_none() {
                    witness.tell(|| Evidence::Wires(WireTest::Sound));
                }
                None
            }
        };
    }
}

/// The pulled wire that moved its cells apart most.
fn most_moved<const CELLS: usize>(
    cells: &CellReadings<'_, CELLS>,
    pulled: &Pulled<CELLS>,
    layout: Layout,
) -> Option<OpenWire> {
    let rise = |cell: u8| Some(*pulled.cells.at(cell)? - *cells.volts.at(cell)?);
    let all: i64 = pulled.cells.iter().fold(0, |sum, volts| sum.saturating_add(volts.bits().into()));
    let all = all.saturating_sub(cells.sum.bits().into());
    // What all others moved on the average: the load's step between the two readings.
    let common = |own: Volts| {
        let others = all.saturating_sub(own.bits().into());
        let count = i64::try_from(CELLS).unwrap_or(i64::MAX).saturating_sub(1);
        others.checked_div(count).map_or(Volts::ZERO, Volts::from_wide)
    };
    let moved = |wire: u8| match layout.beside(wire) {
        [Some(below), Some(above)] => Some((-rise(below)?).min(rise(above)?)),
        [Some(below), None] => rise(below).map(|own| common(own) - own),
        [None, Some(above)] => rise(above).map(|own| own - common(own)),
        [None, None] => None,
    };
    (0..=u8::MAX)
        .take(layout.count().into())
        .filter(|wire| layout.inputs(*wire) == pulled.inputs)
        .filter_map(|wire| Some(OpenWire { wire, apart: moved(wire)? }))
        .max_by_key(|open| open.apart)
}
