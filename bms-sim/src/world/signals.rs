//! Contacts and counters around the pack: interlock loop, disconnects, impact sensor.
//!
//! What is shorter than a tick is counted by the input's hardware, so the world counts it too, whatever the step. A loop that breaks now
//! and then does so `n` times a minute on average, for 2 to 8 ms each: from one break to the next 0.5 to 1.5 of the mean time, drawn
//! from multiples of the golden section, which spread evenly and need no chance. An impact makes the sensor's line change 1 000 times a
//! second until all its edges are sent. Rates and lengths are common practice, no source.

use super::deviation::StringBreaks;
use bms_core::frame::{Contact, Contacts, Turning};

/// What is wrong around the pack.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SignalDeviation {
    /// Whether the interlock loop is open.
    pub interlock_open: bool,
    /// How often it breaks for some milliseconds, a minute.
    pub interlock_breaks_a_minute: f64,
    /// Whether the auxiliary supply's disconnect is out.
    pub auxiliary_out: bool,
    /// Edges that the impact sensor sends.
    pub impact_edges: f64,
}

/// The counters, and how far the present breaks and edges have come.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Signals {
    /// Breaks of the interlock loop since the start.
    pub interlock_breaks: u32,
    /// Edges of the impact sensor since the start.
    pub impact_edges: u32,
    /// Whether the interlock loop was open in the last step, and whether a short break was running at its end.
    open: bool,
    breaking: bool,
    /// Mean times between two breaks that have passed, and at how many the next one comes.
    passed: f64,
    next: f64,
    /// Edges that this impact has sent, with the part of the next one.
    sent: f64,
}

/// Edges a second of an impact.
const EDGES_A_SECOND: f64 = 1_000.0;

impl Signals {
    /// One step of `dt` seconds.
    pub fn step(&mut self, dt: f64, deviation: &SignalDeviation) {
        let broken = self.open || self.breaking;
        self.breaking = self.let_interlock_break(dt, deviation);
        if deviation.interlock_open && !broken && !self.breaking {
            self.interlock_breaks = self.interlock_breaks.wrapping_add(1);
        }
        self.open = deviation.interlock_open;

        let sent = (self.sent + dt * EDGES_A_SECOND).min(deviation.impact_edges);
        self.impact_edges = self.impact_edges.wrapping_add(whole(sent).saturating_sub(whole(self.sent)));
        self.sent = sent;
    }

    /// Counts the short breaks of a step; true when the loop is in one at its end.
    fn let_interlock_break(&mut self, dt: f64, deviation: &SignalDeviation) -> bool {
        /// Shortest break, and what the longest has more, in seconds.
        const BREAK_SECONDS: (f64, f64) = (0.002, 0.006);
        /// The golden section.
        const GOLDEN: f64 = 0.618_033_988_749_895;
        let a_second = deviation.interlock_breaks_a_minute / 60.0;
        if a_second <= 0.0 {
            (self.passed, self.next) = (0.0, 0.0);
            return false;
        }
        let mut broken = false;
        self.passed += dt * a_second;
        if self.next <= 0.0 {
            self.next = 0.5;
        }
        while self.passed >= self.next {
            self.interlock_breaks = self.interlock_breaks.wrapping_add(1);
            let draw = libm::modf(f64::from(self.interlock_breaks) * GOLDEN).0;
            let since = (self.passed - self.next) / a_second;
            broken = since < BREAK_SECONDS.0 + BREAK_SECONDS.1 * draw;
            self.passed -= self.next;
            self.next = 0.5 + draw;
        }
        broken
    }

    /// What the inputs see at this instant.
    #[must_use]
    pub fn seen(&self, deviation: &SignalDeviation, breaks: StringBreaks, cooling: Turning) -> Contacts {
        let made = |broken: bool| if broken { Contact::Broken } else { Contact::Made };
        Contacts {
            interlock: made(deviation.interlock_open || self.breaking),
            interlock_breaks: counted(self.interlock_breaks),
            service_disconnect: made(breaks.disconnect_out),
            auxiliary_disconnect: made(deviation.auxiliary_out),
            impact_edges: counted(self.impact_edges),
            cooling,
        }
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some hundred edges at most")]
fn whole(edges: f64) -> u32 {
    edges as u32
}

/// The hardware's counter has eight bits and wraps.
const fn counted(since_start: u32) -> u8 {
    since_start.to_le_bytes()[0]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(signals: &mut Signals, steps: u32, dt: f64, deviation: &SignalDeviation) -> u32 {
        let mut seen = 0;
        for _ in 0..steps {
            signals.step(dt, deviation);
            seen += u32::from(
                signals.seen(deviation, StringBreaks::default(), Turning::Standing).interlock
                    == Contact::Broken,
            );
        }
        seen
    }

    /// 12 a minute over ten minutes are 120 within one; each lasts 5 ms on average, so one sample of 10 ms in two sees it.
    #[test]
    fn a_loose_interlock_breaks_as_often_as_said_and_is_mostly_closed() {
        let deviation = SignalDeviation { interlock_breaks_a_minute: 12.0, ..SignalDeviation::default() };
        let mut signals = Signals::default();
        let seen = run(&mut signals, 60_000, 0.01, &deviation);
        assert!((119..=121).contains(&signals.interlock_breaks), "{}", signals.interlock_breaks);
        assert!((30..=90).contains(&seen), "{seen}");
        // However the time is cut, as many.
        let mut long = Signals::default();
        run(&mut long, 10, 60.0, &deviation);
        assert!(long.interlock_breaks.abs_diff(signals.interlock_breaks) <= 1);
    }

    #[test]
    fn an_open_interlock_breaks_once_and_stays_broken() {
        let open = SignalDeviation { interlock_open: true, ..SignalDeviation::default() };
        let mut signals = Signals::default();
        assert_eq!(run(&mut signals, 10, 0.01, &open), 10);
        assert_eq!(signals.interlock_breaks, 1);
        assert_eq!(run(&mut signals, 10, 0.01, &SignalDeviation::default()), 0);
        assert_eq!(signals.interlock_breaks, 1);
    }

    /// 20 edges at 1 000 a second take two ticks; the next impact sends its own.
    #[test]
    fn an_impact_sends_all_its_edges_and_no_more() {
        let impact = SignalDeviation { impact_edges: 20.0, ..SignalDeviation::default() };
        let mut signals = Signals::default();
        let counts: Vec<u32> = (0..4)
            .map(|_| {
                signals.step(0.01, &impact);
                signals.impact_edges
            })
            .collect();
        assert_eq!(counts, [10, 20, 20, 20]);
        signals.step(0.01, &SignalDeviation::default());
        run(&mut signals, 5, 0.01, &impact);
        assert_eq!(signals.impact_edges, 40);
    }
}
