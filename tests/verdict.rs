//! Whether the firmware was right: of each answer a case that shows it, with the seconds worked out by hand.

use bms_core::Fault;
use bms_sim::case::Case;
use bms_sim::explain::Account;
use bms_sim::explain::blind::Unseen;
use bms_sim::explain::judged::Judged;
use bms_sim::explain::verdict::Criticality;
use bms_sim::recording::{self, Recording};
use bms_sim::world::truth::Bound;
use std::sync::Arc;

type Trainer = Recording<16, 8>;

fn told(story: &str) -> (Trainer, Account) {
    let text = format!("schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"trainer\"\nseed = 1\n{story}");
    let case = Case::parse(&text, "verdict.toml").unwrap_or_else(|error| panic!("{error}\n{text}"));
    let recording = recording::play(&Arc::new(case), |_| true).expect("the trainer has 16 cells");
    let account = Account::of(&recording).expect("the trainer has 16 cells");
    (recording, account)
}

const WARM: &str = "start = { charge_percent = 60, celsius = 18 }\n";

const CLOSE: &str = "act = [{ at_s = 1, ask = \"close\" }]\n";

const AT_WORK: &str = "duty = [{ do = \"park\", for_s = 5 }, { times = 9, phases = [{ do = \"hoist\", for_s = 5 }, { do = \"hold\", for_s = 3 }] }]\n";

/// A pack with nothing wrong, that does nothing.
#[test]
fn calm() {
    let (_, account) = told(&format!("duration_s = 3\n{WARM}"));
    assert_eq!((account.judged, account.verdict.criticality()), (Judged::Calm, Criticality::NotCritical));
}

/// 40 mΩ at a joint make 36 W while 30 A are hoisted, five seconds of eight: more than 15 W as a mean over a minute, but not at once.
#[test]
fn right_in_time() {
    let (recording, account) = told(&format!(
        "duration_s = 40\n{WARM}{CLOSE}{AT_WORK}defect = [{{ kind = \"loose_joint_tap_above\", joint = 6, milliohms = 40, at_s = 5 }}]\n"
    ));
    let Judged::InTime { fault: Some(fault), left_seconds: Some(left) } = account.judged else {
        panic!("{:?}", account.judged)
    };
    let hazard = account.verdict.without_reactions.expect("it would pass a bound");
    assert_eq!(hazard.bound, Bound::JointHeat);
    let chain = account.chain(fault).expect("it was Confirmed");
    let reacted = chain.reacted().expect("it reacted");
    assert!((hazard.seconds - reacted - left).abs() < 1e-9 && left > 0.0, "{left}");
    assert!((account.verdict.seconds_left(&recording.case, reacted).expect("a time") - left).abs() < 1e-9);
}

/// 400 W in one cell, which no contactor stops: it is seen to come, and passes 70 °C all the same.
#[test]
fn right_but_in_vain() {
    let (_, account) = told(&format!(
        "duration_s = 120\n{WARM}{CLOSE}defect = [{{ kind = \"cell_heats_itself\", cell = 6, watts = 400, at_s = 5 }}]\n"
    ));
    let Judged::InVain { fault, before_seconds } = account.judged else { panic!("{:?}", account.judged) };
    assert_eq!(fault, Fault::TemperatureRisingFast);
    assert_eq!(account.verdict.passed.map(|passed| passed.bound), Some(Bound::CellHot));
    assert!(before_seconds > 0.0, "{before_seconds}");
}

/// A load that takes no limit charges a pack at −6 °C with 0.5C: 0.05C is passed at once, and half a second is waited for the load to follow.
#[test]
fn late() {
    let (_, account) = told(&format!(
        "duration_s = 20\nstart = {{ charge_percent = 40, celsius = -6 }}\n{CLOSE}duty = [{{ do = \"park\", for_s = 5 }}, {{ do = \"top-up\", for_s = 10 }}]\n\
         defect = [{{ kind = \"load_ignores_limit\", at_s = 2 }}]\n"
    ));
    let Judged::Late { fault, after_seconds } = account.judged else { panic!("{:?}", account.judged) };
    assert_eq!(fault, Fault::LimitNotObeyedFar);
    assert_eq!(account.verdict.passed.map(|passed| passed.bound), Some(Bound::ChargedFrozen));
    // 200 ms for the load to follow, 500 ms of dwell.
    assert!((0.4..1.0).contains(&after_seconds), "{after_seconds}");
}

/// Both thermistors of the module stand still before one of its cells heats itself.
const BLINDFOLDED: &str = "defect = [{ kind = \"thermistor_frozen\", thermistor = 3, at_s = 2 }, { kind = \"thermistor_frozen\", thermistor = 4, at_s = 2 }, \
                           { kind = \"cell_heats_itself\", cell = 6, watts = 400, at_s = 5 }]\n";

#[test]
fn blind() {
    let (_, account) = told(&format!("duration_s = 240\n{WARM}{BLINDFOLDED}"));
    assert_eq!(account.verdict.passed.map(|passed| passed.bound), Some(Bound::CellHot));
    assert_eq!((account.judged, account.chains.len()), (Judged::Blind, 0));
}

/// The same story, ended before the cell is too hot.
#[test]
fn not_put_to_the_test() {
    let (recording, account) = told(&format!("duration_s = 30\n{WARM}{BLINDFOLDED}"));
    let Judged::Untested { after_end_seconds } = account.judged else { panic!("{:?}", account.judged) };
    let hazard = account.verdict.without_reactions.expect("it would pass a bound");
    assert!((hazard.seconds - recording.end.seconds() - after_end_seconds).abs() < 1e-9);
}

/// A channel that reads 480 mV too high is beyond 3.75 V, and truth is a sound pack's.
#[test]
fn misled() {
    let (_, account) = told(&format!(
        "duration_s = 6\n{WARM}defect = [{{ kind = \"cell_channel_offset\", cell = 4, millivolts = 480, at_s = 1 }}]\n"
    ));
    assert_eq!(account.judged, Judged::Misled { fault: Fault::CellOverVoltageFar });
}

/// A cover is open under a closed pack, or a bit of the controller's memory has flipped: both are there, and no reading lies.
#[test]
fn early() {
    for (defect, fault) in
        [("interlock_open", Fault::InterlockOpenAtLoad), ("configuration_bit", Fault::ConfigurationInvalid)]
    {
        let (_, account) = told(&format!(
            "duration_s = 20\n{WARM}{CLOSE}{AT_WORK}defect = [{{ kind = \"{defect}\", at_s = 7 }}]\n"
        ));
        assert_eq!(account.judged, Judged::Early { fault });
    }
}

/// A reading of the link that stands at nothing: the only one that shows whether it is live. At rest no fault can say so, a start finds it.
#[test]
fn critical_by_blindness() {
    let dead = "defect = [{ kind = \"link_reading_dead\", at_s = 0.5 }]\n";
    for (acts, found) in [("", None), (CLOSE, Some(Fault::LinkReadingImplausible))] {
        let (_, account) = told(&format!("duration_s = 6\n{WARM}{acts}{dead}"));
        assert_eq!(account.verdict.criticality(), Criticality::ByBlindness);
        assert_eq!(account.verdict.blind.map(|blind| blind.unseen), Some(Unseen::LinkLive));
        assert_eq!(account.judged, found.map_or(Judged::Blind, |fault| Judged::Told { fault }));
    }
}
