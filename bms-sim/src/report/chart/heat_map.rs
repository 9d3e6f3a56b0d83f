//! A value for each pair of two settings: the darker the more, with the number in each field.

use super::{DrawError, SCALE, SIZE, picture, span};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// A picture of a value over two settings.
#[derive(Clone, Debug)]
pub struct HeatMap<'a> {
    /// Its name.
    pub title: &'a str,
    /// What is to be seen in it.
    pub description: &'a str,
    /// What the columns are, and each of them.
    pub across: (&'a str, Vec<String>),
    /// What the rows are, and each of them, from below.
    pub up: (&'a str, Vec<String>),
    /// Row by row from below: the value, and how it is written; nothing where there is none.
    pub fields: Vec<Vec<Option<(f64, String)>>>,
}

impl HeatMap<'_> {
    /// The picture as SVG; nothing where there is nothing to draw.
    ///
    /// # Errors
    /// When the drawing library fails.
    pub fn svg(&self) -> Result<Option<String>, DrawError> {
        let values = self.fields.iter().flatten().flatten().map(|field| field.0);
        let Some((low, high)) = span(values) else { return Ok(None) };
        let count = |list: &[String]| i32::try_from(list.len()).unwrap_or(i32::MAX);
        let (columns, rows) = (count(&self.across.1), count(&self.up.1));
        let name = |list: &[String], at: i32| {
            usize::try_from(at).ok().and_then(|at| list.get(at)).cloned().unwrap_or_default()
        };
        let drawn = picture(self.title, self.description, (SIZE.0, SIZE.1 + SIZE.1 / 2), |root| {
            root.fill(&WHITE)?;
            let mut chart = ChartBuilder::on(root)
                .caption(self.title, ("sans-serif", 15 * SCALE))
                .margin(10 * SCALE)
                .x_label_area_size(40 * SCALE)
                .y_label_area_size(80 * SCALE)
                .build_cartesian_2d((0..columns - 1).into_segmented(), (0..rows - 1).into_segmented())?;
            let place = |value: &SegmentValue<i32>| match value {
                SegmentValue::Exact(at) | SegmentValue::CenterOf(at) => *at,
                SegmentValue::Last => -1,
            };
            chart
                .configure_mesh()
                .disable_mesh()
                .x_desc(self.across.0)
                .y_desc(self.up.0)
                .label_style(("sans-serif", 13 * SCALE))
                .x_label_formatter(&|value| name(&self.across.1, place(value)))
                .y_label_formatter(&|value| name(&self.up.1, place(value)))
                .axis_style(BLACK.stroke_width(SCALE))
                .draw()?;
            for (row, fields) in (0..).zip(&self.fields) {
                for (column, field) in (0..).zip(fields) {
                    let Some((value, written)) = field else { continue };
                    let share = if high > low { (value - low) / (high - low) } else { 0.0 };
                    let corners = [
                        (SegmentValue::Exact(column), SegmentValue::Exact(row)),
                        (SegmentValue::Exact(column + 1), SegmentValue::Exact(row + 1)),
                    ];
                    // The blue of the lines, from a tenth to all of it: white on the darker half stands out by 4.5 to 1 and more.
                    let ground = RGBColor(0, 114, 178).mix(0.1 + 0.9 * share);
                    chart.draw_series([Rectangle::new(corners, ground.filled())])?;
                    let ink = if share > 0.8 { WHITE } else { BLACK };
                    let centre = Pos::new(HPos::Center, VPos::Center);
                    let style = ("sans-serif", 14 * SCALE).into_text_style(root).pos(centre).color(&ink);
                    let middle = (SegmentValue::CenterOf(column), SegmentValue::CenterOf(row));
                    chart.draw_series([Text::new(written.clone(), middle, style)])?;
                }
            }
            root.present()
        });
        drawn.map(Some)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_says_its_number() {
        let named = |names: [&str; 2]| names.map(str::to_owned).to_vec();
        let field = |value: f64| Some((value, format!("{value} %")));
        let map = HeatMap {
            title: "Found",
            description: "darker is more",
            across: ("trip, mΩ", named(["1", "2"])),
            up: ("dwell, ms", named(["0", "100"])),
            fields: vec![vec![field(10.0), field(20.0)], vec![None, field(90.0)]],
        };
        let svg = map.svg().unwrap().unwrap();
        for shown in ["10 %", "20 %", "90 %", "trip, mΩ", "dwell, ms", "100"] {
            assert!(svg.contains(shown), "{shown} in {svg}");
        }
    }
}
