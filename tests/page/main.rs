//! The page as a browser meets it, and as somebody does who means it harm.

mod browser;
mod client;
mod contrast;
mod hostile;

use bms_sim::explain::stop::StopShown;
use bms_sim::recording::{self, Recording};
use client::{Server, Socket, case};
use serde_json::{Value, json};
use std::sync::{Arc, LazyLock};
use std::time::{Duration, Instant};

/// One server for all that do not hurt it.
static SERVER: LazyLock<Server> = LazyLock::new(|| Server::of("welded-positive.toml"));

fn origin(server: &Server) -> String {
    format!("http://{}", server.host)
}

/// What the page shows of a tick is what the library says of it, whether it is come to by steps, jumps or a change.
#[test]
fn the_page_shows_what_the_library_says() {
    let recording: Arc<Recording<96, 16>> =
        Arc::new(recording::play(&Arc::new(case("open-thermistor.toml")), |_| true).unwrap());
    let session = SERVER.session();
    SERVER.act(&session, &json!({ "do": "load", "case": "open-thermistor.toml" }));
    let shown = |view: &Value, recording: &Recording<96, 16>, branch: &str| {
        let played = view["played"].as_u64().unwrap();
        let stop = recording.stop(played - 1);
        let library = serde_json::to_value(StopShown::of(&stop, &recording.case, branch)).unwrap();
        assert_eq!(view["stop"], library, "tick {}", played - 1);
    };
    for command in [
        json!({ "do": "look" }),
        json!({ "do": "step", "ticks": 250 }),
        json!({ "do": "next", "what": "stage" }),
        json!({ "do": "step", "ticks": -1 }),
        json!({ "do": "to", "seconds": 40 }),
        json!({ "do": "next", "what": "contactors", "back": true }),
    ] {
        shown(&SERVER.act(&session, &command), &recording, "original");
    }
    let change = json!({ "do": "change", "change": "inject", "kind": "loose_joint_tap_above", "place": 37, "severity": 8 });
    let view = SERVER.act(&session, &change);
    let defect = bms_sim::defect::Defect {
        severity: 8.0,
        ..bms_sim::defect::Defect::usual(bms_sim::defect::Kind::LooseJointTapAbove, 36, 0.0)
    };
    let tick = view["played"].as_u64().unwrap() - 1;
    let branch = recording.branch(tick, Some(&bms_sim::case::Change::Defect(defect)), |_| true).unwrap();
    let later = SERVER.act(&session, &json!({ "do": "step", "ticks": 500 }));
    shown(&later, &branch, "branch-1");
    let back = SERVER.act(&session, &json!({ "do": "undo" }));
    assert_eq!((back["played"].as_u64(), back["branch"].as_str()), (Some(tick), Some("original")));
    shown(&back, &recording, "original");
}

/// An address restores what was shown, changes and all.
#[test]
fn an_address_restores_a_view() {
    let session = SERVER.session();
    for command in [
        json!({ "do": "to", "seconds": 2 }),
        json!({ "do": "change", "change": "inject", "kind": "cell_leak", "place": 5, "severity": 20 }),
        json!({ "do": "step", "ticks": 100 }),
        json!({ "do": "change", "change": "ask", "ask": "open" }),
    ] {
        SERVER.act(&session, &command);
    }
    let view = SERVER.act(&session, &json!({ "do": "step", "ticks": 30 }));
    let other = SERVER.session();
    let address = json!({ "do": "load", "case": view["case"], "seed": view["seed"], "changes": view["changes"], "played": view["played"] });
    assert_eq!(SERVER.act(&other, &address)["kind"], "story");
    let restored = SERVER.act(&other, &json!({ "do": "look" }));
    assert_eq!(restored, view);
}

/// Time runs by the clock, so many times as fast, and stands when it is told to or when nobody looks.
#[test]
fn time_runs_only_while_somebody_looks() {
    let mut socket = Socket::open(&SERVER, "/api/live", Some(&origin(&SERVER))).ok().unwrap();
    assert!(socket.next().unwrap().contains("session"));
    let began = socket.ask(&json!({ "do": "play", "speed": 10 }))["seconds"].as_f64().unwrap();
    let clock = Instant::now();
    let mut view = Value::Null;
    while clock.elapsed() < Duration::from_millis(500) {
        view = socket.ask(&json!({ "do": "frame" }));
        std::thread::sleep(Duration::from_millis(10));
    }
    let (ran, passed) = (view["seconds"].as_f64().unwrap() - began, clock.elapsed().as_secs_f64());
    assert!(ran <= 10.0 * passed && ran > 10.0 * 0.3, "{ran} s in {passed} s");
    // Nobody looks for a second: a quarter of it passes.
    let before = socket.ask(&json!({ "do": "frame" }))["seconds"].as_f64().unwrap();
    std::thread::sleep(Duration::from_secs(1));
    let after = socket.ask(&json!({ "do": "frame" }))["seconds"].as_f64().unwrap();
    assert!(after - before <= 2.6, "{before} to {after}");
    socket.ask(&json!({ "do": "pause" }));
    let stands = socket.ask(&json!({ "do": "frame" }));
    assert_eq!(
        (stands["speed"].clone(), stands["seconds"].clone()),
        (Value::Null, socket.ask(&json!({ "do": "frame" }))["seconds"].clone())
    );
}

#[test]
fn what_is_refused_says_what_is_accepted() {
    let session = SERVER.session();
    for (command, said) in [
        (
            json!({ "do": "change", "change": "inject", "kind": "cell_leek", "place": 5 }),
            "did you mean cell_leak?",
        ),
        (
            json!({ "do": "change", "change": "inject", "kind": "cell_leak", "place": 97 }),
            "accepted is 1 to 96",
        ),
        (
            json!({ "do": "change", "change": "inject", "kind": "cell_leak", "place": 5, "severity": 1e9 }),
            "0.05 to 10000",
        ),
        (
            json!({ "do": "change", "change": "inject", "kind": "contactor_welded", "place": "middle" }),
            "accepted are negative, precharge, positive",
        ),
        (json!({ "do": "change", "change": "mend", "defect": 0 }), "accepted is a number from 1"),
        (
            json!({ "do": "change", "change": "limit", "fault": "cell_over_voltage", "trip": 99.0 }),
            "accepted is",
        ),
        (json!({ "do": "play", "speed": 1000 }), "accepted is 0.1 to 100"),
        (json!({ "do": "go", "branch": "branch-9" }), "not known here"),
        (json!({ "do": "load", "case": "../../Cargo.toml" }), "there is none of this name"),
        (json!({ "do": "load", "case": "loose-joins.toml" }), "did you mean loose-joint.toml?"),
        (json!({ "do": "load", "text": "schema = 1" }), "missing"),
        (json!({ "do": "fly" }), "unknown variant"),
        (json!({ "do": "look", "more": 1 }), "unknown field"),
        (json!([1, 2]), "command:"),
    ] {
        let (status, body) = SERVER.post(&session, &command.to_string(), "");
        assert_eq!(status, 422, "{command}: {body}");
        let answer: Value = serde_json::from_str(&body).unwrap();
        assert!(
            answer["kind"] == "refused" && answer["said"].as_str().unwrap().contains(said),
            "{command}: {body}"
        );
    }
}

/// The supply goes for a while: an act as any other, which opens the contactors without being asked.
#[test]
fn the_supply_can_be_lost() {
    let session = SERVER.session();
    SERVER.act(&session, &json!({ "do": "load", "case": "healthy-freezer.toml" }));
    SERVER.act(&session, &json!({ "do": "to", "seconds": 8 }));
    let before = SERVER.act(&session, &json!({ "do": "look" }));
    assert_eq!(before["stop"]["step"], "Closed", "{before}");
    let lose =
        json!({ "do": "change", "change": "ask", "ask": "lose-power", "for_seconds": 0.5, "record": "torn" });
    SERVER.act(&session, &lose);
    let after = SERVER.act(&session, &json!({ "do": "step", "ticks": 1 }));
    assert_ne!(after["stop"]["step"], "Closed");
    assert_eq!(after["changes"][0]["change"]["record"], "torn", "the address has it");
    for (wrong, said) in [
        (
            json!({ "do": "change", "change": "ask", "ask": "lose-power", "for_seconds": 0 }),
            "accepted is 0.01 to 86400",
        ),
        (
            json!({ "do": "change", "change": "ask", "ask": "lose-power", "record": "keep" }),
            "did you mean kept?",
        ),
    ] {
        let (status, body) = SERVER.post(&session, &wrong.to_string(), "");
        assert!(status == 422 && body.contains(said), "{body}");
    }
}

/// In a branch, before it began: a defect of it is still to come, and can be ended before it does.
#[test]
fn a_defect_that_is_still_to_come_is_not_over() {
    let session = SERVER.session();
    SERVER.act(&session, &json!({ "do": "to", "seconds": 2 }));
    SERVER.act(&session, &json!({ "do": "change", "change": "inject", "kind": "cell_leak", "place": 5 }));
    let before = SERVER.act(&session, &json!({ "do": "to", "seconds": 1 }));
    let shown = |view: &Value| {
        let defect = view["defects"].as_array().unwrap().last().unwrap().clone();
        (defect["present"].clone(), defect["over"].clone())
    };
    assert_eq!(shown(&before), (json!(false), json!(false)), "{before}");
    let after = SERVER.act(&session, &json!({ "do": "to", "seconds": 3 }));
    assert_eq!(shown(&after), (json!(true), json!(false)), "{after}");
}

/// A disconnect is pulled and put in again, also by a class that may not know what is wrong.
#[test]
fn disconnects_are_acts() {
    let teacher = SERVER.session();
    SERVER.act(&teacher, &json!({ "do": "load", "case": "healthy-freezer.toml" }));
    let word = SERVER.act(&teacher, &json!({ "do": "hide" }))["word"].clone();
    let class = SERVER.session();
    SERVER.act(&class, &json!({ "do": "load", "hidden": word }));
    let pull = |out: bool| json!({ "do": "change", "change": "disconnect", "which": "service", "out": out });
    let refused = |command: &Value, said: &str| {
        let (status, body) = SERVER.post(&class, &command.to_string(), "");
        assert!(status == 422 && body.contains(said), "{body}");
    };
    refused(&pull(false), "it is in already");
    SERVER.act(&class, &pull(true));
    refused(&pull(true), "it is out already");
    let made = |ticks: u64| {
        let view = SERVER.act(&class, &json!({ "do": "step", "ticks": ticks }));
        view["around"]["service_disconnect_made"].as_bool().unwrap()
    };
    assert!(!made(5), "its contact says so");
    SERVER.act(&class, &pull(false));
    assert!(made(5));
    let other = json!({ "do": "change", "change": "disconnect", "which": "servce", "out": true });
    refused(&other, "did you mean service?");
}

/// Of a hidden case nothing leaves the server that only the world knows, whatever is asked; until somebody says what is wrong.
#[test]
fn a_hidden_case_tells_nothing() {
    let teacher = SERVER.session();
    SERVER.act(&teacher, &json!({ "do": "load", "case": "open-thermistor.toml" }));
    SERVER.act(&teacher, &json!({ "do": "to", "seconds": 3 }));
    let change = json!({ "do": "change", "change": "inject", "kind": "loose_joint_tap_above", "place": 37, "severity": 8 });
    SERVER.act(&teacher, &change);
    let word = SERVER.act(&teacher, &json!({ "do": "hide" }))["word"].clone();
    let class = SERVER.session();
    let mut heard = String::new();
    let load = json!({ "do": "load", "hidden": word });
    for command in [
        load.clone(),
        json!({ "do": "story" }),
        json!({ "do": "look" }),
        json!({ "do": "to", "seconds": 60 }),
        json!({ "do": "next", "what": "event", "back": true }),
        json!({ "do": "show", "what": "evidence" }),
        json!({ "do": "show", "what": "cells" }),
        json!({ "do": "series" }),
        json!({ "do": "meter", "red": "L+", "black": "L-" }),
        json!({ "do": "change", "change": "duty", "work": "travel" }),
        json!({ "do": "change", "change": "repair", "kind": "mend_cooling" }),
        json!({ "do": "series", "between": [0, 80] }),
        json!({ "do": "undo" }),
    ] {
        heard += &SERVER.act(&class, &command).to_string();
    }
    for command in [
        json!({ "do": "why" }),
        json!({ "do": "series", "twin": true }),
        json!({ "do": "compare", "one": "original", "other": "branch-1" }),
        json!({ "do": "show", "what": "defects" }),
        json!({ "do": "change", "change": "mend", "defect": 1 }),
        json!({ "do": "change", "change": "inject", "kind": "cell_leak", "place": 5 }),
        json!({ "do": "hide" }),
    ] {
        let (status, body) = SERVER.post(&class, &command.to_string(), "");
        assert_eq!(status, 422, "{command}: {body}");
        heard += &body;
    }
    for path in ["keep/case.toml", "keep/recording.mcap", "keep/ticks.csv", "keep/events.csv", "distances"] {
        let (status, body) = SERVER.get(&format!("{class}/{path}"));
        assert_eq!(status, 422, "{path}: {body}");
        heard += &body;
    }
    heard += &SERVER.get(&format!("{class}/lists")).1.replace(['\n'], "");
    let story = case("open-thermistor.toml");
    // Lists of all kinds name every defect; what must not be told is which, where, when, and what the world knows.
    for secret in [
        "true_",
        "truth",
        "DEFECT",
        "in truth",
        "breach",
        "onset_seconds",
        "joint 37",
        "defect_began",
        &story.title,
        &story.story,
        &story.name,
    ] {
        let found = heard
            .find(secret)
            .map(|at| heard.get(at.saturating_sub(80)..at + 80).unwrap_or_default().to_owned());
        assert_eq!(found, None, "{secret}");
    }
    // No event that may be seen lies in the tick of the onset, so that stepping by events does not find it either.
    SERVER.act(&class, &load);
    let mut stops = Vec::new();
    while let (200, body) = SERVER.post(&class, &json!({ "do": "next", "what": "event" }).to_string(), "") {
        stops.push(serde_json::from_str::<Value>(&body).unwrap()["stop"]["seconds"].as_f64().unwrap());
    }
    assert!(stops.len() > 5 && !stops.contains(&3.0), "{stops:?}");
    let answer = SERVER.act(
        &class,
        &json!({ "do": "diagnose", "kind": "loose_joint_tap_above", "place": 37, "dangerous": true }),
    );
    assert!(answer["said"][0].as_str().unwrap().contains("That is it"), "{answer}");
    let shown = SERVER.act(&class, &json!({ "do": "look" }));
    assert_eq!((shown["hidden"].clone(), shown["defects"].as_array().unwrap().len()), (json!(false), 2));
}

/// Dead is proven by three proofs at each pair; a step left out is named.
#[test]
fn dead_is_proven_step_by_step() {
    let session = SERVER.session();
    SERVER.act(&session, &json!({ "do": "load", "case": "healthy-freezer.toml" }));
    SERVER.act(&session, &json!({ "do": "to", "seconds": 8 }));
    let dead = |session: &str| SERVER.act(session, &json!({ "do": "dead" }));
    let meter =
        |red: &str, black: &str| SERVER.act(&session, &json!({ "do": "meter", "red": red, "black": black }));
    let live = meter("L+", "L-");
    assert!(
        live["volts"].as_f64().unwrap() > 250.0 && live["said"].as_str().unwrap().contains("live"),
        "{live}"
    );
    let left_out = dead(&session);
    let said = left_out["said"].to_string();
    for part in [
        "not open",
        "on a known source before",
        "L+ to chassis was not measured",
        "L− to chassis was not measured",
        "after the last reading",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    SERVER.act(&session, &json!({ "do": "change", "change": "ask", "ask": "open" }));
    SERVER.act(&session, &json!({ "do": "step", "ticks": 100 }));
    for (red, black) in [("L+", "L-"), ("L+", "chassis"), ("L-", "chassis")] {
        meter(red, black);
    }
    assert!(
        dead(&session)["said"].to_string().contains("too early")
            || dead(&session)["said"].to_string().contains("not dead")
    );
    SERVER.act(&session, &json!({ "do": "step", "ticks": 3_000 }));
    SERVER.act(&session, &json!({ "do": "change", "change": "duty", "work": "park" }));
    SERVER.act(&session, &json!({ "do": "meter" }));
    for (red, black) in [("L+", "L-"), ("L+", "chassis"), ("chassis", "L-")] {
        assert!(meter(red, black)["volts"].as_f64().unwrap().abs() < 60.0);
    }
    assert!(dead(&session)["said"].to_string().contains("after the last reading"));
    SERVER.act(&session, &json!({ "do": "meter" }));
    let proven = dead(&session);
    assert_eq!(proven["dead"], true, "{proven}");
    // The pack itself is as live as ever.
    assert!(meter("B+", "B-")["volts"].as_f64().unwrap() > 250.0);
}

/// The bench against the closed form: with `k = R_d ÷ (R + R_d)` to 63.2 % of the source after −τ·ln(1 − 0.632 ÷ k), τ = k·R·C, and
/// the heat of the resistor as the integral of that curve; and a pair that can never finish is said at once.
#[test]
fn the_bench_follows_the_law_of_the_capacitor() {
    let start = |parts: Value| {
        let asking = json!({ "pack": "crane", "parts": parts });
        let (status, body) = SERVER.post("/api/bench", &asking.to_string(), "");
        assert_eq!(status, 200, "{body}");
        serde_json::from_str::<Value>(&body).unwrap()
    };
    let numbers = |of: &Value, key: &str| -> Vec<f64> {
        of[key].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
    };
    for (ohms, microfarads, down) in
        [(50.0, 1_000.0, 2_500.0), (80.0, 1_000.0, 2_500.0), (50.0, 1_500.0, 1_700.0)]
    {
        let parts =
            json!({ "precharge_ohms": ohms, "link_microfarads": microfarads, "bleed_down_ohms": down });
        let start = start(parts);
        let (ms, link, pack) =
            (numbers(&start, "ms"), numbers(&start, "link_volts"), start["pack_volts"].as_f64().unwrap());
        let rise = ms.iter().zip(&link).find(|(_, volts)| **volts > 5.0).unwrap().0 - 2.0;
        let reached = ms.iter().zip(&link).find(|(_, volts)| **volts >= 0.632 * pack).unwrap().0 - rise;
        let share = down / (ohms + down);
        let tau = share * ohms * microfarads / 1_000.0;
        let closed = -tau * (1.0_f64 - 0.632 / share).ln();
        assert!((reached - closed).abs() < 0.03 * closed + 4.0, "{reached} ms of {closed} ms");
        // The integral of (V − v)² ÷ R over four time constants; the rest is a hundredth.
        let rest = 1.0 - share;
        let squares = 4.0 * rest * rest + 2.0 * rest * share + 0.5 * share * share;
        let (joules, whole) =
            (start["resistor_joules"].as_f64().unwrap(), pack * pack / ohms * tau / 1_000.0 * squares);
        assert!((joules - whole).abs() < 0.04 * whole, "{joules} J of {whole} J");
        assert!(
            start["possible"] == true && start["ends"].as_str().unwrap().contains("closed"),
            "{}",
            start["ends"]
        );
        // Said as it is known.
        assert!(start["heat"].as_str().unwrap().contains(&format!("{joules:.1} J")), "{}", start["heat"]);
        assert!(start["checks"].as_array().unwrap().len() > 4);
    }
    // 200 Ω against 2 kΩ end 9 % below the pack, where 5 % are allowed.
    let never =
        start(json!({ "precharge_ohms": 200.0, "link_microfarads": 1_000.0, "bleed_down_ohms": 2_000.0 }));
    assert!(never["at_once"].as_str().unwrap().contains("can never finish"), "{never}");
    assert_eq!(
        (&never["possible"], never["ms"].as_array().unwrap().len()),
        (&json!(false), 0),
        "nothing is switched"
    );
    for wrong in [
        json!({}),
        json!({ "pack": "crane", "parts": { "precharge_ohms": -1.0, "link_microfarads": 1_000.0, "bleed_down_ohms": 2_000.0 } }),
    ] {
        assert_eq!(SERVER.post("/api/bench", &wrong.to_string(), "").0, 422);
    }
}

/// What somebody takes away is the branch: the case is read again and is played as it was.
#[test]
fn a_branch_is_taken_away_as_files() {
    let session = SERVER.session();
    SERVER.act(&session, &json!({ "do": "to", "seconds": 2 }));
    let change =
        json!({ "do": "change", "change": "inject", "kind": "cell_leak", "place": 5, "severity": 20 });
    let view = SERVER.act(&session, &change);
    let (status, text) = SERVER.get(&format!("{session}/keep/case.toml"));
    assert_eq!(status, 200, "{text}");
    let other = SERVER.session();
    SERVER.act(&other, &json!({ "do": "load", "text": text }));
    let again = SERVER.act(&other, &json!({ "do": "to", "played": view["played"] }));
    let (mut one, mut two) = (again["stop"].clone(), view["stop"].clone());
    (one["branch"], two["branch"]) = (Value::Null, Value::Null);
    assert_eq!(one, two);
    let (status, ticks) = SERVER.get(&format!("{session}/keep/ticks.csv"));
    assert!(status == 200 && ticks.starts_with("tick,time_s") && ticks.lines().count() > 100, "{status}");
    let (status, events) = SERVER.get(&format!("{session}/keep/events.csv"));
    assert!(status == 200 && events.contains("leak across a cell"), "{status}");
    assert_eq!(SERVER.get(&format!("{session}/keep/recording.mcap")).0, 200);
    for wrong in ["", "passwd", "..%2f..%2fcase.toml"] {
        assert_eq!(SERVER.get(&format!("{session}/keep/{wrong}")).0, 404, "{wrong}");
    }
}

/// A repair in mid-story is a branch as any change, and is restored with the others.
#[test]
fn a_repair_takes_the_defect_with_the_part() {
    let session = SERVER.session();
    SERVER.act(&session, &json!({ "do": "load", "case": "open-thermistor.toml" }));
    SERVER.act(&session, &json!({ "do": "to", "seconds": 60 }));
    let before = SERVER.act(&session, &json!({ "do": "look" }));
    let place = case("open-thermistor.toml").defects[0].place + 1;
    assert_eq!(before["defects"][0]["present"], true, "{before}");
    let repair = json!({ "do": "change", "change": "repair", "kind": "replace_thermistor", "place": place });
    let after = SERVER.act(&session, &repair);
    assert!(after["branches"][1]["said"].as_str().unwrap().contains("REPAIR"), "{after}");
    let later = SERVER.act(&session, &json!({ "do": "step", "ticks": 100 }));
    assert_eq!(
        (later["defects"][0]["present"].clone(), later["defects"][0]["over"].clone()),
        (json!(false), json!(true))
    );
    assert!(later["stop"]["thermistors_celsius"][place - 1].is_number());
}

/// Tabs do not disturb each other; one that was cut off goes on in its session.
#[test]
fn each_tab_has_a_session_of_its_own() {
    let open = |path: &str| Socket::open(&SERVER, path, Some(&origin(&SERVER))).ok().unwrap();
    let (mut one, mut other) = (open("/api/live"), open("/api/live"));
    let name =
        serde_json::from_str::<Value>(&one.next().unwrap()).unwrap()["name"].as_str().unwrap().to_owned();
    other.next();
    let far = one.ask(&json!({ "do": "to", "seconds": 5 }));
    assert_eq!(other.ask(&json!({ "do": "look" }))["played"], 1);
    drop(one);
    let mut again = open(&format!("/api/live?session={name}"));
    again.next();
    assert_eq!(again.ask(&json!({ "do": "look" }))["played"], far["played"]);
}
