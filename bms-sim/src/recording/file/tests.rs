use super::*;
use crate::recording::Event;
use std::collections::BTreeMap;

const WELDED: &str = include_str!("../../../../examples/cases/welded-positive.toml");

/// A recording of a few seconds in a folder of its own.
fn recorded() -> (tempfile::TempDir, std::path::PathBuf, Recording<96, 16>) {
    let mut case = Case::parse(WELDED, "welded-positive.toml").unwrap();
    case.seed = 4_711;
    case.duration_seconds = 6.0;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.mcap");
    let mut writing = Writing::begin(&path, false, &Arc::new(case), said).unwrap();
    let recording = writing.play(|_| true).unwrap();
    writing.finish().unwrap();
    (folder, path, recording)
}

fn said(case: &Case, event: &Event) -> String {
    format!("{}: {:?}", case.name, event.what)
}

/// The same text with its own length and seed: what is read back is what was played, and every tick of it can be visited.
#[test]
fn a_run_read_back_is_the_run_that_was_written() {
    let (_folder, path, written) = recorded();
    assert!(is_recording(&path));
    let kept = case_of(&path).unwrap();
    assert!(kept.complete);
    assert_eq!((kept.case.seed, kept.ticks, kept.digest), (4_711, 600, written.digest));
    let back = read::<96, 16>(&path, |_| true).unwrap();
    assert_eq!((back.digest, back.ticks, back.events.len()), (written.digest, 600, written.events.len()));
    let (mut one, mut other) = (back.at(321), written.at(321));
    assert_eq!(one.world, other.world);
    assert_eq!(one.advance(&mut ()), other.advance(&mut ()));
}

/// The public reader of the format finds the channels and as many messages as the rates say: in 6 s 60 of signals, and at
/// the start and after each second one of decisions.
#[test]
fn the_container_is_what_its_format_says() {
    let (_folder, path, written) = recorded();
    let bytes = std::fs::read(path).unwrap();
    let mut counts = BTreeMap::new();
    for message in mcap::MessageStream::new(&bytes).unwrap() {
        let message = message.unwrap();
        assert!(serde_json::from_slice::<serde_json::Value>(&message.data).unwrap().is_object());
        *counts.entry(message.channel.topic.clone()).or_insert(0) += 1;
    }
    let expected = [("/decisions", 7), ("/events", written.events.len()), ("/signals", 60)];
    assert_eq!(counts, expected.map(|(topic, count)| (topic.to_owned(), count)).into());
    let schemas: Vec<_> = mcap::Summary::read(&bytes).unwrap().unwrap().schemas.into_values().collect();
    assert_eq!(schemas.len(), 3);
    for schema in schemas {
        assert!(serde_json::from_slice::<serde_json::Value>(&schema.data).unwrap().is_object());
    }
}

#[test]
fn the_same_run_is_the_same_file() {
    let (_one, first, _) = recorded();
    let (_other, second, _) = recorded();
    assert_eq!(std::fs::read(first).unwrap(), std::fs::read(second).unwrap());
}

/// Settled before anything is played: nothing is left to lose then.
#[test]
fn nothing_is_written_over_unless_asked_for() {
    let (_folder, path, recording) = recorded();
    let begin = |force| Writing::begin(&path, force, &recording.case, said).map(|_| ());
    std::fs::write(&path, "dear diary").unwrap();
    let error = begin(false).unwrap_err().to_string();
    assert!(
        error.ends_with("run.mcap: exists already; accepted is a new name, or --force to write over it"),
        "{error}"
    );
    assert_eq!(std::fs::read(&path).unwrap(), b"dear diary");
    let mut writing = Writing::begin(&path, true, &recording.case, said).unwrap();
    writing.play::<96, 16>(|_| true).unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), b"dear diary");
    writing.finish().unwrap();
    assert!(case_of(&path).unwrap().complete);
}

#[test]
fn what_cannot_be_a_file_is_refused_before_anything_is_played() {
    let (folder, _, recording) = recorded();
    let error = Writing::begin(folder.path(), true, &recording.case, said).map(|_| ()).unwrap_err();
    assert!(matches!(error, FileError::NotAFile { .. }), "{error}");
    let nowhere = Path::new("no/such/folder/run.mcap");
    let error = Writing::begin(nowhere, true, &recording.case, said).map(|_| ()).unwrap_err().to_string();
    assert!(error.starts_with("no/such/folder/run.mcap: "), "{error}");
}

/// A process that is killed leaves what it had heard up to the last whole second, under the name for the unfinished.
#[test]
fn what_was_heard_before_a_kill_is_there() {
    let (folder, path, recording) = recorded();
    let path = path.with_file_name("killed.mcap");
    let part = folder.path().join("killed.mcap.part");
    let mut writing = Writing::begin(&path, false, &recording.case, said).unwrap();
    let mut left = None;
    writing
        .play::<96, 16>(|seconds| {
            if seconds >= 4.0 && left.is_none() {
                left = Some(std::fs::read(&part).unwrap()); // as it lies on the disk at that moment
            }
            true
        })
        .unwrap();
    drop(writing);
    assert!(!path.exists());
    std::fs::write(&part, left.unwrap()).unwrap();
    let kept = case_of(&part).unwrap();
    assert!(!kept.complete && kept.ticks >= 300, "{} ticks", kept.ticks);
    assert_eq!(kept.replay::<96, 16>(|_| true).unwrap().ticks, kept.ticks);
    let error = Writing::begin(&path, false, &recording.case, said).map(|_| ()).unwrap_err();
    assert!(matches!(error, FileError::Unfinished { .. }), "{error}");
}

/// A run that was interrupted is complete as far as it goes.
#[test]
fn an_interrupted_run_is_a_whole_file() {
    let (_folder, path, recording) = recorded();
    let path = path.with_file_name("interrupted.mcap");
    let mut writing = Writing::begin(&path, false, &recording.case, said).unwrap();
    let played = writing.play::<96, 16>(|seconds| seconds < 2.5).unwrap();
    writing.finish().unwrap();
    let kept = case_of(&path).unwrap();
    assert_eq!((kept.complete, kept.ticks, kept.digest), (true, played.ticks, played.digest));
    assert!(kept.ticks < recording.ticks);
}

#[test]
fn what_is_no_recording_is_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("case.toml");
    std::fs::write(&path, WELDED).unwrap();
    assert!(!is_recording(&path));
    let error = case_of(&path).unwrap_err().to_string();
    assert!(error.ends_with("accepted is an MCAP file as written by run --record"), "{error}");
    let mut empty = mcap::Writer::new(File::create(&path).unwrap()).unwrap();
    empty.finish().unwrap();
    let error = case_of(&path).unwrap_err().to_string();
    assert!(error.contains("metadata run is missing"), "{error}");
}

/// However short it is cut: either the run is played to some earlier tick, or what is missing is named; never anything else.
#[test]
fn a_file_that_was_cut_short_is_played_as_far_as_it_goes() {
    let (_folder, path, written) = recorded();
    let bytes = std::fs::read(&path).unwrap();
    let mut shorter = 0;
    for length in (0..mcap::MAGIC.len()).chain((mcap::MAGIC.len()..bytes.len()).step_by(97)) {
        std::fs::write(&path, &bytes[..length]).unwrap();
        assert!(is_recording(&path), "{length}");
        match case_of(&path) {
            Ok(kept) => {
                assert!(if kept.complete {
                    kept.ticks == written.ticks
                } else {
                    kept.ticks <= written.ticks
                });
                shorter += u32::from(!kept.complete);
            }
            Err(error) => assert!(matches!(error, FileError::CutEarly { .. }), "{length}: {error}"),
        }
    }
    assert!(shorter > 0);
}

/// Another program decides differently: the digest in the file is then not the one of the run.
#[test]
fn a_digest_that_differs_is_told_with_both_values() {
    let (_folder, path, _) = recorded();
    let kept = Kept { digest: 0xdead_beef, ..case_of(&path).unwrap() };
    let error = kept.replay::<96, 16>(|_| true).unwrap_err().to_string();
    assert!(error.contains("decisions_digest = deadbeef after 600 ticks"), "{error}");
}

/// Another byte at any place of a file that was finished: it is refused, or the byte lies where nothing is read.
#[test]
fn no_byte_can_be_damaged_unnoticed() {
    let (_folder, path, _) = recorded();
    let bytes = std::fs::read(&path).unwrap();
    let sound = Contents::gather(&bytes).unwrap();
    let mut damaged = bytes.clone();
    let mut refused = 0;
    for (place, byte) in bytes.iter().enumerate() {
        damaged[place] = byte ^ [0x01, 0x80, 0xff, 0x10][place % 4];
        match Contents::gather(&damaged) {
            Ok(contents) => assert_eq!(contents, sound, "byte {place}"),
            Err(damage) => {
                assert!(damage.offset < bytes.len() && !damage.what.is_empty());
                refused += 1;
            }
        }
        damaged[place] = *byte;
    }
    assert!(refused > bytes.len() / 2, "{refused} of {}", bytes.len());
}

/// A file that was cut short has no check sum over all of it; its lengths and its chunks are judged all the same.
#[test]
fn what_was_cut_short_and_damaged_is_read_within_bounds() {
    let (_folder, path, _) = recorded();
    let mut bytes = std::fs::read(&path).unwrap();
    bytes.truncate(bytes.len() * 2 / 3);
    let mut damaged = bytes.clone();
    let (mut refused, mut read) = (0, 0);
    for (place, byte) in bytes.iter().enumerate() {
        damaged[place] = byte ^ [0xff, 0x80, 0x04, 0x01][place % 4];
        match Contents::gather(&damaged) {
            Ok(_) => read += 1,
            Err(damage) => {
                // A byte of a length shows where the next record is looked for, which may lie behind it.
                assert!(damage.offset < bytes.len(), "{place}: {damage:?}");
                refused += 1;
            }
        }
        damaged[place] = *byte;
    }
    assert!(refused > 0 && read > 0, "{refused} and {read}");
}

#[test]
fn damage_is_told_with_file_and_place() {
    let (_folder, path, _) = recorded();
    let mut bytes = std::fs::read(&path).unwrap();
    let name = bytes.windows(9).position(|window| window == b"case.toml").unwrap();
    bytes[name + 500] ^= 0x20;
    std::fs::write(&path, bytes).unwrap();
    let error = case_of(&path).unwrap_err().to_string();
    // Before the name stand its length, two times of 8 bytes, and the record's opcode and length.
    let offset = name - 4 - 16 - 9;
    assert!(error.contains(&format!("run.mcap: damaged at offset {offset}: check sum ")), "{error}");
}

/// Wherever a file is cut, all of it up to the last whole block counts. Where blocks end is asked of the public reader, which steps from
/// record to record.
#[test]
fn nothing_before_the_last_whole_block_is_lost() {
    let (_folder, path, _) = recorded();
    let bytes = std::fs::read(&path).unwrap();
    // Where each chunk ends, and the ticks that it vouches for: none at the start, then those up to the tick of each whole second, and all.
    let summary = mcap::Summary::read(&bytes).unwrap().unwrap();
    let end = |chunk: &mcap::records::ChunkIndex| {
        usize::try_from(chunk.chunk_start_offset + chunk.chunk_length).unwrap()
    };
    let mut ends: Vec<usize> = summary.chunk_indexes.iter().map(end).collect();
    ends.sort_unstable();
    let blocks: Vec<(usize, u64)> = ends.into_iter().zip([0, 101, 201, 301, 401, 501, 600]).collect();
    assert_eq!(blocks.len(), 7);
    let mut cuts: Vec<usize> = (mcap::MAGIC.len()..bytes.len() - 1).step_by(13).collect();
    cuts.extend(blocks.iter().flat_map(|(end, _)| [end - 1, *end, end + 1]));
    let mut told = std::collections::BTreeSet::new();
    for cut in cuts {
        let contents = Contents::gather(&bytes[..cut]).unwrap();
        let last = blocks.iter().rfind(|(end, _)| *end <= cut).map(|(_, ticks)| *ticks);
        assert_eq!(contents.last.map(|mark| mark.ticks), last, "{cut} of {} bytes", bytes.len());
        told.insert(last);
    }
    assert_eq!(told.len(), 8);
}
