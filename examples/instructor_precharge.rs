//! You will see the link charge through three precharge resistors, as figures and as a picture (SVG; the first argument says where it
//! goes): larger resistors take longer and draw less. The firmware decides when each start is over; the closed form stands beside it.
#![allow(clippy::print_stdout, reason = "an example talks")]

use bms_core::config::SequenceFacts;
use bms_core::frame::{Asked, Wanted};
use bms_core::units::{Instant, Ohms};
use bms_core::{Config, Controller, Step};
use bms_sim::report::chart::{Chart, Line, Pane};
use bms_sim::world::load::{Demand, Giver};
use bms_sim::world::spec::PackSpec;
use bms_sim::world::{Actuators, Initial, World};
use std::error::Error;

const TICK_MS: u32 = 2;

/// One start: milliseconds since the link began to rise, volts, amperes; and when the firmware found it charged.
struct Start {
    ohms: u32,
    samples: Vec<(f64, f64, f64)>,
    charged_ms: f64,
}

fn start(ohms: u32) -> Result<Start, Box<dyn Error>> {
    let mut spec = PackSpec::crane();
    spec.bus.precharge_ohms = f64::from(ohms);
    let mut world = World::<96, 16>::new(&spec, 1, Initial { charge: 0.6, celsius: 25.0 })?;
    let config = Config { sequence: SequenceFacts::of(Ohms(ohms), Ohms(2_500), 1_000), ..Config::crane() };
    let mut core = Controller::<96, 16>::new(config.fit().map_err(|error| error.to_string())?);
    let idle = Demand { amps: 0.0, giver: Giver::Drive, outside_celsius: 25.0 };
    let (mut samples, mut rise_ms, mut charged_ms) = (Vec::new(), None, None);
    for tick in 0..2_000_u32 {
        let at = tick * TICK_MS;
        // A switch that stands on when the firmware starts closes nothing.
        let contactors = if tick == 0 { Wanted::Open } else { Wanted::Closed };
        let asked = Asked { contactors, ..Asked::NOTHING };
        let decision = core.tick(&world.measure(tick.into(), Instant(at), asked), &mut ());
        let before = world.bus.link_volts;
        world.step(f64::from(TICK_MS) / 1_000.0, &Actuators::from(&decision), &idle);
        if world.bus.link_volts > 5.0 && rise_ms.is_none() {
            rise_ms = Some(f64::from(at));
        }
        if let Some(rise) = rise_ms
            && decision.step == Step::Precharging
        {
            samples.push((f64::from(at) - rise, before, -world.flow.start_amps));
        }
        if decision.step == Step::ClosingPositive && charged_ms.is_none() {
            charged_ms = rise_ms.map(|rise| f64::from(at) - rise);
        }
    }
    let charged_ms =
        charged_ms.ok_or_else(|| format!("{ohms} Ω: the firmware did not find the link charged"))?;
    Ok(Start { ohms, samples, charged_ms })
}

/// Link voltage and current of all starts, one above the other.
fn picture(starts: &[Start]) -> Result<String, Box<dyn Error>> {
    let pane = |axis: &str, of: fn(&(f64, f64, f64)) -> f64| {
        let line = |start: &Start| Line {
            name: format!("{} Ω", start.ohms),
            points: start.samples.iter().map(|sample| (sample.0, of(sample))).collect(),
        };
        Pane { axis: axis.to_owned(), lines: starts.iter().map(line).collect() }
    };
    let chart = Chart {
        title: "Precharge with three resistors",
        description: "Upper pane: the link voltage rises towards the pack, slower with a larger resistor. Lower pane: the current falls \
                      from its peak, lower with a larger resistor.",
        across: "time since the link began to rise, ms",
        panes: vec![pane("link, V", |sample| sample.1), pane("current, A", |sample| sample.2)],
        marks: &[],
    };
    Ok(chart.svg()?.ok_or("no start was seen")?)
}

fn main() -> Result<(), Box<dyn Error>> {
    let starts = [40, 50, 75].into_iter().map(start).collect::<Result<Vec<_>, _>>()?;
    println!("resistor  peak current  to 63 % of the pack  in closed form  charged, says the firmware");
    for start in &starts {
        // τ = k·R·C and end = k·V with k = 2500/(R + 2500); 63.2 % of the pack after −τ·ln(1 − 0.632/k).
        let ohms = f64::from(start.ohms);
        let k = 2_500.0 / (ohms + 2_500.0);
        let closed_ms = -k * ohms * (1.0_f64 - 0.632 / k).ln();
        let peak = start.samples.iter().map(|sample| sample.2).fold(0.0, f64::max);
        let (pack, level) = (peak * ohms, 0.632 * peak * ohms);
        let reached = start.samples.iter().find(|now| now.1 >= level).map_or(f64::NAN, |now| now.0);
        println!(
            "{:>6} Ω  {peak:>10.2} A  {reached:>16.0} ms  {closed_ms:>11.1} ms  {:>23.0} ms",
            start.ohms, start.charged_ms
        );
        if (reached - closed_ms).abs() > 3.0 * f64::from(TICK_MS) || !(300.0..340.0).contains(&pack) {
            return Err(format!("{ohms} Ω: {reached} ms, and {closed_ms:.1} ms in closed form").into());
        }
    }
    let path = std::env::args().nth(1).unwrap_or_else(|| "target/precharge.svg".to_owned());
    let folder = std::path::Path::new(&path).parent().ok_or("accepted is the name of a file to write")?;
    std::fs::create_dir_all(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    std::fs::write(&path, picture(&starts)?).map_err(|error| format!("{path}: {error}"))?;
    println!("drawn to {path}");
    Ok(())
}
