//! Every fault of the list, through the whole loop: a defect raises it, the nearest smaller one does not, a clear is refused while it is
//! there, and once it is mended the fault ends and can be cleared. A fault without its story fails this test.
//!
//! Each story is played four times, all with one seed, so that they differ in nothing but what is said here:
//!
//! 1. with the defect as strong as `raises`: the fault becomes Confirmed, after `t`;
//! 2. as strong as `near`: it never does, however long the story is;
//! 3. without the defect: nothing becomes Confirmed at all;
//! 4. as the first, but the workshop asks for a clear while the defect is there, the defect ends, what `mend` says is done, and the
//!    workshop clears again: the first clear changes nothing, the second leaves nothing behind.

mod cells;

use bms_core::{Evidence, Fault, Witness};
use bms_sim::case::{Case, Pack};
use bms_sim::run::Loop;
use std::sync::Arc;

/// A defect that raises a fault, and one that just does not.
struct Story {
    fault: Fault,
    /// `crane` or `trainer`.
    pack: &'static str,
    /// How long it takes at most, in seconds.
    seconds: u32,
    /// Charge in per cent and temperature in °C at the start.
    start: (f64, f64),
    /// Duty and acts, as a case file has them. The contactors are asked to close after a second in any case.
    duty: &'static str,
    /// The defect, as an inline table of a case file holds it; `#` stands for the severity.
    defect: &'static str,
    /// When it begins, in seconds.
    onset: f64,
    raises: f64,
    near: f64,
    /// Seconds from the mend to the second clear.
    heals: f64,
    /// Acts that mend what physics keeps; `@` stands for the second in which the defect ends.
    mend: &'static str,
    /// Whether no reading can be had between two events that show the fault, so that whoever may clear it vouches for the mend.
    vouched: bool,
}

impl Story {
    /// On the training bench, half warm and 60 % charged, parked for 40 s.
    const fn of(fault: Fault, defect: &'static str, raises: f64, near: f64) -> Self {
        Self {
            fault,
            pack: "trainer",
            seconds: 40,
            start: (60.0, 18.0),
            duty: "",
            defect,
            onset: 5.0,
            raises,
            near,
            heals: 20.0,
            mend: "",
            vouched: false,
        }
    }

    /// The case with these further lines; the defect ends at `until`.
    fn case(&self, severity: Option<f64>, until: Option<f64>, seconds: f64, more: &str) -> Arc<Case> {
        let Self { pack, start: (charge, celsius), duty, onset, .. } = self;
        let until = until.map_or_else(String::new, |until| format!(", until_s = {until}"));
        let defect = severity.map_or_else(String::new, |severity| {
            format!(
                "defect = [{{ {}, at_s = {onset}{until} }}]",
                self.defect.replace('#', &severity.to_string())
            )
        });
        let text = format!(
            "schema = 1\ntitle = \"{}\"\nstory = \"Told by the test.\"\npack = \"{pack}\"\nseed = 11\nduration_s = {seconds}\n{defect}\n\
             [start]\ncharge_percent = {charge}\ncelsius = {celsius}\n[[act]]\nat_s = 1\nask = \"close\"\n{duty}\n{more}",
            self.fault.words(),
        );
        Arc::new(Case::parse(&text, "story.toml").unwrap_or_else(|error| panic!("{error}")))
    }

    /// What is not as it should be, as sentences.
    fn wrong(&self) -> Vec<String> {
        let seconds = f64::from(self.seconds);
        let mut wrong = Vec::new();
        let mut say = |sentence: String| wrong.push(format!("{}: {sentence}", self.fault.words()));
        let raised = self.play(&self.case(Some(self.raises), None, seconds, ""));
        let Some(at) = raised.first(self.fault) else {
            say(format!("{} does not raise it, but {:?}", self.raises, raised.confirmed));
            return wrong;
        };
        if let Some(at) = self.play(&self.case(Some(self.near), None, seconds, "")).first(self.fault) {
            say(format!("{} raises it too, at {at} s", self.near));
        }
        let twin = self.play(&self.case(None, None, seconds, ""));
        if !twin.confirmed.is_empty() {
            say(format!("without the defect {:?}", twin.confirmed));
        }
        let (asks, ends) = (at + 1.5, at + 3.0);
        let clears = ends + self.heals;
        let clear = |at: f64| format!("[[act]]\nat_s = {at}\nask = \"clear\"\nby = \"service\"\n");
        let more = clear(asks) + &self.mend.replace('@', &ends.to_string()) + &clear(clears);
        let mended = self.play(&self.case(Some(self.raises), Some(ends), clears + 1.0, &more));
        if !self.vouched
            && !mended.stood.iter().any(|(since, faults)| *since > asks + 0.1 && faults.contains(&self.fault))
        {
            say(format!("a clear at {asks} s ended it although its defect was there"));
        }
        if !mended.left.is_empty() {
            say(format!("{} s after the mend {:?} are left", self.heals, mended.left));
        }
        wrong
    }

    fn play(&self, case: &Arc<Case>) -> Played {
        match case.pack {
            Pack::Crane => play::<96, 16>(case),
            Pack::Trainer => play::<16, 8>(case),
        }
    }
}

/// What a story showed.
#[derive(Default)]
struct Played {
    /// What became Confirmed and when, in seconds.
    confirmed: Vec<(f64, Fault)>,
    /// What stood confirmed, in every half second.
    stood: Vec<(f64, Vec<Fault>)>,
    /// What is confirmed or latched at the end.
    left: Vec<Fault>,
}

impl Played {
    fn first(&self, fault: Fault) -> Option<f64> {
        self.confirmed.iter().find(|(_, confirmed)| *confirmed == fault).map(|(at, _)| *at)
    }
}

/// Hears what becomes Confirmed.
#[derive(Default)]
struct Ear(Vec<Fault>);

impl Witness for Ear {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::StageChanged { assessment, .. } = evidence
            && matches!(assessment.stage, bms_core::fault::Stage::Confirmed { .. })
        {
            self.0.push(assessment.fault);
        }
    }
}

fn play<const CELLS: usize, const THERMISTORS: usize>(case: &Arc<Case>) -> Played {
    let mut played = Loop::<CELLS, THERMISTORS>::new(case).expect("the pack is the one of the case");
    let (mut seen, mut ear) = (Played::default(), Ear::default());
    while !played.over() {
        let at = played.seconds();
        let decision = played.advance(&mut ear);
        seen.confirmed.extend(ear.0.drain(..).map(|fault| (at, fault)));
        if played.tick.is_multiple_of(50) {
            seen.stood.push((at, decision.faults.confirmed.iter().collect()));
        }
        seen.left = decision.faults.confirmed.iter().chain(decision.faults.latched.iter()).collect();
    }
    seen
}

/// All stories.
fn stories() -> Vec<Story> {
    [cells::stories()].into_iter().flatten().collect()
}

#[test]
fn every_fault_has_its_story() {
    let told: Vec<Fault> = stories().iter().map(|story| story.fault).collect();
    let untold: Vec<_> =
        Fault::ALL.into_iter().filter(|fault| !told.contains(fault)).map(Fault::key).collect();
    assert!(untold.is_empty(), "no story raises {untold:#?}");
}

#[test]
fn every_story_goes_as_it_is_told() {
    let (stories, next) = (stories(), std::sync::atomic::AtomicUsize::new(0));
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let only = std::env::var("STORY").unwrap_or_default();
    let wrong: Vec<String> = std::thread::scope(|scope| {
        let tellers: Vec<_> = (0..threads)
            .map(|_| {
                scope.spawn(|| {
                    let mut wrong = Vec::new();
                    while let Some(story) =
                        stories.get(next.fetch_add(1, std::sync::atomic::Ordering::Relaxed))
                    {
                        if story.fault.key().contains(&only) {
                            wrong.extend(story.wrong());
                        }
                    }
                    wrong
                })
            })
            .collect();
        tellers.into_iter().flat_map(|teller| teller.join().expect("a story is played")).collect()
    });
    assert!(wrong.is_empty(), "{wrong:#?}");
}
