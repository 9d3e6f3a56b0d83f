use super::*;
use crate::defect::Kind;
use crate::explain::contrast::Contrast;
use crate::explain::contrast::faults::BetweenFaults;
use crate::recording::play;
use bms_core::Fault;
use serde_json::Value;
use std::sync::Arc;

/// The document of a shipped case, as a program reads it.
fn of(text: &str) -> Value {
    let case = Arc::new(Case::parse(text, "case.toml").unwrap());
    let recording = play::<96, 16>(&case, |_| true).unwrap();
    let account = Account::of(&recording).unwrap();
    let document = document(&recording, &account, false).with_distances(&[], &recording.case);
    let printed = serde_json::to_string(&document).unwrap();
    serde_json::from_str(&printed).unwrap()
}

fn kinds(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|entry| entry["kind"].as_str().unwrap()).collect()
}

/// Figures of the case file come back under its keys, and the chain has its links in order of time.
#[test]
fn a_resistive_cell_is_told_from_its_defect_to_open_contactors() {
    let text = include_str!("../../../../examples/cases/resistive-cell.toml");
    let document = of(text);
    let written: Value = serde_json::to_value(toml::from_str::<toml::Table>(text).unwrap()).unwrap();
    let (defect, shown) = (&written["defect"][0], &document["defects"][0]);
    assert_eq!((&shown["kind"], &shown["cell"]), (&defect["kind"], &defect["cell"]));
    assert_eq!(shown["milliohms"].as_f64(), defect["milliohms"].as_f64());
    let onset = defect["at_s"].as_f64().unwrap();
    assert_eq!(shown["onset_seconds"].as_f64(), Some(onset));

    let confirmed = &document["confirmed"][0];
    assert_eq!(confirmed["values"]["fault"], "cell_resistance_high");
    let chain = confirmed["chain"].as_array().unwrap();
    let times: Vec<f64> = chain.iter().map(|link| link["seconds"].as_f64().unwrap()).collect();
    assert!(times.is_sorted(), "{times:?}");
    let links = kinds(&confirmed["chain"]);
    for link in ["defect_began", "frame_departed", "confirmed", "reacted", "contactors_open"] {
        assert!(links.contains(&link), "{link} is missing of {links:?}");
    }
    let opened = chain.iter().find(|link| link["kind"] == "contactors_open").unwrap();
    let took = opened["seconds"].as_f64().unwrap() - onset;
    assert!((document["onset_to_open_seconds"].as_f64().unwrap() - took).abs() < 1e-9);

    let steps = document["load_steps"].as_array().unwrap();
    assert_eq!(steps.len(), 3);
    for step in steps {
        let values = &step["values"];
        assert_eq!(values["cell"], shown["cell"]);
        // Ohm's law: the voltage that moved by the current that moved it.
        let by_hand = values["moved_volts"].as_f64().unwrap() / values["by_amps"].as_f64().unwrap() * 1_000.0;
        let observed = values["observed_milliohms"].as_f64().unwrap();
        assert!((by_hand / observed - 1.0).abs() < 0.02, "{by_hand} and {observed}");
    }
}

#[test]
fn a_hazard_says_what_when_and_how_long_after_the_onset() {
    let document = of(include_str!("../../../../examples/cases/loose-joint.toml"));
    assert_eq!(document["critical"], true);
    let (hazard, defect) = (&document["hazard"], &document["defects"][0]);
    let (at, onset) = (hazard["seconds"].as_f64().unwrap(), defect["onset_seconds"].as_f64().unwrap());
    assert!((hazard["after_onset_seconds"].as_f64().unwrap() - (at - onset)).abs() < 1e-9);
    assert!(hazard["values"]["bound"].is_string() && hazard["sentence"].is_string());
    assert!(document["cautions"].as_str().unwrap().starts_with("Cautions: "));
}

/// Margins are in the unit of value and limit and as a share of the limit, in rising order; no Confirmed fault is among them.
#[test]
fn the_nearest_faults_have_their_margins_in_order() {
    let document = of(include_str!("../../../../examples/cases/open-thermistor.toml"));
    let nearest = document["nearest"].as_array().unwrap();
    assert!(nearest.len() > 5);
    let shares: Vec<f64> =
        nearest.iter().filter_map(|near| near["values"]["margin_of_limit"].as_f64()).collect();
    assert!(shares.is_sorted() && shares.len() > 5, "{shares:?}");
    let cell = nearest.iter().find(|near| near["values"]["fault"] == "cell_over_voltage").unwrap();
    let [observed, limit, margin] =
        ["observed_volts", "limit_volts", "margin_volts"].map(|key| cell["values"][key].as_f64().unwrap());
    assert!((limit - observed - margin).abs() < 1e-9 && margin > 0.0);
    for confirmed in document["confirmed"].as_array().unwrap() {
        let fault = &confirmed["values"]["fault"];
        assert!(nearest.iter().all(|near| near["values"]["fault"] != *fault), "{fault}");
    }
}

/// The keys that the table with this heading describes, and others.
fn described(heading: &str, others: &[&'static str]) -> Vec<&'static str> {
    let head = include_str!("../document.rs").lines().skip_while(move |line| !line.contains(heading));
    let rows = head.take_while(|line| line.starts_with("//! |"));
    let first = rows.filter_map(|line| line.strip_prefix("//! | `")?.split_once('|')).map(|(keys, _)| keys);
    let mut described: Vec<&str> = first
        .filter(|keys| !keys.contains(" of a "))
        .flat_map(|keys| keys.split(['`', ',', ' ']))
        .filter(|key| !key.is_empty())
        .collect();
    described.extend(others);
    described.sort_unstable();
    described
}

/// The keys of an object.
fn named(document: &Value) -> Vec<&str> {
    let mut keys: Vec<&str> = document.as_object().unwrap().keys().map(String::as_str).collect();
    keys.sort_unstable();
    keys
}

/// The table at the module's head names every key, and no key that is not there.
#[test]
fn every_key_is_described() {
    let document = of(include_str!("../../../../examples/cases/welded-positive.toml"));
    assert_eq!(described("| key | holds |", &[]), named(&document));
}

/// The same for what separates two: each has `schema`, `generator`, `case`, `trials` and `cautions` besides.
#[test]
fn every_key_of_what_separates_two_is_described() {
    let besides = ["schema", "generator", "case", "trials", "cautions"];
    let text = "schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"trainer\"\nseed = 1\nduration_s = 2\n[start]\ncharge_percent = 60\n\
                celsius = 18\n[[defect]]\nkind = \"thermistor_open\"\nthermistor = 3\nat_s = 1\n";
    let case = Arc::new(Case::parse(text, "wire.toml").unwrap());
    let recording = play::<16, 8>(&case, |_| true).unwrap();
    let account = Account::of(&recording).unwrap();

    let faults = [Fault::ThermistorOpen, Fault::ThermistorShorted];
    let found = BetweenFaults::of(&recording, &account, faults).unwrap();
    let shown = serde_json::to_value(between_faults(&found, &case)).unwrap();
    assert_eq!(described("| of two faults | holds |", &besides), named(&shown));
    let looks = &shown["apart"][0]["looks"];
    assert_eq!(looks[0]["values"]["thermistor"], 3);
    assert_eq!(
        (&looks[0]["values"]["fault"], &looks[1]["values"]["fault"]),
        (&"thermistor_open".into(), &"thermistor_shorted".into())
    );

    let instead = Defect::usual(Kind::ThermistorOpen, 3, 0.0);
    let contrast = Contrast::between::<16, 8>(&case, Some(0), instead).unwrap();
    let shown = serde_json::to_value(between_defects(&contrast, &case)).unwrap();
    assert_eq!(described("| of two defects | holds |", &besides), named(&shown));
    let first = &shown["differences"][0];
    assert_eq!(first["kind"], "thermistor");
    assert!((1.0..1.03).contains(&first["seconds"].as_f64().unwrap()), "{first}");
    assert_eq!((&shown["here"]["thermistor"], &shown["there"]["thermistor"]), (&3.into(), &4.into()));
}
