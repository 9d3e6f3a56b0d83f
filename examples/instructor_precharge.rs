//! You will see the link charge through three precharge resistors, as figures and as a picture (SVG; the first argument says where it
//! goes): larger resistors take longer and draw less. The firmware decides when each start is over; the closed form stands beside it.
#![allow(clippy::print_stdout, reason = "an example talks")]

use bms_core::config::SequenceFacts;
use bms_core::frame::{Asked, Wanted};
use bms_core::units::{Instant, Ohms};
use bms_core::{Config, Controller, Step};
use bms_sim::world::load::{Demand, Giver};
use bms_sim::world::spec::PackSpec;
use bms_sim::world::{Actuators, Initial, World};
use plotters::coord::Shift;
use plotters::element::DashedPathElement;
use plotters::prelude::*;
use std::error::Error;

/// Okabe–Ito colours without orange, which is for high-voltage conductors; the dash is the second sign, in drawn and skipped length.
const LOOKS: [(RGBColor, (u32, u32)); 3] = [
    (RGBColor(0, 114, 178), (90, 0)),
    (RGBColor(204, 121, 167), (90, 50)),
    (RGBColor(0, 158, 115), (25, 40)),
];
/// Drawn ten times too large and scaled down: the drawing library rounds to whole pixels.
const SCALE: u32 = 10;
const SIZE: (u32, u32) = (860, 620);
/// Length of the sample line in the legend.
const LEGEND: i32 = 400;
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

fn pane(
    area: &DrawingArea<SVGBackend<'_>, Shift>,
    starts: &[Start],
    (top, name): (f64, &str),
    of: impl Fn(&(f64, f64, f64)) -> f64,
) -> Result<(), Box<dyn Error>> {
    let mut chart = ChartBuilder::on(area)
        .margin(12 * SCALE)
        .margin_right(24 * SCALE)
        .x_label_area_size(40 * SCALE)
        .y_label_area_size(60 * SCALE)
        .build_cartesian_2d(0.0..300.0, 0.0..top)?;
    chart
        .configure_mesh()
        .x_desc("time since the link began to rise, ms")
        .y_desc(name)
        .label_style(("sans-serif", 14 * SCALE))
        .max_light_lines(0)
        .x_labels(7)
        .x_label_formatter(&|ms| format!("{ms:.0}"))
        .y_label_formatter(&|value| format!("{value:.0}"))
        .bold_line_style(BLACK.mix(0.15).stroke_width(SCALE))
        .axis_style(BLACK.stroke_width(SCALE))
        .draw()?;
    for (start, (colour, (on, off))) in starts.iter().zip(LOOKS) {
        let style = colour.stroke_width(2 * SCALE);
        let points = start.samples.iter().map(|sample| (sample.0, of(sample)));
        chart
            .draw_series(DashedLineSeries::new(points, on, off, style))?
            .label(format!("{} Ω", start.ohms))
            .legend(move |(x, y)| DashedPathElement::new([(x, y), (x + LEGEND, y)], on, off, style));
    }
    chart
        .configure_series_labels()
        .position(SeriesLabelPosition::MiddleRight)
        .legend_area_size(LEGEND)
        .label_font(("sans-serif", 14 * SCALE))
        .background_style(WHITE)
        .draw()?;
    Ok(())
}

/// The picture as text, scaled down, with a name and a description for those who do not see it.
fn picture(starts: &[Start]) -> Result<String, Box<dyn Error>> {
    let ((w, h), (width, height)) = (SIZE, (SIZE.0 * SCALE, SIZE.1 * SCALE));
    let mut svg = String::new();
    {
        let root = SVGBackend::with_string(&mut svg, (width, height)).into_drawing_area();
        root.fill(&WHITE)?;
        let [upper, lower] = <[_; 2]>::try_from(root.split_evenly((2, 1))).map_err(|_| "two panes")?;
        pane(&upper, starts, (350.0, "link, V"), |sample| sample.1)?;
        pane(&lower, starts, (9.0, "current, A"), |sample| sample.2)?;
        root.present()?;
    }
    let described = "<title>Precharge with three resistors</title><desc>Upper pane: the link voltage rises towards the pack, \
                     slower with a larger resistor. Lower pane: the current falls from its peak, lower with a larger resistor.</desc>";
    let tag =
        svg.find('>').filter(|_| svg.starts_with("<svg")).ok_or("the drawing does not begin with its tag")?;
    let head = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{w}" height="{h}" viewBox="0 0 {width} {height}">"#
    );
    Ok(format!("{head}{described}{}", &svg[tag + 1..]))
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
