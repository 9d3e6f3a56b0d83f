//! What comes and goes: present for a share of each period, counted from the onset.
//!
//! ```text
//! present when  (t − onset) mod period < duty · period
//! ```
//! No draw of chance: a loose strand in a connector opens with the crane's own rhythm, and a story that is told twice must be the same.
//! Each spell begins and ends as the defect itself does, within the tick: a reading that freezes is caught anew at the start of every
//! spell. What grows, grows on while it is away.

use super::MOMENT;

/// The spells of a defect that comes and goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spells {
    /// From the start of a spell to the start of the next one, in seconds.
    pub period_seconds: f64,
    /// The share of each period in which it is present, 0 to 1.
    pub duty: f64,
}

impl Spells {
    /// Accepted periods in seconds: two of the longest ticks at least, 60 days at most.
    pub const PERIOD_SECONDS: (f64, f64) = (0.02, 5_184_000.0);
    /// Accepted shares.
    pub const DUTY: (f64, f64) = (0.01, 0.99);

    /// Whether both figures are accepted.
    pub(super) fn accepted(&self) -> bool {
        let within = |(low, high): (f64, f64), value: f64| (low..=high).contains(&value);
        within(Self::PERIOD_SECONDS, self.period_seconds) && within(Self::DUTY, self.duty)
    }

    /// Start of the spell or gap that runs at a time since the onset, in seconds since the onset.
    fn started(&self, since: f64) -> f64 {
        libm::floor((since + MOMENT) / self.period_seconds) * self.period_seconds
    }

    /// Whether it is present at a time since the onset.
    #[must_use]
    pub fn present(&self, since: f64) -> bool {
        since - self.started(since) < self.duty * self.period_seconds - MOMENT
    }

    /// When it next comes or goes after a time since the onset, in seconds since the onset.
    #[must_use]
    pub fn next_change(&self, since: f64) -> f64 {
        let started = self.started(since);
        let goes = started + self.duty * self.period_seconds;
        if since < goes - MOMENT { goes } else { started + self.period_seconds }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two of ten seconds: on at 0, off at 2, on at 10, off at 12 …, each exactly at its edge and over thousands of periods.
    #[test]
    fn it_is_present_for_its_share_of_each_period() {
        let spells = Spells { period_seconds: 10.0, duty: 0.2 };
        for period in [0.0, 1.0, 2.0, 5_000.0] {
            let start = 10.0 * period;
            for (since, present, next) in
                [(0.0, true, 2.0), (1.99, true, 2.0), (2.0, false, 10.0), (9.99, false, 10.0)]
            {
                assert_eq!(spells.present(start + since), present, "{since} of period {period}");
                assert!((spells.next_change(start + since) - start - next).abs() < 1e-6);
            }
        }
    }

    /// The share of ticks in which it is present is the share that was asked for, to one tick a period.
    #[test]
    fn ticks_see_it_for_its_share() {
        for (period_seconds, duty) in [(0.02, 0.5), (0.1, 0.3), (7.0, 0.01), (60.0, 0.99)] {
            let spells = Spells { period_seconds, duty };
            let ticks = 100_000_u32;
            let seen = (0..ticks).filter(|tick| spells.present(0.01 * f64::from(*tick))).count();
            let share = f64::from(u32::try_from(seen).unwrap()) / f64::from(ticks);
            assert!((share - duty).abs() <= 0.01 / period_seconds + 1e-3, "{share} for {duty}");
        }
    }
}
