//! Curves with the intervals of their points: a share against what it depends on.

use super::{DrawError, LEGEND, LOOKS, SCALE, SIZE, picture, span};
use plotters::element::DashedPathElement;
use plotters::prelude::*;

/// A curve.
#[derive(Clone, Debug)]
pub struct Curve {
    /// What it is.
    pub name: String,
    /// Where each point is on the level axis, its value, and the two ends of its interval.
    pub points: Vec<(f64, f64, f64, f64)>,
}

/// A picture of curves.
#[derive(Clone, Debug)]
pub struct Curves<'a> {
    /// Its name.
    pub title: &'a str,
    /// What is to be seen in it.
    pub description: &'a str,
    /// What the level axis shows, with its unit.
    pub across: &'a str,
    /// What the upright axis shows, with its unit.
    pub axis: &'a str,
    /// Whether the level axis has equal steps for equal factors; its values are above zero then.
    pub by_factors: bool,
    /// The curves, at most four.
    pub curves: Vec<Curve>,
}

impl Curves<'_> {
    /// The picture as SVG; nothing where there is nothing to draw.
    ///
    /// # Errors
    /// When the drawing library fails.
    pub fn svg(&self) -> Result<Option<String>, DrawError> {
        let place = |value: f64| if self.by_factors { libm::log10(value) } else { value };
        let points = || self.curves.iter().flat_map(|curve| &curve.points);
        let across = span(points().map(|point| place(point.0))).filter(|(from, to)| from < to);
        let up = span(points().flat_map(|point| [point.2, point.3]));
        let (Some((from, to)), Some((low, high))) = (across, up) else { return Ok(None) };
        let air = (0.02 * (to - from), 0.05 * (high - low).max(0.1));
        let size = (SIZE.0, SIZE.1 + SIZE.1 / 2);
        let drawn = picture(self.title, self.description, size, |root| {
            root.fill(&WHITE)?;
            let mut chart = ChartBuilder::on(root)
                .caption(self.title, ("sans-serif", 15 * SCALE))
                .margin(10 * SCALE)
                .margin_right(20 * SCALE)
                .x_label_area_size(36 * SCALE)
                .y_label_area_size(64 * SCALE)
                .build_cartesian_2d(from - air.0..to + air.0, low - air.1..high + air.1)?;
            let shown = |value: &f64| {
                let value = if self.by_factors { libm::pow(10.0, *value) } else { *value };
                // Two digits behind the point, or behind the noughts that follow it.
                let noughts =
                    if value == 0.0 { 0.0 } else { libm::floor(-libm::log10(value.abs())).max(0.0) };
                let scale = libm::pow(10.0, 2.0 + noughts);
                format!("{}", libm::rint(value * scale) / scale).replace('-', "−")
            };
            chart
                .configure_mesh()
                .x_desc(self.across)
                .y_desc(self.axis)
                .label_style(("sans-serif", 13 * SCALE))
                .max_light_lines(0)
                .x_label_formatter(&shown)
                .y_label_formatter(&|value: &f64| format!("{value:.1}").replace('-', "−"))
                .bold_line_style(BLACK.mix(0.15).stroke_width(SCALE))
                .axis_style(BLACK.stroke_width(SCALE))
                .draw()?;
            for (curve, (colour, (on, off))) in self.curves.iter().zip(LOOKS) {
                let style = colour.stroke_width(2 * SCALE);
                let line = curve.points.iter().map(|point| (place(point.0), point.1));
                chart
                    .draw_series(DashedLineSeries::new(line, on, off, style))?
                    .label(curve.name.clone())
                    .legend(move |(x, y)| DashedPathElement::new([(x, y), (x + LEGEND, y)], on, off, style));
                let ends = curve.points.iter().filter(|point| point.2 < point.3).map(|point| {
                    let at = place(point.0);
                    PathElement::new([(at, point.2), (at, point.3)], colour.stroke_width(SCALE))
                });
                chart.draw_series(ends)?;
            }
            chart
                .configure_series_labels()
                .position(SeriesLabelPosition::LowerRight)
                .legend_area_size(LEGEND + LEGEND / 5)
                .label_font(("sans-serif", 13 * SCALE))
                .background_style(WHITE.mix(0.85))
                .draw()?;
            root.present()
        });
        drawn.map(Some)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What varies by factors below one has labels that differ.
    #[test]
    fn labels_of_small_values_differ() {
        let points = vec![(0.014, 0.9, 0.8, 1.0), (0.03, 0.1, 0.0, 0.2)];
        let curves = Curves {
            title: "t",
            description: "d",
            across: "Ω",
            axis: "share",
            by_factors: true,
            curves: vec![Curve { name: "c".to_owned(), points }],
        };
        let svg = curves.svg().unwrap().unwrap();
        assert!(
            svg.lines().filter(|line| line.trim() == "0.02").count() <= 1 && svg.contains("\n0.0"),
            "{svg}"
        );
    }

    #[test]
    fn curves_have_names_and_intervals() {
        let curve = Curve {
            name: "trip 2 mΩ".to_owned(),
            points: vec![(0.25, 0.1, 0.0, 0.3), (8.0, 0.9, 0.7, 1.0)],
        };
        let curves = Curves {
            title: "Found",
            description: "more is found of what is worse",
            across: "severity, mΩ",
            axis: "share found",
            by_factors: true,
            curves: vec![curve],
        };
        let svg = curves.svg().unwrap().unwrap();
        for shown in ["<title>Found</title>", "trip 2 mΩ", "severity, mΩ", "share found"] {
            assert!(svg.contains(shown), "{shown}");
        }
        assert!(Curves { curves: Vec::new(), ..curves }.svg().unwrap().is_none());
    }
}
