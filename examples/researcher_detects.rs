//! You will see how surely a resistive cell is found: probability of detection against severity and the false alarms of healthy packs,
//! each with its 95 % interval (Clopper–Pearson), and the limit held as a property over random packs, charges and temperatures.
#![allow(clippy::print_stdout, reason = "an example talks")]

use bms_core::Fault;
use bms_sim::case::Case;
use bms_sim::recording;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestCaseError, TestRunner};
use statrs::distribution::{Beta, ContinuousCDF};
use std::error::Error;
use std::sync::Arc;

/// Runs at each severity.
const RUNS: u32 = 20;

/// Whether a short shift with five hoists on the training bench confirms a resistive cell; cell 5 has `milliohms` more, if any.
fn found(seed: u32, milliohms: f64, charge_percent: u32, celsius: i32) -> Result<bool, String> {
    let defect = if milliohms > 0.0 {
        format!("[[defect]]\nkind = \"added_resistance\"\ncell = 5\nmilliohms = {milliohms:.2}\n")
    } else {
        String::new()
    };
    let text = format!(
        "schema = 1\ntitle = \"A resistive cell\"\nstory = \"One of many.\"\npack = \"trainer\"\nseed = {seed}\nduration_s = 26\n\
         [start]\ncharge_percent = {charge_percent}\ncelsius = {celsius}\n\
         [[act]]\nat_s = 0.5\nask = \"close\"\n\
         [[duty]]\ndo = \"park\"\nfor_s = 4\n\
         [[duty]]\ntimes = 5\nphases = [{{ do = \"hoist\", for_s = 2 }}, {{ do = \"hold\", for_s = 2 }}]\n{defect}"
    );
    let case = Case::parse(&text, "survey").map_err(|error| error.to_string())?;
    let played = recording::play::<16, 8>(&Arc::new(case), |_| true).map_err(|error| error.to_string())?;
    Ok(played.confirmed().iter().any(|(_, seen)| seen.fault == Fault::CellResistanceHigh))
}

/// The exact 95 % interval of a probability of which `hits` of `runs` were seen (Clopper and Pearson, Biometrika 26, 1934).
fn interval(hits: u32, runs: u32) -> Result<(f64, f64), Box<dyn Error>> {
    let (x, n) = (f64::from(hits), f64::from(runs));
    let low = if hits == 0 { 0.0 } else { Beta::new(x, n - x + 1.0)?.inverse_cdf(0.025) };
    let high = if hits == runs { 1.0 } else { Beta::new(x + 1.0, n - x)?.inverse_cdf(0.975) };
    Ok((low, high))
}

fn line(name: &str, hits: u32, runs: u32) -> Result<(), Box<dyn Error>> {
    let (low, high) = interval(hits, runs)?;
    println!("{name}  {hits:>3} of {runs:>3}   {low:.3} to {high:.3}");
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    // Printed for 10 of 100 by general statistics libraries: 0.0490 to 0.1762.
    let (low, high) = interval(10, 100)?;
    if (low - 0.049_005).abs() > 1e-5 || (high - 0.176_223).abs() > 1e-5 {
        return Err(format!("the interval of 10 in 100 came out as {low} to {high}").into());
    }
    println!("added resistance  found       95 % interval");
    let mut curve = Vec::new();
    for tenths in [60, 82, 83, 84, 85, 86, 110] {
        let milliohms = f64::from(tenths) / 10.0;
        let mut hits = 0;
        for seed in 0..RUNS {
            hits += u32::from(found(seed, milliohms, 60, 25)?);
        }
        line(&format!("{milliohms:>12.1} mΩ"), hits, RUNS)?;
        curve.push(hits);
    }
    let mut alarms = 0;
    for seed in 1_000..1_000 + 2 * RUNS {
        alarms += u32::from(found(seed, 0.0, 60, 25)?);
    }
    line("   healthy packs", alarms, 2 * RUNS)?;

    // The limit is 7.5 mΩ and a quarter of what the temperature explains: 4 mΩ must pass and 16 mΩ must be found everywhere.
    let mut runner = TestRunner::new(Config { cases: 16, failure_persistence: None, ..Config::default() });
    runner.run(&(any::<u32>(), 40..=90_u32, 0..=40_i32), |(seed, charge, celsius)| {
        let judged = |milliohms| found(seed, milliohms, charge, celsius).map_err(TestCaseError::fail);
        prop_assert!(!judged(4.0)?, "4 mΩ was called a fault");
        prop_assert!(judged(16.0)?, "16 mΩ was not found");
        Ok(())
    })?;
    println!("16 random packs from 0 to 40 °C: 4 mΩ passes, 16 mΩ is found");
    let (Some(&least), Some(&most)) = (curve.first(), curve.last()) else {
        return Err("nothing was run".into());
    };
    if least == 0 && most == RUNS && alarms == 0 {
        Ok(())
    } else {
        Err(format!("{least} of {RUNS} found at 6 mΩ, {most} at 11 mΩ, {alarms} false alarms").into())
    }
}
