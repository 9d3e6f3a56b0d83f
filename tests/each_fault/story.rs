//! How a story is told and judged.
//!
//! Each is played three times, all with one seed, so that they differ in nothing but what is said here:
//!
//! 1. with `raises` and `worn`: the fault becomes Confirmed at its place with its figures, and nothing else does that is not named beside it;
//! 2. with `near` and `near_worn`: the fault never does, however long the story is, and nothing does that is not named;
//! 3. as the first, but the workshop asks for a clear while the defect is there, the defect ends, what `mend` says is done, and the
//!    workshop clears again: the first clear changes nothing, the second leaves nothing behind.
//!
//! Without any defect nothing may become Confirmed at all; stories that differ in their defect only share that twin.

use crate::play::{self, Played, value};
use bms_core::Fault;
use bms_core::witness::{Assessment, Place, Quantity};
use bms_sim::explain::chain::LinkKind;

/// A defect that raises a fault, and what comes nearest to that and does not.
pub(crate) struct Story {
    pub(crate) fault: Fault,
    /// Why just these severities.
    pub(crate) why: &'static str,
    /// `crane` or `trainer`.
    pub(crate) pack: &'static str,
    /// How long it takes at most, in seconds.
    pub(crate) seconds: f64,
    /// Charge in per cent and temperature in °C at the start.
    pub(crate) start: (f64, f64),
    /// Acts and duty, as lists of tables of a case file.
    pub(crate) acts: &'static str,
    pub(crate) duty: &'static str,
    /// Further lines of the case file.
    pub(crate) more: &'static str,
    /// The defects that raise the fault and those that nearly do, as lists of tables; one that does not say when begins after 5 s.
    pub(crate) raises: &'static str,
    pub(crate) near: &'static str,
    /// The duty of the near miss, where that makes the difference.
    pub(crate) near_duty: Option<&'static str>,
    /// Contactors that are not new, as a list of tables, where these raise the fault or nearly do.
    pub(crate) worn: &'static str,
    pub(crate) near_worn: &'static str,
    /// What may rightly be found besides.
    pub(crate) beside: &'static [Fault],
    /// What the judgement holds when the fault becomes Confirmed.
    pub(crate) shows: Shows,
    /// Seconds from the confirmation to the first clear.
    pub(crate) asks: f64,
    /// Seconds from the mend to the second clear.
    pub(crate) heals: f64,
    /// What mends what physics or the store keeps: acts and defects; `@` stands for the second in which the defect ends.
    pub(crate) mend_acts: &'static str,
    pub(crate) mend_defects: &'static str,
    /// Whether no reading can be had between two events that show the fault, so that whoever may clear it vouches for the mend.
    pub(crate) vouched: bool,
}

/// Place and figures of a judgement, each figure with what it may be off.
#[derive(Clone, Copy)]
pub(crate) struct Shows {
    place: Place,
    observed: Option<(f64, f64)>,
    limit: Option<(f64, f64)>,
}

impl Shows {
    /// At this place, whatever the figures.
    pub(crate) const fn at(place: Place) -> Self {
        Self { place, observed: None, limit: None }
    }

    /// With this value, which may be off by so much.
    pub(crate) const fn observed(self, value: f64, off: f64) -> Self {
        Self { observed: Some((value, off)), ..self }
    }

    /// Held against this limit, which may be off by so much.
    pub(crate) const fn limit(self, value: f64, off: f64) -> Self {
        Self { limit: Some((value, off)), ..self }
    }

    fn agrees(&self, seen: &Assessment) -> bool {
        let near = |told: Option<(f64, f64)>, seen: Option<Quantity>| {
            told.is_none_or(|(told, off)| seen.is_some_and(|seen| (value(seen) - told).abs() <= off))
        };
        self.place == seen.place && near(self.observed, seen.observed) && near(self.limit, seen.limit)
    }
}

/// When the workshop first asks for a clear, in seconds after the fault became Confirmed: any condition that is gone has ended it by then.
const ASKS: f64 = 1.5;

/// The same for what passes by itself, or is ended by what is done about it: it then still counts as present, for its release dwell.
pub(crate) const ASKS_AT_ONCE: f64 = 0.3;

/// From then until the defect ends.
const STAYS: f64 = 1.5;

impl Story {
    /// On the training bench, half warm and 60 % charged, asked to close after a second and then parked for 30 s.
    pub(crate) const fn of(fault: Fault, why: &'static str) -> Self {
        Self {
            fault,
            why,
            pack: "trainer",
            seconds: 30.0,
            start: (60.0, 18.0),
            acts: "{ at_s = 1, ask = \"close\" }",
            duty: "",
            more: "",
            raises: "",
            near: "",
            near_duty: None,
            worn: "",
            near_worn: "",
            beside: &[],
            shows: Shows::at(Place::Pack),
            asks: ASKS,
            heals: 10.0,
            mend_acts: "",
            mend_defects: "",
            vouched: false,
        }
    }

    /// The text of the case.
    fn text(&self, seconds: f64, duty: &str, defects: &str, worn: &str, acts: &str) -> String {
        let Self { pack, start: (charge, celsius), more, .. } = self;
        format!(
            "schema = 1\ntitle = \"A story\"\nstory = \"Told by the test.\"\npack = \"{pack}\"\nseed = 11\nduration_s = {seconds}\n\
             start = {{ charge_percent = {charge}, celsius = {celsius}, contactor = [{worn}] }}\nact = [{}, {acts}]\nduty = [{duty}]\ndefect = [{defects}]\n{more}\n",
            self.acts,
        )
        .replace("[, ", "[")
    }

    /// The stories without anything wrong.
    pub(crate) fn twins(&self) -> Vec<String> {
        let duties = [Some(self.duty), self.near_duty].into_iter().flatten();
        duties.map(|duty| self.text(self.seconds, duty, "", "", "")).collect()
    }

    /// What is not as it should be, as sentences.
    pub(crate) fn wrong(&self) -> Vec<String> {
        let mut wrong = Vec::new();
        let mut say =
            |sentence: String| wrong.push(format!("{} ({}): {sentence}", self.fault.key(), self.why));
        let raised =
            play::text(&self.text(self.seconds, self.duty, &begun(self.raises, None), self.worn, ""));
        let near_duty = self.near_duty.unwrap_or(self.duty);
        let near =
            play::text(&self.text(self.seconds, near_duty, &begun(self.near, None), self.near_worn, ""));
        if near.first(self.fault).is_some() {
            say(format!("the near miss raises it too: {}", near.summary()));
        }
        let Some((at, assessment)) = raised.first(self.fault) else {
            say(format!("not raised, but {:?}", raised.summary()));
            return wrong;
        };
        if !self.shows.agrees(&assessment) {
            say(format!("other figures than told: {}", raised.summary()));
        }
        if !raised
            .records
            .iter()
            .any(|(fault, place, count)| *fault == self.fault && *place == self.shows.place && *count > 0)
        {
            say(format!("not in the memory, which holds {:?}", raised.records));
        }
        let unnamed = |played: &Played| {
            played
                .confirmed
                .iter()
                .any(|(_, seen)| seen.fault != self.fault && !self.beside.contains(&seen.fault))
        };
        for played in [&raised, &near] {
            if unnamed(played) {
                say(format!("found besides: {}", played.summary()));
            }
        }
        for beside in self.beside {
            if raised.first(*beside).is_none() && near.first(*beside).is_none() {
                say(format!("{} is named and not found", beside.key()));
            }
        }
        wrong.extend(self.wrong_in_mending(at));
        wrong
    }

    /// What is not as it should be in the chain that led to it.
    pub(crate) fn wrong_in_its_chain(&self) -> Vec<String> {
        let text = self.text(self.seconds, self.duty, &begun(self.raises, None), self.worn, "");
        let Some(chain) = play::chain(&text, self.fault) else {
            return vec![format!("{}: no chain leads to it", self.fault.key())];
        };
        let begins = matches!(chain.links[0].what, LinkKind::DefectBegins(_));
        let right = begins != self.raises.is_empty() && chain.links.is_sorted_by_key(|link| link.seconds);
        if right { Vec::new() } else { vec![format!("{}: {:?}", self.fault.key(), chain.links)] }
    }

    /// What is not as it should be when it is mended after it became Confirmed at this second.
    fn wrong_in_mending(&self, at: f64) -> Vec<String> {
        let (asks, ends) = (at + self.asks, at + self.asks + STAYS);
        let clears = ends + self.heals;
        let clear = |at: f64| format!("{{ at_s = {at}, ask = \"clear\", by = \"service\" }}, ");
        let mend = |text: &str| text.replace('@', &format!("{ends:.2}"));
        let acts = clear(asks) + &mend(self.mend_acts) + &clear(clears);
        let defects = begun(self.raises, Some(ends)) + &mend(self.mend_defects);
        let mended = play::text(&self.text(clears + 1.0, self.duty, &defects, self.worn, &acts));
        let mut wrong = Vec::new();
        let stood = |(since, faults): &(f64, Vec<Fault>)| {
            (asks + 0.05..ends).contains(since) && faults.contains(&self.fault)
        };
        if !self.vouched && !mended.stood.iter().any(stood) {
            wrong.push(format!(
                "{}: a clear at {asks} s ended it although its defect was there",
                self.fault.key()
            ));
        }
        if !mended.left.is_empty() {
            let left: Vec<_> = mended.left.iter().map(|fault| fault.key()).collect();
            let (key, heals, all) = (self.fault.key(), self.heals, mended.summary());
            wrong.push(format!("{key}: {heals} s after the mend at {ends} s {left:?} are left of {all}"));
        }
        wrong
    }
}

/// The tables of defects with an onset where they have none, and this end where they have none.
fn begun(defects: &str, ends: Option<f64>) -> String {
    let tables = defects.split_inclusive('}').filter_map(|table| table.strip_suffix('}'));
    tables.fold(String::new(), |mut all, table| {
        all += table;
        if !table.contains("at_s") {
            all += ", at_s = 5";
        }
        if let Some(ends) = ends.filter(|_| !table.contains("until_s")) {
            all += &format!(", until_s = {ends:.2}");
        }
        all + " }"
    })
}
