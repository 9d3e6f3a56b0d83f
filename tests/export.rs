//! `export` as its users meet it: the tables that it writes are read back by the readers of their formats, and hold what the firmware was
//! shown, what it answered, and what was true.

use arrow_array::cast::AsArray as _;
use arrow_array::types::{Float64Type, UInt64Type};
use arrow_array::{Array as _, RecordBatch};
use arrow_schema::DataType;
use bms_core::units::Volts;
use bms_core::{Decision, Frame};
use bms_sim::case::Case;
use bms_sim::run::Loop;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use tempfile::TempDir;

/// A small pack closes, works, and loses a thermistor wire at 2 s.
const CASE: &str = r#"schema = 1
title = "A wire breaks, \"quoted\", at work"
story = "Nothing but a reading is lost."
pack = "trainer"
seed = 5
duration_s = 4
[start]
charge_percent = 60
celsius = 18
[[act]]
at_s = 0.5
ask = "close"
[[duty]]
do = "travel"
for_s = 4
[[defect]]
kind = "thermistor_open"
thermistor = 3
at_s = 2
"#;

struct Ran {
    code: Option<i32>,
    out: Vec<u8>,
    err: String,
}

fn call(folder: &Path, line: &str) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bms-sim"));
    command.args(line.split_whitespace()).current_dir(folder).env("NO_COLOR", "1").stdin(Stdio::null());
    let output = command.output().expect("the program starts");
    let err = String::from_utf8(output.stderr).expect("the program writes UTF-8");
    Ran { code: output.status.code(), out: output.stdout, err }
}

fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder for the test");
    std::fs::write(folder.path().join("case.toml"), CASE).expect("a case can be written");
    folder
}

/// A table as text: its header, and the fields of each row.
struct Text {
    names: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Text {
    fn read(from: impl std::io::Read) -> Self {
        let mut reader = csv::Reader::from_reader(from);
        let names = reader.headers().expect("a header").iter().map(str::to_owned).collect();
        let row = |row: csv::StringRecord| row.iter().map(str::to_owned).collect();
        let rows = reader.records().map(|record| row(record.expect("a row as long as the header"))).collect();
        Self { names, rows }
    }

    fn at(&self, row: usize, name: &str) -> &str {
        let place = self.names.iter().position(|known| known == name);
        &self.rows[row][place.unwrap_or_else(|| panic!("no column {name}"))]
    }
}

fn exported(folder: &Path, line: &str) {
    let ran = call(folder, line);
    assert_eq!((ran.code, ran.out.len()), (Some(0), 0), "{line}: {}", ran.err);
}

fn names(folder: &Path) -> BTreeSet<String> {
    let entries = std::fs::read_dir(folder).expect("the folder can be read");
    entries.map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned()).collect()
}

/// Every tick as the loop plays it: the pack as it is measured, the frame, the answer.
fn played() -> Vec<(Loop<16, 8>, Frame<16, 8>, Decision<16>)> {
    let case = Arc::new(Case::parse(CASE, "case.toml").expect("the case is sound"));
    let mut now = Loop::<16, 8>::new(&case).expect("it fits the trainer");
    let mut ticks = Vec::new();
    while !now.over() {
        let (before, frame) = (now.clone(), now.frame());
        let decision = now.advance(&mut ());
        ticks.push((before, frame, decision));
    }
    ticks
}

/// The step of 2⁻¹⁶ nearest to a decimal, by the fixed-point library.
fn bits(decimal: &str) -> i32 {
    decimal.parse::<fixed::types::I16F16>().unwrap_or_else(|error| panic!("{decimal}: {error}")).to_bits()
}

#[test]
fn the_table_holds_what_was_measured_true_and_decided() {
    let folder = folder();
    exported(folder.path(), "export -q case.toml --to run.csv");
    let table = Text::read(File::open(folder.path().join("run.csv")).expect("the table is there"));
    let ticks = played();
    assert_eq!(table.rows.len(), ticks.len());
    let near = |shown: &str, truth: f64| {
        let shown: f64 = shown.parse().expect("a number");
        assert!((shown - truth).abs() <= 5.1e-7, "{shown} for {truth}");
    };
    for (row, (before, frame, decision)) in ticks.iter().enumerate() {
        let at = |name: &str| table.at(row, name);
        assert_eq!((at("tick"), at("time_s")), (&*row.to_string(), &*before.seconds().to_string()));
        for (cell, volts) in (1..).zip(frame.cells.value.iter()) {
            assert_eq!(bits(at(&format!("cell_{cell:02}_V"))), volts.bits(), "tick {row}, cell {cell}");
        }
        let voltages = frame.voltages.value;
        let read = [voltages.pack, voltages.link, voltages.behind_negative, voltages.behind_positive]
            .map(Volts::bits);
        let shown = ["pack_V", "link_V", "behind_negative_V", "behind_positive_V"].map(|name| bits(at(name)));
        assert_eq!(shown, read);
        assert_eq!(bits(at("current_A")), frame.current.value.bits());
        assert_eq!(bits(at("current_check_A")), frame.current_check.value.bits());
        assert_eq!(bits(at("discharge_limit_A")), decision.limits.discharge.bits());
        assert_eq!(at("step"), format!("{:?}", decision.step));
        assert_eq!(at("close_asked"), (before.at_ms >= 500).to_string());
        let coil = decision.coils.positive == bms_core::decision::Coil::On;
        assert_eq!(at("positive_coil_on"), coil.to_string());
        let made = frame.feedback.value.precharge == bms_core::frame::Contact::Made;
        assert_eq!(at("precharge_feedback_made"), made.to_string());
        let truth = before.world.truth();
        near(at("true_link_V"), truth.link_volts);
        near(at("true_current_A"), truth.string_amps);
        near(at(&format!("true_cell_{:02}_V", truth.volts_low.place + 1)), truth.volts_low.value);
        near(at(&format!("true_cell_{:02}_degC", truth.celsius_high.place + 1)), truth.celsius_high.value);
        near(
            at(&format!("true_cell_{:02}_charge_pct", truth.charge_low.place + 1)),
            truth.charge_low.value * 100.0,
        );
        near(at("true_thermistor_03_degC"), before.world.heat.thermistor_celsius[2]);
        // The wire breaks in the tick of 2 s; from the next one on its divider stands at a rail.
        assert_eq!(at("thermistor_03_degC").is_empty(), before.at_ms > 2_000, "{}", before.at_ms);
        let stage = match (decision.faults.suspect, decision.faults.confirmed) {
            (_, confirmed) if confirmed.holds(bms_core::Fault::ThermistorOpen) => "2",
            (suspect, _) if suspect.holds(bms_core::Fault::ThermistorOpen) => "1",
            _ => "0",
        };
        assert_eq!(at("thermistor_open_stage"), stage);
    }
    let end = ticks.len() - 1;
    assert_eq!((table.at(end, "thermistor_open_stage"), table.at(end, "step")), ("2", "Closed"));
    let believed = ["charge_least_pct", "true_charge_least_pct", "true_charge_most_pct", "charge_most_pct"];
    let believed = believed.map(|name| table.at(end, name).parse::<f64>().expect("a number"));
    assert!(believed.is_sorted(), "{believed:?}");
}

#[test]
fn the_events_say_what_happened_where_and_against_which_limit() {
    let folder = folder();
    let ran = call(folder.path(), "export -q case.toml --to - --as csv --events");
    let table = Text::read(ran.out.as_slice());
    assert_eq!(
        table.names,
        ["tick", "time_s", "what", "place", "value", "limit", "unit", "sentence", "values"]
    );
    let story = call(folder.path(), "run case.toml");
    let story = String::from_utf8(story.out).expect("UTF-8");
    let mut confirmed = 0;
    for row in 0..table.rows.len() {
        let at = |name: &str| table.at(row, name);
        let values: serde_json::Value = serde_json::from_str(at("values")).expect("a JSON object");
        if at("what") == "stage_changed"
            && values["fault"] == "thermistor_open"
            && values["stage"] == "Confirmed"
        {
            // It shows a tick after 2 s; its dwell is 200 ms: `bms-core/src/fault/list.rs`.
            assert_eq!((at("time_s"), at("place")), ("2.21", "thermistor 3"));
            confirmed += 1;
        }
        if at("what") == "stage_changed" {
            assert!(story.contains(at("sentence")), "{}", at("sentence"));
        }
        assert_eq!(at("value").is_empty(), at("unit").is_empty());
    }
    assert_eq!(confirmed, 1);
}

/// The fields of a Parquet column as they stand in a CSV file; nothing for what is not there.
fn fields(batch: &RecordBatch, column: usize) -> Vec<String> {
    let column = batch.column(column);
    let field = |row: usize| match column.data_type() {
        _ if column.is_null(row) => String::new(),
        DataType::Float64 => column.as_primitive::<Float64Type>().value(row).to_string(),
        DataType::UInt64 => column.as_primitive::<UInt64Type>().value(row).to_string(),
        DataType::Boolean => column.as_boolean().value(row).to_string(),
        DataType::Utf8 => column.as_string::<i32>().value(row).to_owned(),
        other => panic!("a column of {other}"),
    };
    (0..batch.num_rows()).map(field).collect()
}

#[test]
fn parquet_holds_the_same_and_says_the_units() {
    let folder = folder();
    for to in ["run.csv", "run.parquet"] {
        exported(folder.path(), &format!("export -q case.toml --to {to}"));
    }
    for name in ["run", "run-events"] {
        let open = |ending: &str| {
            File::open(folder.path().join(format!("{name}.{ending}"))).expect("the table is there")
        };
        let text = Text::read(open("csv"));
        let reader = ParquetRecordBatchReaderBuilder::try_new(open("parquet")).expect("a Parquet file");
        let facts =
            reader.metadata().file_metadata().key_value_metadata().cloned().expect("facts of the run");
        let facts: BTreeMap<_, _> =
            facts.into_iter().map(|fact| (fact.key, fact.value.unwrap_or_default())).collect();
        let digest = format!("{:08x}", Case::parse(CASE, "case.toml").expect("the case is sound").digest);
        for (key, value) in [("seed", "5"), ("case_digest", &digest), ("whole", "true"), ("ticks", "400")] {
            assert_eq!(facts[key], value, "{key}");
        }
        assert!(facts["generator"].starts_with("bms-sim ") && facts["title"].contains("\"quoted\""));
        let schema = Arc::clone(reader.schema());
        assert_eq!(schema.metadata()["seed"], "5");
        assert!(schema.fields().iter().map(|field| field.name()).eq(&text.names));
        for field in schema.fields() {
            let unit = field.metadata().get("unit").map(String::as_str);
            let ending = [
                ("_s", "s"),
                ("_V", "V"),
                ("_A", "A"),
                ("_degC", "°C"),
                ("_pct", "%"),
                ("_ohm_per_V", "Ω/V"),
            ];
            let expected =
                ending.iter().rfind(|(ending, _)| field.name().ends_with(ending)).map(|(_, unit)| *unit);
            assert_eq!(unit, expected, "{}", field.name());
            assert!(field.metadata()["description"].len() > 10);
        }
        let batches: Vec<RecordBatch> =
            reader.build().expect("it opens").map(|batch| batch.expect("rows")).collect();
        for (column, name) in text.names.iter().enumerate() {
            let packed: Vec<String> = batches.iter().flat_map(|batch| fields(batch, column)).collect();
            let written: Vec<String> = text.rows.iter().map(|row| row[column].clone()).collect();
            assert_eq!(packed, written, "{name}");
        }
    }
}

/// What the metadata of a CSV file say of its run.
fn fact(folder: &Path, name: &str, fact: &str) -> String {
    let text =
        std::fs::read_to_string(folder.join(format!("{name}.csv-metadata.json"))).expect("they are there");
    let group: serde_json::Value = serde_json::from_str(&text).expect("a JSON document");
    let facts = group["schema:additionalProperty"].as_array().expect("facts of the run");
    let found =
        facts.iter().find(|known| known["schema:name"] == fact).unwrap_or_else(|| panic!("no {fact}"));
    found["schema:value"].as_str().expect("a text").to_owned()
}

/// What the Recommendation asks of the metadata: a table group with its context, tables that are there, columns titled as the first line is,
/// names that are variables of URI templates, built-in datatypes, and values that are of them. Sources: `recording::export::csv`.
#[test]
fn the_metadata_says_what_the_csv_files_hold() {
    let folder = folder();
    exported(folder.path(), "export -q case.toml --to run.csv --every 0.5");
    let text =
        std::fs::read_to_string(folder.path().join("run.csv-metadata.json")).expect("the metadata are there");
    let group: serde_json::Value = serde_json::from_str(&text).expect("a JSON document");
    assert_eq!(group["@context"][0], "http://www.w3.org/ns/csvw");
    assert_eq!(fact(folder.path(), "run", "seed"), "5");
    let tables = group["tables"].as_array().expect("tables");
    let files: Vec<_> = tables.iter().filter_map(|table| table["url"].as_str()).collect();
    assert_eq!(files, ["run.csv", "run-events.csv"]);
    for (file, table) in files.into_iter().zip(tables) {
        let text = Text::read(File::open(folder.path().join(file)).expect("the table is there"));
        let columns = table["tableSchema"]["columns"].as_array().expect("columns");
        assert!(columns.iter().map(|column| &column["titles"]).eq(&text.names));
        for (place, column) in columns.iter().enumerate() {
            let name = column["name"].as_str().expect("a name");
            assert!(
                !name.starts_with('_')
                    && name.chars().all(|letter| letter.is_ascii_alphanumeric() || letter == '_')
            );
            let filled = text.rows.iter().map(|row| row[place].as_str()).filter(|field| !field.is_empty());
            let parts: Vec<&str> = match column["separator"].as_str() {
                Some(separator) => filled.flat_map(|field| field.split(separator)).collect(),
                None => filled.collect(),
            };
            let is_of_it: fn(&str) -> bool = match column["datatype"].as_str().expect("a datatype") {
                "double" => |field| field.parse::<f64>().is_ok_and(f64::is_finite),
                "nonNegativeInteger" => |field| field.parse::<u64>().is_ok(),
                "boolean" => |field| matches!(field, "true" | "false"),
                "string" => |_| true,
                other => panic!("{name}: {other}"),
            };
            assert!(parts.iter().all(|field| is_of_it(field)), "{name}: {parts:?}");
        }
    }
    // One row each half second of four.
    let text = Text::read(File::open(folder.path().join("run.csv")).expect("the table is there"));
    let times: Vec<&str> = (0..text.rows.len()).map(|row| text.at(row, "time_s")).collect();
    assert_eq!(times, ["0", "0.5", "1", "1.5", "2", "2.5", "3", "3.5"]);
}

#[test]
fn what_is_asked_for_is_written_and_nothing_else() {
    let folder = folder();
    exported(folder.path(), "export -q case.toml --to few.csv --every 1 --channels cell_03_*,*_limit_A");
    let text = Text::read(File::open(folder.path().join("few.csv")).expect("the table is there"));
    assert_eq!(text.names, ["tick", "time_s", "charge_limit_A", "discharge_limit_A", "cell_03_V"]);
    assert_eq!(
        names(folder.path()),
        ["case.toml", "few-events.csv", "few.csv", "few.csv-metadata.json"].map(str::to_owned).into()
    );
    let packed = call(folder.path(), "export -q case.toml --to - --as parquet --every 1 --channels tick");
    assert!(packed.code == Some(0) && packed.out.starts_with(b"PAR1") && packed.out.ends_with(b"PAR1"));
    let ran = call(folder.path(), "export case.toml --to some.csv --channels cell_3_V");
    let error = "error: --channels = cell_3_V: names no column; accepted are names of columns, with * for any letters; did you mean cell_03_V?\n";
    assert_eq!((ran.code, ran.err.as_str()), (Some(2), error));
    let ran = call(folder.path(), "export case.toml --to some.txt");
    let error = "error: --to = some.txt: accepted is a name that ends with .csv or .parquet, or --as csv or --as parquet\n";
    assert_eq!((ran.code, ran.err.as_str()), (Some(2), error));
    let ran = call(folder.path(), "export case.toml --to nowhere/some.csv");
    assert!(ran.code == Some(3) && ran.err.starts_with("error: nowhere/some.csv: "), "{}", ran.err);
    assert_eq!(names(folder.path()).len(), 4);
}

/// Each of the three files is looked at before anything is played.
#[test]
fn no_file_is_written_over_unless_asked_for() {
    for mine in ["run.csv", "run-events.csv", "run.csv-metadata.json"] {
        let folder = folder();
        std::fs::write(folder.path().join(mine), "dear diary").expect("a file can be written");
        let ran = call(folder.path(), "export case.toml --to run.csv");
        let error =
            format!("error: {mine}: exists already; accepted is a new name, or --force to write over it\n");
        assert_eq!((ran.code, ran.err), (Some(2), error));
        assert_eq!(names(folder.path()).len(), 2);
        exported(folder.path(), "export -q case.toml --to run.csv --force --every 1");
        assert_eq!(names(folder.path()).len(), 4);
    }
}

/// A recording, whole or cut, gives the same rows as its case, as far as it goes.
#[test]
fn a_recording_is_exported_as_far_as_it_goes() {
    let folder = folder();
    let path = folder.path();
    assert_eq!(call(path, "run -q case.toml --record it.mcap").code, Some(0));
    for line in ["export -q case.toml --to case.csv", "export -q it.mcap --to whole.csv"] {
        exported(path, line);
    }
    let read = |name: &str| std::fs::read_to_string(path.join(name)).expect("the table is there");
    assert_eq!(read("case.csv"), read("whole.csv"));
    let whole = std::fs::read(path.join("it.mcap")).expect("it is there");
    std::fs::write(path.join("cut.mcap"), &whole[..whole.len() / 2]).expect("it can be written");
    let ran = call(path, "export cut.mcap --to cut.csv");
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(
        ran.err.starts_with("The recording goes to ") && ran.err.contains("the file was cut short there."),
        "{}",
        ran.err
    );
    let cut = read("cut.csv");
    assert!(
        read("case.csv").starts_with(&cut) && cut.lines().count() > 100 && cut.len() < read("case.csv").len()
    );
    assert_eq!(fact(path, "cut", "whole"), "false");
    assert_eq!(fact(path, "whole", "whole"), "true");
}

/// Interrupted while it writes: nothing is there that was not there before.
#[cfg(unix)]
#[test]
fn an_interruption_leaves_nothing_half_written() {
    let folder = folder();
    std::fs::write(folder.path().join("long.toml"), CASE.replace("duration_s = 4", "duration_s = 300"))
        .expect("a case can be written");
    let mut command = Command::new(env!("CARGO_BIN_EXE_bms-sim"));
    command.args(["export", "-q", "long.toml", "--to", "long.csv"]).current_dir(folder.path());
    let mut child = command.stdin(Stdio::null()).stderr(Stdio::piped()).spawn().expect("the program starts");
    while names(folder.path()).len() < 5 {
        assert!(child.try_wait().expect("it can be asked").is_none(), "it is over");
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    // Its files are begun; now it writes rows, and listens.
    std::thread::sleep(std::time::Duration::from_millis(200));
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(sent.expect("a signal can be sent").success());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(130));
    assert_eq!(String::from_utf8_lossy(&output.stderr), "interrupted: nothing was written\n");
    assert_eq!(names(folder.path()).len(), 2);
}
