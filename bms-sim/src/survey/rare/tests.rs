//! Faults of the core at their default limits, on packs that stand near them: what is found is what plain sampling counts where that
//! reaches, and where one reading is enough the closed form, down to once in 10⁹ hours.

use super::lean::{Channel, Lean};
use super::*;
use crate::case::Case;
use crate::survey::distribution::normal_share;
use crate::survey::statistics::rate::Rate;
use bms_core::Fault;
use bms_core::fault::Reading;
use bms_core::witness::{Evidence, Witness};
use std::sync::Arc;

type Trainer = Standing<16, 8>;

/// The trainer, parked for long, with a reading displaced by a defect.
fn standing(defect: &str, fault: Fault) -> Trainer {
    let text = format!(
        "schema = 1\ntitle = 't'\nstory = 's'\npack = 'trainer'\nseed = 11\nduration_s = 100000\n\
         start = {{ charge_percent = 60, celsius = 18 }}\ndefect = [{defect}]\n"
    );
    let case = Case::parse(&text, "standing.toml").unwrap_or_else(|error| panic!("{error}"));
    Trainer::of(&Arc::new(case), fault, 2.0).unwrap_or_else(|error| panic!("{error}"))
}

/// What one fault sees over many ticks.
struct Seen {
    fault: Fault,
    observed: Vec<f64>,
    not_within: f64,
}

impl Witness for Seen {
    fn saw(&mut self, evidence: Evidence) {
        if let Evidence::Assessed(seen) = evidence
            && seen.fault == self.fault
            && let Some(observed) = seen.observed
        {
            #[expect(clippy::cast_precision_loss, reason = "far below 2⁵³")]
            let value = observed.bits() as f64 / 65_536.0;
            self.observed.push(value);
            self.not_within += f64::from(u8::from(seen.reading != Reading::Within));
        }
    }
}

/// The mean of what is observed where it stands, and the share of readings that are not within the release limit.
fn seen(of: &Trainer, fault: Fault, ticks: u32) -> (f64, f64) {
    let mut seen = Seen { fault, observed: Vec::new(), not_within: 0.0 };
    let mut now = of.stands().clone();
    for _ in 0..ticks {
        now.advance(&mut seen);
    }
    let count = f64::from(ticks);
    (seen.observed.iter().sum::<f64>() / count, seen.not_within / count)
}

fn holds(alarms: &Alarms, per_hour: f64, room: f64) -> bool {
    alarms.low_per_hour / room <= per_hour && per_hour <= alarms.high_per_hour * room
}

/// A cell's reading below 3.75 V by so many times its noise of 0.5 mV. The release limit lies a hundred times the noise lower, so one wild
/// reading is all that it takes: Φ(−z) for each tick. Rounded to 0.1 mV, a reading is beyond from half a step below the limit on.
#[test]
fn a_wide_band_makes_one_wild_reading_enough() {
    let fault = Fault::CellOverVoltageFar;
    let at = |millivolts: f64| {
        standing(&format!("{{ kind = 'cell_channel_offset', cell = 3, millivolts = {millivolts} }}"), fault)
    };
    let (stands, _) = seen(&at(400.0), fault, 4_000);
    let up_to = |sigmas: f64| at(400.0 + 1e3 * (3.75 - stands) - 0.5 * sigmas);
    let closed = |sigmas: f64| 360_000.0 * in_a_row(normal_share(-(sigmas - 0.1)), 1.0, 30);
    let near = up_to(3.5);
    assert_eq!(near.dwell_ticks(), 30);
    let alarms = near.clone().leaning(Lean { channel: Channel::Cell(2), sigmas: 3.5 }).alarms(2, 400, 10, 1);
    let plain = Rate::of(near.counted(0.5, 7), 0.5);
    assert!(plain.low_per_hour <= alarms.high_per_hour, "{plain:?} {alarms:?}");
    assert!(plain.high_per_hour.is_some_and(|high| alarms.low_per_hour <= high), "{plain:?} {alarms:?}");
    assert!(holds(&alarms, closed(3.5), 1.15), "{} {alarms:?}", closed(3.5));
    let far = up_to(7.8).leaning(Lean { channel: Channel::Cell(2), sigmas: 7.8 }).alarms(2, 400, 10, 1);
    assert!(holds(&far, closed(7.8), 1.3), "{} {far:?}", closed(7.8));
    assert!(far.per_hour < 1e-8 && far.high_per_hour < 1.5 * far.per_hour, "{far:?}");
}

/// Two current sensors that disagree by nearly 3 % of their range: the release limit lies 5.7 times their noise below the trip limit, so
/// where the gap stands between the two, each of the readings within the dwell may end it.
#[test]
fn a_narrow_band_lets_every_reading_of_the_dwell_count() {
    let fault = Fault::CurrentSensorsDisagree;
    let at = |amps: f64| {
        standing(&format!("{{ kind = 'current_offset', current_sensor = 'check', amps = {amps} }}"), fault)
    };
    let near = at(3.3);
    let alarms =
        near.clone().leaning(Lean { channel: Channel::CurrentCheck, sigmas: 3.3 }).alarms(5, 500, 20, 2);
    let plain = Rate::of(near.counted(0.5, 3), 0.5);
    assert!(plain.low_per_hour <= alarms.high_per_hour, "{plain:?} {alarms:?}");
    assert!(plain.high_per_hour.is_some_and(|high| alarms.low_per_hour <= high), "{plain:?} {alarms:?}");
    // Not every excursion that begins comes through: the dwell is worth something here.
    let (_, not_within) = seen(&near, fault, 20_000);
    let kept = in_a_row(1.0, not_within, near.dwell_ticks());
    assert!((0.5..0.95).contains(&kept), "{kept}");
}
