//! What the sequence looks at in a tick, and what that says of the current: has it fallen, and may the contactors break it?
//!
//! The pack is measured twice: by a meter of its own and by its cells, which sum up to it. The meters around the contactors say nothing of each
//! other's scale, so that one that lies would accuse a contactor or let it close onto a difference. What has to hold of the pack
//! therefore has to hold of both measures; a contactor is accused only of what neither of them explains.
//!
//! The link is measured once, and by the two cross voltages once more. A reading of it that they contradict, or a load's current through
//! contactors that would have to be open by it, says that a reading lies: it accuses no contactor and no precharge either, and nothing closes by it.

use super::findings::Finding;
use super::precharge::{end_limit, significant};
use crate::config::Checked;
use crate::frame::{Feedback, PackVoltages, ToChassis};
use crate::sense::{Believed, CurrentReading, at_end};
use crate::units::{Amps, Millis, Volts};

/// The parts of a frame that the sequence looks at, whatever the size of the pack.
#[derive(Clone, Copy, Debug)]
pub(super) struct Measured {
    pub(super) elapsed: Millis,
    pub(super) credit: Millis,
    pub(super) voltages: Option<PackVoltages>,
    pub(super) current: Option<CurrentReading>,
    pub(super) current_check: Option<Amps>,
    pub(super) supply: Option<Volts>,
    pub(super) feedback: Option<Feedback>,
    /// The sum of the cells, where they are believed: a pack with a reversed cell must never get as far as precharge.
    pub(super) cells: Option<Volts>,
    /// Where the known resistor of the insulation measurement stands.
    pub(super) resistor: ToChassis,
    /// Whether insulation does not speak against closing.
    pub(super) insulated: bool,
    /// How long ago insulation was found so good that no leak draws a floating link to a pole; `None` where one may.
    pub(super) leaks_denied: Option<Millis>,
}

/// The voltages around the contactors by the lower and by the higher measure of the pack.
#[derive(Clone, Copy, Debug)]
pub(super) struct Both {
    pub(super) low: PackVoltages,
    pub(super) high: PackVoltages,
}

impl Both {
    /// How far the link is from the nearer measure of the pack: what is left for a contactor to explain.
    pub(super) fn apart(&self) -> Volts {
        (self.low.pack - self.low.link).abs().min((self.high.pack - self.high.link).abs())
    }
}

impl Measured {
    pub(super) fn of<const CELLS: usize, const THERMISTORS: usize>(
        believed: &Believed<'_, CELLS, THERMISTORS>,
    ) -> Self {
        Self {
            elapsed: believed.elapsed,
            credit: believed.credit,
            voltages: believed.voltages,
            current: believed.current,
            current_check: believed.current_check,
            supply: believed.supply,
            feedback: believed.feedback,
            cells: believed.cells.map(|cells| cells.sum),
            resistor: believed.poles.map_or(ToChassis::Open, |poles| poles.resistor),
            insulated: false,
            leaks_denied: None,
        }
    }

    /// The voltages by both measures of the pack.
    pub(super) fn both(&self) -> Option<Both> {
        let seen = self.voltages?;
        let sum = self.cells.unwrap_or(seen.pack);
        let of = |pack: Volts| PackVoltages { pack, ..seen };
        Some(Both { low: of(seen.pack.min(sum)), high: of(seen.pack.max(sum)) })
    }

    /// What the other three voltages leave for the link, by Kirchhoff's voltage law, wherever the contactors stand; `None` where a point is
    /// missing. Of the two measures of the pack the one counts that speaks for the link's own reading.
    ///
    /// ```text
    /// link = behind_negative + behind_positive − pack
    /// ```
    pub(super) fn link_by_others(&self, config: &Checked) -> Option<Volts> {
        let (points, Both { low, high }) = (&config.sensing.points, self.both()?);
        let left = |seen: &PackVoltages| seen.behind_negative + seen.behind_positive - seen.pack;
        let (of_high, of_low) = (left(&high), left(&low));
        let all = points.behind_negative && points.behind_positive;
        all.then(|| low.link.max(of_high).min(of_low))
    }

    /// Whether a current flows that only a made positive lets pass, by every channel that is believed: more than precharge does.
    fn passes_positive(&self, pack: Volts, config: &Checked) -> bool {
        let through = pack.abs().through_ohms(config.sequence.precharge_ohms).unwrap_or(Amps::MAX);
        let most = through.max(config.sequence.switching_limit);
        let channels = [self.amps(), self.current_check];
        channels.iter().flatten().all(|amps| amps.abs() > most) && channels.iter().any(Option::is_some)
    }

    /// By how much the link's reading is off what the others leave for it, or off the pack while a load draws its current through both
    /// contactors, against what errors explain; `None` where nothing tells.
    pub(super) fn link_reading(&self, closed: bool, config: &Checked) -> Option<Finding> {
        let both = self.both()?;
        let most = significant(config);
        if let Some(left) = self.link_by_others(config) {
            let off = (both.low.link - left).abs();
            return Some(Finding { broken: off > most, ..Finding::kept(off, most) });
        }
        let (pack, off) = (both.low.pack, both.apart());
        let most = end_limit(pack, config).max(most);
        match (closed, off > most) {
            (true, false) => Some(Finding::kept(off, most)),
            (true, true) => self.passes_positive(pack, config).then(|| Finding::broken(off, most)),
            (false, _) => None,
        }
    }

    pub(super) fn amps(&self) -> Option<Amps> {
        self.current.map(|current| current.amps)
    }

    /// The current; of two channels that contradict each other the larger amount, so that one that is dead or late hides none. As long
    /// as they agree within their errors the main one counts, whose offset is learnt.
    pub(super) fn larger(&self, config: &Checked) -> Option<Amps> {
        match (self.amps(), self.current_check) {
            (Some(main), Some(check)) => {
                let contradict = (main - check).abs() > config.faults.current_sensors_disagree.trip;
                Some(if contradict && check.abs() > main.abs() { check } else { main })
            }
            (main, check) => main.or(check),
        }
    }

    pub(super) fn link(&self) -> Option<Volts> {
        self.voltages.map(|voltages| voltages.link)
    }

    /// How long opening waits for the fuse to clear a current that the contactors must not break; zero where they may break it.
    ///
    /// | what is believed | waits for |
    /// | --- | --- |
    /// | every channel may be beyond the breaking limit | the fuse |
    /// | one may be, the other is not, and they contradict each other | the time in which the two must agree |
    /// | one may be, the other is not, and both may be true | nothing |
    /// | none may be, or there is none | nothing |
    ///
    /// A reading at the end of its range says "at least this": the current may be beyond the breaking limit, and any reading of the other
    /// channel from there on may be true. So a main channel that ends at 600 A and a second one that reads 800 A let the contactors break
    /// a short circuit in the cold, in which the fuse is slow. Where the two contradict each other one sensor is broken, or
    /// the short circuit is so young that only one has seen it: both cases are over when their disagreement would be a fault. Knowing
    /// nothing waits for nothing: that the readings are lost and a short circuit flows as well is the less likely, and the reaction is
    /// due now.
    pub(super) fn wait_for_fuse(&self, config: &Checked) -> Millis {
        // At least and at most what the amount may be, by each channel.
        let bounds = |amps: Amps, at_end| (amps.abs(), if at_end { Amps::MAX } else { amps.abs() });
        let main = self.current.map(|current| bounds(current.amps, current.at_end));
        let range = config.pack.current_check_range;
        let check = self.current_check.map(|amps| bounds(amps, at_end(amps, range, &config.sensing)));
        let Some(either) = main.or(check) else { return Millis::ZERO };
        let (main, check) = (main.unwrap_or(either), check.unwrap_or(either));
        let (limit, disagree) = (config.sequence.breaking_limit, config.faults.current_sensors_disagree);
        let fuse = config.sequence.fuse_wait;
        let contradict = main.0.max(check.0) - main.1.min(check.1) > disagree.trip;
        if main.1.min(check.1) > limit {
            fuse
        } else if main.1.max(check.1) > limit && contradict {
            fuse.min(disagree.dwell)
        } else {
            Millis::ZERO
        }
    }
}
