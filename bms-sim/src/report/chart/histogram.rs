//! How often each of many values came.

use super::{DrawError, LOOKS, SCALE, SIZE, picture, span};
use plotters::prelude::*;

/// A picture of how values are spread.
#[derive(Clone, Debug)]
pub struct Histogram<'a> {
    /// Its name.
    pub title: &'a str,
    /// What is to be seen in it.
    pub description: &'a str,
    /// What the level axis shows, with its unit.
    pub across: &'a str,
    /// What is counted.
    pub axis: &'a str,
    /// The values.
    pub values: Vec<f64>,
}

/// Bars, of the same width each.
const BARS: usize = 24;

impl Histogram<'_> {
    /// How many values lie in each of the bars, with the bar's ends; around a single value they are one unit wide together.
    fn bars(&self) -> Option<Vec<(f64, f64, u32)>> {
        let (from, to) = span(self.values.iter().copied())?;
        let (from, to) = if from < to { (from, to) } else { (from - 0.5, to + 0.5) };
        #[expect(clippy::cast_precision_loss, reason = "two dozen")]
        let (wide, edge) =
            ((to - from) / BARS as f64, |bar: usize| from + bar as f64 * (to - from) / BARS as f64);
        let mut counts = [0_u32; BARS];
        for value in &self.values {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "between 0 and two dozen"
            )]
            let bar = ((value - from) / wide) as usize;
            counts[bar.min(BARS - 1)] += 1;
        }
        Some(counts.into_iter().enumerate().map(|(bar, count)| (edge(bar), edge(bar + 1), count)).collect())
    }

    /// The picture as SVG; nothing where there is nothing to draw.
    ///
    /// # Errors
    /// When the drawing library fails.
    pub fn svg(&self) -> Result<Option<String>, DrawError> {
        let Some(bars) = self.bars() else { return Ok(None) };
        let (from, to) = (bars.first().map_or(0.0, |bar| bar.0), bars.last().map_or(1.0, |bar| bar.1));
        let highest = bars.iter().map(|bar| bar.2).max().unwrap_or(1);
        let drawn =
            picture(self.title, self.description, SIZE, |root| {
                root.fill(&WHITE)?;
                let mut chart = ChartBuilder::on(root)
                    .caption(self.title, ("sans-serif", 15 * SCALE))
                    .margin(10 * SCALE)
                    .margin_right(20 * SCALE)
                    .x_label_area_size(36 * SCALE)
                    .y_label_area_size(64 * SCALE)
                    .build_cartesian_2d(from..to, 0.0..f64::from(highest) * 1.05)?;
                chart
                    .configure_mesh()
                    .x_desc(self.across)
                    .y_desc(self.axis)
                    .label_style(("sans-serif", 13 * SCALE))
                    .max_light_lines(0)
                    .y_label_formatter(&|value: &f64| format!("{value:.0}"))
                    .bold_line_style(BLACK.mix(0.15).stroke_width(SCALE))
                    .axis_style(BLACK.stroke_width(SCALE))
                    .draw()?;
                let filled = LOOKS[0].0.filled();
                chart.draw_series(bars.iter().map(|(from, to, count)| {
                    Rectangle::new([(*from, 0.0), (*to, f64::from(*count))], filled)
                }))?;
                root.present()
            });
        drawn.map(Some)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_is_in_one_bar() {
        let values: Vec<f64> = (0..240).map(|value| f64::from(value) / 10.0).collect();
        let of = |values: Vec<f64>| Histogram {
            title: "t",
            description: "d",
            across: "delay, s",
            axis: "runs",
            values,
        };
        let bars = of(values.clone()).bars().unwrap();
        assert_eq!(bars.iter().map(|bar| bar.2).sum::<u32>(), 240);
        assert!(bars.iter().all(|bar| (9..=11).contains(&bar.2)), "{bars:?}");
        assert!(of(values).svg().unwrap().unwrap().contains("delay, s"));
        let same = of(vec![1.0; 5]).bars().unwrap();
        assert_eq!(same.iter().filter(|bar| bar.2 > 0).map(|bar| bar.2).collect::<Vec<_>>(), [5]);
        assert!(of(Vec::new()).svg().unwrap().is_none());
    }
}
