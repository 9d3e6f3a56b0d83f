//! The image in QEMU, behind its UART: what becomes of the coils when the host is silent, when the line babbles, and when the processor hangs.
//!
//! For the trainer, with the planted hang:
//!
//! ```text
//! (cd examples/firmware && RUSTC_BOOTSTRAP=1 cargo +debian build --release --target-dir target --bin rig --features rig,trainer,planted_hang)
//! RIG_IMAGE=examples/firmware/target/thumbv7em-none-eabihf/release/rig cargo test --test rig on_a_machine -- --nocapture
//! ```
//!
//! `RIG_LOG` names a file for what an image with the feature `logging` says for itself. QEMU does not know the board's GPIO, but writes down what goes there: the pins that the image drives are read from that.

use bms_core::serial::{LONGEST, Receiver, Refusal, ToHost, ToTarget, send};
use bms_core::units::{Instant as At, Millis};
use bms_core::{Config, Frame, sequence::Wear};
use bms_sim::case::Case;
use bms_sim::rig::{Line, Pace, Target, Times, Trouble};
use std::fs;
use std::io::{self, Read, Write};
use std::net::Shutdown;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Insulation is measured, then the contactors close; the planted hang comes at 4 s.
const CASE: &str = r#"
schema = 1
title = "Closing"
story = "The contactors close, and stay closed."
pack = "trainer"
seed = 1
duration_s = 10
[start]
charge_percent = 60
celsius = 18
[[act]]
at_s = 0.5
ask = "close"
"#;

/// The pins of the board file: negative, precharge and positive coil.
const COILS: u32 = 0b111;
const CLOSED: u32 = 0b101;

struct Qemu {
    process: Child,
    folder: tempfile::TempDir,
}

impl Qemu {
    fn start(image: &Path) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let image = image.canonicalize().expect("RIG_IMAGE names an image");
        let process = Command::new("qemu-system-arm")
            .args(["-M", "mps2-an386", "-nographic", "-monitor", "none", "-d", "unimp", "-D", "pins"])
            .args(["-semihosting-config", "enable=on,target=native"])
            .args([
                "-chardev",
                "socket,id=line,path=line,server=on,wait=off",
                "-serial",
                "chardev:line",
                "-kernel",
            ])
            .arg(image)
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .spawn()
            .expect("qemu-system-arm starts");
        Self { process, folder }
    }

    fn connect(&self) -> UnixStream {
        let until = Instant::now() + Duration::from_secs(10);
        loop {
            match UnixStream::connect(self.folder.path().join("line")) {
                Ok(stream) => return stream,
                Err(_) if Instant::now() < until => sleep(Duration::from_millis(10)),
                Err(error) => panic!("QEMU opens no line: {error}"),
            }
        }
    }

    /// Every level of the coils' pins that was driven, one after another without repetitions.
    fn coils(&self) -> Vec<u32> {
        let written = fs::read_to_string(self.folder.path().join("pins")).unwrap_or_default();
        let levels = written.lines().filter(|line| line.contains("gpio") && line.contains("offset 0x004"));
        let mut levels: Vec<u32> = levels
            .filter_map(|line| {
                u32::from_str_radix(line.split_once("value 0x")?.1.trim_end_matches(')'), 16).ok()
            })
            .map(|levels| levels & COILS)
            .collect();
        levels.dedup();
        levels
    }

    /// Waits until all coils are released.
    fn released_after(&self, from: Instant) -> Duration {
        while self.coils().last() != Some(&0) {
            assert!(from.elapsed() < Duration::from_secs(20), "the coils stay: {:?}", self.coils());
            sleep(Duration::from_millis(20));
        }
        from.elapsed()
    }
}

impl Drop for Qemu {
    fn drop(&mut self) {
        let _ended = self.process.kill();
        let _reaped = self.process.wait();
    }
}

/// A line that babbles before each message.
struct Babbling(UnixStream);

impl Write for Babbling {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.write_all(&[0x55, 0xAA, 0x03, 0x11, 0x00])?;
        self.0.write_all(bytes)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// Plays the case so far; what went wrong, and the times.
fn play(qemu: &Qemu, seconds: Option<u64>) -> (Option<Trouble>, Times) {
    let case = Case::parse(CASE, "closing.toml").map_err(|error| error.to_string()).expect("a case");
    let case = Arc::new(case);
    let stream = qemu.connect();
    let line = Line::over(
        stream.try_clone().expect("a second handle"),
        Babbling(stream.try_clone().expect("a third")),
    );
    let target = Target::<16, 8>::begin(line, &case, Pace::LockStep).expect("a target");
    let mut target = target.until_seconds(seconds);
    target.play(&case, |_| true).expect("the case is about this pack");
    // The thread that reads must go, or the next one would not hear all.
    stream.shutdown(Shutdown::Both).expect("the line ends");
    target.end()
}

/// One message and its answer, over a line of its own.
struct Dialogue {
    line: UnixStream,
    receiver: Receiver,
}

impl Dialogue {
    fn ask(&mut self, message: &ToTarget<16, 8>) -> ToHost<16> {
        self.line
            .write_all(send(message, &mut [0; LONGEST]).expect("there is room"))
            .expect("the line holds");
        let mut byte = [0];
        loop {
            self.line.read_exact(&mut byte).expect("the target answers");
            if let Some(answer) = self.receiver.take(byte[0]) {
                return answer.expect("a sound answer");
            }
        }
    }

    fn start(&mut self) {
        let start = ToTarget::Start { config: Config::trainer(), wear: Wear::NONE, silence: Millis(1_000) };
        assert!(matches!(self.ask(&start), ToHost::Started { .. }));
    }

    fn frame(&mut self, number: u32) -> ToHost<16> {
        self.ask(&ToTarget::Frame { number, frame: Frame::empty(At(number * 10)) })
    }

    fn babble(&mut self, time: Duration) {
        let until = Instant::now() + time;
        while Instant::now() < until {
            self.line.write_all(&[0xA5, 0x5A, 0x00, 0x07]).expect("the line holds");
            sleep(Duration::from_millis(20));
        }
    }
}

#[test]
fn on_a_machine() {
    let Some(image) = std::env::var_os("RIG_IMAGE") else {
        println!("skipped: RIG_IMAGE names no image");
        return;
    };
    // Cargo runs a test in its package's folder.
    let image = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(image);
    let qemu = Qemu::start(&image);
    babble_beside_frames_does_no_harm(&qemu);
    if let Some(log) = std::env::var_os("RIG_LOG") {
        fs::copy(qemu.folder.path().join("told.defmt"), log).expect("the image logs");
    }
    a_silent_host_opens(&qemu);
    babble_is_no_frame(&qemu);
    a_processor_that_hangs_opens(&qemu);
}

fn babble_beside_frames_does_no_harm(qemu: &Qemu) {
    let (trouble, times) = play(qemu, Some(3));
    assert!(trouble.is_none(), "{trouble:?}");
    assert!(times.garbled >= 300, "the babble was heard: {}", times.garbled);
    assert_eq!(
        qemu.coils(),
        [0, 0b001, 0b011, 0b111, CLOSED],
        "negative, precharge, positive, and precharge off"
    );
    println!("ok: babble beside frames does no harm. {times}");
}

/// In lock-step five seconds are borne.
fn a_silent_host_opens(qemu: &Qemu) {
    let after = qemu.released_after(Instant::now());
    assert!((4..7).contains(&after.as_secs()), "{after:?}");
    println!("ok: {after:.1?} after the last frame all coils are released");
}

fn babble_is_no_frame(qemu: &Qemu) {
    let mut dialogue = Dialogue { line: qemu.connect(), receiver: Receiver::new() };
    dialogue.line.write_all(&[0]).expect("the line holds");
    assert_eq!(dialogue.frame(1), ToHost::Refused(Refusal::WasSilent));
    dialogue.start();
    for number in 1..=5 {
        assert!(matches!(dialogue.frame(number), ToHost::Decided { .. }));
        dialogue.babble(Duration::from_millis(300));
        dialogue.line.write_all(&[0]).expect("the line holds");
    }
    dialogue.babble(Duration::from_millis(1_500));
    dialogue.line.write_all(&[0]).expect("the line holds");
    assert_eq!(dialogue.frame(6), ToHost::Refused(Refusal::WasSilent));
    println!("ok: a second of babble without a frame is a second of silence");
}

fn a_processor_that_hangs_opens(qemu: &Qemu) {
    let (trouble, times) = play(qemu, None);
    assert!(matches!(trouble, Some(Trouble::WasReset { .. })), "{trouble:?}");
    assert_eq!(times.ticks(), 399);
    let coils = qemu.coils();
    assert!(coils.ends_with(&[CLOSED, 0]), "{coils:?}");
    println!("ok: {}", trouble.expect("a reset"));
}
