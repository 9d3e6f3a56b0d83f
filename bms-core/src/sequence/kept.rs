//! The contactor sequence over a loss of power: all coils are off, and what must not be forgiven is kept.

use super::Step;
use super::state::Sequence;
use crate::config::Checked;
use crate::kept::{Laid, Reader, Writer};
use crate::units::Millis;

impl Sequence {
    pub(crate) fn keep(&self, to: &mut Writer<'_>, config: &Checked) {
        self.step.write(to);
        to.put([u8::from(self.barring), self.failures]);
        self.wear.write(to);
        self.resistor.keep(to, config);
    }

    /// Goes on from a record that holds for so long, and says where it stood when that was written.
    pub(crate) fn restore(&mut self, from: &mut Reader<'_>, holds: Millis, config: &Checked) -> Step {
        let stood: Step = from.next();
        let [barring, failures] = from.take();
        self.wear = from.next();
        let heats = matches!(stood, Step::Precharging | Step::ClosingPositive);
        self.resistor.restore(from, if heats { holds } else { Millis::ZERO }, config);
        if stood == Step::Barred || barring != 0 {
            self.step = Step::Barred;
        }
        self.failures = failures;
        // How much of the pause is over nobody knows.
        self.pause = if failures > 0 { config.sequence.retry_pause } else { Millis::ZERO };
        stood
    }

    /// Nothing is known: what may have been latched bars, and the resistor may be hot.
    pub(crate) fn bar(&mut self, config: &Checked) {
        self.step = Step::Barred;
        self.resistor.heat_up(config);
    }
}
