//! The rig without a machine: the target's side of the dialogue runs in a thread, behind a line that spoils what it likes.
#![cfg(unix)]

mod machine;

use bms_core::serial::{LONGEST, Receiver, Station, ToHost, ToTarget, VERSION, send};
use bms_sim::case::Case;
use bms_sim::recording;
use bms_sim::rig::{Line, Pace, Target, Trouble};
use std::io::{Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::Path;
use std::process::{Command, Output};
use std::sync::Arc;

const CASE: &str = include_str!("../../examples/cases/open-thermistor.toml");
const BROWN_OUT: &str = include_str!("../../examples/cases/brown-out.toml");

/// What a target on a bad day does with an answer: what it sends instead.
type Spoils = Box<dyn FnMut(&mut Station<96, 16>, ToHost<96>) -> Vec<u8> + Send>;

fn bytes(answer: &ToHost<96>) -> Vec<u8> {
    send(answer, &mut [0; LONGEST]).expect("there is room").to_vec()
}

/// A target behind a socket; it ends with the line.
fn target(spoils: Spoils) -> Line {
    let (host, here) = UnixStream::pair().expect("a pair of sockets");
    std::thread::spawn(move || serve(here, spoils));
    Line::over(host.try_clone().expect("a second handle"), host)
}

/// What a target does that was just reset, until its line ends.
fn serve(mut line: UnixStream, mut spoils: Spoils) {
    let (mut station, mut receiver) = (Station::<96, 16>::new(), Receiver::new());
    let mut read = [0; 4_096];
    while let Ok(count @ 1..) = line.read(&mut read) {
        for byte in &read[..count] {
            match receiver.take::<ToTarget<96, 16>>(*byte) {
                None => {}
                Some(Err(_)) => station.count_garbled(),
                Some(Ok(message)) => {
                    let answer = station.answer(&message, &mut ());
                    if line.write_all(&spoils(&mut station, answer)).is_err() {
                        return;
                    }
                }
            }
        }
    }
}

fn case() -> Arc<Case> {
    Arc::new(
        Case::parse(CASE, "open-thermistor.toml").map_err(|error| error.to_string()).expect("a shipped case"),
    )
}

/// Plays the case against a target: the digest of all decisions, the ticks, and what went wrong.
fn play(spoils: Spoils) -> (u32, u64, Option<Trouble>) {
    play_case(&case(), spoils)
}

fn play_case(case: &Arc<Case>, spoils: Spoils) -> (u32, u64, Option<Trouble>) {
    let mut target = Target::<96, 16>::begin(target(spoils), case, Pace::LockStep).expect("a target");
    let recording = target.play(case, |_| true).expect("the case is about this pack");
    let (trouble, times) = target.end();
    assert!(recording.ticks >= times.ticks() as u64);
    (recording.digest, times.ticks() as u64, trouble)
}

fn alone() -> (u32, u64) {
    let recording = recording::play::<96, 16>(&case(), |_| true).expect("the case is about this pack");
    (recording.digest, recording.ticks)
}

#[test]
fn a_sound_target_decides_as_the_host_does() {
    let (digest, ticks, trouble) = play(Box::new(|_, answer| bytes(&answer)));
    assert!(trouble.is_none(), "{trouble:?}");
    assert_eq!((digest, ticks), alone());
}

/// Every 50th answer is garbled, every 70th comes twice, and between them the line babbles: nothing is lost.
#[test]
fn a_bad_line_loses_nothing() {
    let mut count = 0_u32;
    let (digest, ticks, trouble) = play(Box::new(move |_, answer| {
        count += 1;
        let mut said = bytes(&answer);
        match count {
            _ if count.is_multiple_of(500) => said[3] ^= 0x40,
            _ if count.is_multiple_of(70) => said.extend(said.clone()),
            _ if count.is_multiple_of(30) => said.splice(0..0, [0x55, 0xAA, 0x00]).for_each(drop),
            _ => {}
        }
        said
    }));
    assert!(trouble.is_none(), "{trouble:?}");
    assert_eq!((digest, ticks), alone());
}

#[test]
fn a_reset_is_named() {
    let (_, ticks, trouble) = play(Box::new(|station, answer| {
        if matches!(answer, ToHost::Decided { number: 300, .. }) {
            *station = Station::new();
        }
        bytes(&answer)
    }));
    assert_eq!(ticks, 300);
    assert!(matches!(trouble, Some(Trouble::WasReset { .. })), "{trouble:?}");
}

/// The supply dips in the middle of precharge: the target goes on from its record, or from what is left of it, as the host does.
#[test]
fn a_loss_of_power_is_played_too() {
    for fate in ["kept", "torn", "lost"] {
        let text = BROWN_OUT.replace("for_s = 1.5", &format!("for_s = 1.5\nrecord = \"{fate}\""));
        let case = Case::parse(&text, "brown-out.toml").map_err(|error| error.to_string()).expect("a case");
        let case = Arc::new(case);
        let (digest, ticks, trouble) = play_case(&case, Box::new(|_, answer| bytes(&answer)));
        assert!(trouble.is_none(), "{fate}: {trouble:?}");
        let alone = recording::play::<96, 16>(&case, |_| true).expect("the case is about this pack");
        assert_eq!((digest, ticks, alone.end.restarts), (alone.digest, alone.ticks, 1), "{fate}");
    }
}

#[test]
fn another_record_is_named() {
    let case = Case::parse(BROWN_OUT, "brown-out.toml").map_err(|error| error.to_string()).expect("a case");
    let (_, _, trouble) = play_case(
        &Arc::new(case),
        Box::new(|_, mut answer| {
            if let ToHost::Piece { from: 255, bytes } = &mut answer {
                bytes[7] ^= 1;
            }
            bytes(&answer)
        }),
    );
    assert!(matches!(trouble, Some(Trouble::OtherRecord { byte: 262, .. })), "{trouble:?}");
}

#[test]
fn a_silent_target_is_named() {
    let (_, ticks, trouble) = play(Box::new(|_, answer| match answer {
        ToHost::Decided { number: 200.., .. } => Vec::new(),
        answer => bytes(&answer),
    }));
    assert_eq!(ticks, 199);
    assert!(matches!(trouble, Some(Trouble::NoAnswer { .. })), "{trouble:?}");
}

#[test]
fn a_line_that_breaks_is_named() {
    let (_, ticks, trouble) = play(Box::new(|_, answer| match answer {
        ToHost::Decided { number: 200, .. } => panic!("the thread, and its end of the line with it"),
        answer => bytes(&answer),
    }));
    assert_eq!(ticks, 199);
    assert!(matches!(trouble, Some(Trouble::Broken { .. })), "{trouble:?}");
}

#[test]
fn another_decision_is_named() {
    let (_, ticks, trouble) = play(Box::new(|_, mut answer| {
        if let ToHost::Decided { number: 400, decision, .. } = &mut answer {
            decision.limits = bms_core::decision::CurrentLimits::NONE;
        }
        bytes(&answer)
    }));
    assert_eq!(ticks, 399);
    let trouble = trouble.expect("a difference").to_string();
    assert!(trouble.contains("the limits of current: CurrentLimits"), "{trouble}");
}

#[test]
fn another_state_is_named() {
    let (_, ticks, trouble) = play(Box::new(|_, mut answer| {
        if let ToHost::Decided { number: 400, digest, .. } = &mut answer {
            *digest ^= 1;
        }
        bytes(&answer)
    }));
    assert_eq!(ticks, 399);
    assert!(trouble.expect("a difference").to_string().contains("the states behind them are not"));
}

/// At the pace of time a resting case would keep the target waiting for longer than it bears.
#[test]
fn a_case_that_rests_in_large_steps_has_no_pace_of_time() {
    let text = CASE.to_owned() + "\n[rest]\nstep_s = 10\n";
    let case = Case::parse(&text, "rest.toml").map_err(|error| error.to_string()).expect("a case");
    let line = target(Box::new(|_, answer| bytes(&answer)));
    let trouble = Target::<96, 16>::begin(line, &case, Pace::Time).err().expect("a refusal").to_string();
    assert!(trouble.contains("steps of 10000 ms"), "{trouble}");
}

/// At the pace of time a tick takes its 10 ms, and those that come late are counted.
#[test]
fn missed_ticks_are_counted_at_the_pace_of_time() {
    let case = case();
    let slow = target(Box::new(|_, answer| {
        if matches!(answer, ToHost::Decided { number: 20, .. }) {
            std::thread::sleep(std::time::Duration::from_millis(35));
        }
        bytes(&answer)
    }));
    let mut target =
        Target::<96, 16>::begin(slow, &case, Pace::Time).expect("a target").until_seconds(Some(1));
    let begun = std::time::Instant::now();
    target.play(&case, |_| true).expect("the case is about this pack");
    let (trouble, times) = target.end();
    assert!(trouble.is_none(), "{trouble:?}");
    assert!(begun.elapsed() >= std::time::Duration::from_secs(1));
    assert!(times.ticks() == 101 && times.missed >= Some(1), "{times}");
    assert!(times.to_string().contains("missed"), "{times}");
}

/// What keeps a run from beginning.
fn refused(spoils: Spoils) -> Trouble {
    match Target::<96, 16>::begin(target(spoils), &case(), Pace::Time) {
        Ok(_) => panic!("it has begun"),
        Err(trouble) => trouble,
    }
}

#[test]
fn another_version_or_pack_or_configuration_is_refused() {
    let version =
        refused(Box::new(|_, _| bytes(&ToHost::Hello { version: 200, cells: 96, thermistors: 16 })));
    assert!(matches!(version, Trouble::Version { target: 200, .. }), "{version:?}");
    let pack =
        refused(Box::new(|_, _| bytes(&ToHost::Hello { version: VERSION, cells: 16, thermistors: 8 })));
    assert!(matches!(pack, Trouble::OtherPack { target_cells: 16, .. }), "{pack:?}");
    let configuration = refused(Box::new(|_, answer| match answer {
        ToHost::Started { config } => bytes(&ToHost::Started { config: !config }),
        answer => bytes(&answer),
    }));
    assert!(matches!(configuration, Trouble::OtherConfiguration { .. }), "{configuration:?}");
    let nobody = refused(Box::new(|_, _| Vec::new()));
    assert!(matches!(nobody, Trouble::NoAnswer { .. }), "{nobody:?}");
}

/// A target that listens in this folder: whoever comes finds one that was just reset.
fn listen(folder: &Path) -> String {
    let socket = folder.join("target");
    let listener = UnixListener::bind(&socket).expect("a socket");
    std::thread::spawn(move || {
        for line in listener.incoming().flatten() {
            serve(line, Box::new(|_, answer| bytes(&answer)));
        }
    });
    format!("unix:{}", socket.display())
}

fn bms_sim(words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_bms-sim")).args(words).output().expect("the program starts")
}

fn said(words: &[&str]) -> String {
    let output = bms_sim(words);
    assert!(output.status.success(), "{words:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text")
}

/// The story of a run on the rig is that of the host, and so is every word of why it tripped.
#[test]
fn a_trip_on_the_rig_is_explained_as_on_the_host() {
    let folder = tempfile::tempdir().expect("a folder");
    let address = listen(folder.path());
    let case = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/cases/open-thermistor.toml");
    let recorded = folder.path().join("rig.mcap");
    let recorded = recorded.to_str().expect("a name in UTF-8");
    let told = said(&["rig", case, "--to", &address, "--record", recorded]);
    assert_eq!(told, said(&["run", case]));
    let why = said(&["why", recorded]);
    assert_eq!(why, said(&["why", case]));
    assert!(why.contains("Why thermistor open?"), "{why}");
}

/// What was recorded before the line broke is kept, and explained as a run that ended there.
#[test]
fn a_broken_line_loses_nothing_that_was_recorded() {
    let folder = tempfile::tempdir().expect("a folder");
    let socket = folder.path().join("target");
    let listener = UnixListener::bind(&socket).expect("a socket");
    std::thread::spawn(move || {
        let (line, _) = listener.accept().expect("the host");
        serve(
            line,
            Box::new(|_, answer| match answer {
                ToHost::Decided { number: 5_000, .. } => {
                    panic!("the thread, and its end of the line with it")
                }
                answer => bytes(&answer),
            }),
        );
    });
    let case = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/cases/open-thermistor.toml");
    let recorded = folder.path().join("rig.mcap");
    let recorded = recorded.to_str().expect("a name in UTF-8");
    let output = bms_sim(&["rig", case, "--to", &format!("unix:{}", socket.display()), "--record", recorded]);
    let complaint = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(3), "{complaint}");
    assert!(complaint.contains("after 4999 ticks: the line to the target is broken"), "{complaint}");
    assert!(said(&["why", recorded]).contains("Why thermistor open?"));
}

/// Stories drawn by chance, and the first seconds of a case.
#[test]
fn stories_are_drawn_and_cut_from_the_command_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let address = listen(folder.path());
    let told = said(&["rig", "--drawn", "2", "--seed", "5", "--to", &address]);
    let last = told.lines().last().unwrap_or_default();
    assert!(told.lines().count() == 3 && last.starts_with("2 stories of seed 5: "), "{told}");
    let case = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/cases/open-thermistor.toml");
    let output = bms_sim(&["rig", case, "--first", "3", "--to", &address]);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success() && told.contains("decided 301 ticks"), "{told}");
    let story = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        story.ends_with(
            "The story ends here: no more of it was asked for, and nothing is expected of a part.\n"
        ),
        "{story}"
    );
}
