//! # Pictures
//!
//! The only place that knows the drawing library. [`Chart`] draws quantities over time in one pane or several, with letters at the moments that the text names. Each line has a colour that the
//! colour-blind can tell and a dash as second sign; a name and a description stand in the picture for those who do not see it.

mod curves;
mod heat_map;
mod histogram;

pub use curves::{Curve, Curves};
pub use heat_map::HeatMap;
pub use histogram::Histogram;

use plotters::coord::Shift;
use plotters::element::DashedPathElement;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Okabe–Ito colours without orange, which is for high-voltage conductors; the dash is the second sign, in drawn and skipped length.
const LOOKS: [(RGBColor, (u32, u32)); 4] = [
    (RGBColor(0, 114, 178), (90, 0)),
    (RGBColor(204, 121, 167), (90, 50)),
    (RGBColor(0, 158, 115), (25, 40)),
    (RGBColor(86, 86, 86), (50, 30)),
];

/// Drawn ten times too large and scaled down: the drawing library rounds to whole pixels.
const SCALE: u32 = 10;
/// Width of a picture, and height of one of its panes.
const SIZE: (u32, u32) = (760, 260);
/// Length of the sample line in the legend.
const LEGEND: i32 = 400;
/// Letters nearer to each other than this part of the width are one mark.
const TOGETHER: f64 = 0.02;
/// Room above and below the lines, as a part of their height.
const AIR: f64 = 0.1;
/// At least this part of the value, so that a level line has an axis too.
const LEAST_AIR: f64 = 0.001;

/// A quantity over time.
#[derive(Clone, Debug)]
pub struct Line {
    /// What it is.
    pub name: String,
    /// Where it is on the level axis, and the value.
    pub points: Vec<(f64, f64)>,
}

/// A moment that the text names.
#[derive(Clone, Copy, Debug)]
pub struct Mark {
    /// The letter by which the text names it.
    pub letter: char,
    /// Where it is on the level axis.
    pub at: f64,
}

/// Lines of one unit.
#[derive(Clone, Debug)]
pub struct Pane {
    /// What the upright axis shows, with its unit.
    pub axis: String,
    /// The lines, at most four.
    pub lines: Vec<Line>,
}

/// A picture of lines.
#[derive(Clone, Debug)]
pub struct Chart<'a> {
    /// Its name.
    pub title: &'a str,
    /// What is to be seen in it.
    pub description: &'a str,
    /// What the level axis shows, with its unit.
    pub across: &'a str,
    /// One above the other, over the same time.
    pub panes: Vec<Pane>,
    /// The moments.
    pub marks: &'a [Mark],
}

/// The drawing library could not draw.
#[derive(Debug, thiserror::Error)]
#[error("the picture '{title}' cannot be drawn: {reason}")]
pub struct DrawError {
    title: String,
    reason: String,
}

impl Chart<'_> {
    /// The picture as SVG; nothing where there is nothing to draw.
    ///
    /// # Errors
    /// When the drawing library fails.
    pub fn svg(&self) -> Result<Option<String>, DrawError> {
        let failed = |reason: String| DrawError { title: self.title.to_owned(), reason };
        let points = self.panes.iter().flat_map(|pane| &pane.lines).flat_map(|line| &line.points);
        let Some(span) = span(points.map(|point| point.0)).filter(|(from, to)| from < to) else {
            return Ok(None);
        };
        let panes = u32::try_from(self.panes.len()).map_err(|error| failed(error.to_string()))?;
        let size = (SIZE.0, SIZE.1 * panes);
        picture(self.title, self.description, size, |root| self.draw(root, span)).map(Some)
    }

    fn draw(&self, root: &Area<'_>, span: (f64, f64)) -> Drawn {
        root.fill(&WHITE)?;
        for (pane, area) in self.panes.iter().zip(root.split_evenly((self.panes.len(), 1))) {
            self.draw_pane(pane, &area, span)?;
        }
        root.present()
    }

    fn draw_pane(&self, pane: &Pane, area: &Area<'_>, (from, to): (f64, f64)) -> Drawn {
        let Some((low, high)) = span(pane.lines.iter().flat_map(|line| &line.points).map(|point| point.1))
        else {
            return Ok(());
        };
        let air = ((high - low) * AIR).max(high.abs().max(1.0) * LEAST_AIR);
        let (low, high) = (low - air, high + air);
        let mut chart = ChartBuilder::on(area)
            .margin(10 * SCALE)
            .margin_top(22 * SCALE)
            .margin_right(20 * SCALE)
            .x_label_area_size(36 * SCALE)
            .y_label_area_size(64 * SCALE)
            .build_cartesian_2d(from..to, low..high)?;
        // As many as tell two neighbouring labels apart.
        let digits = |span: f64| [5.0, 0.5, 0.05].iter().filter(|wide| span < **wide).count();
        let shown = |value: &f64, digits: usize| format!("{value:.digits$}").replace('-', "−");
        chart
            .configure_mesh()
            .x_desc(self.across)
            .y_desc(&pane.axis)
            .label_style(("sans-serif", 13 * SCALE))
            .max_light_lines(0)
            .y_labels(6)
            .x_label_formatter(&|value| shown(value, digits(to - from)))
            .y_label_formatter(&|value| shown(value, digits(high - low)))
            .bold_line_style(BLACK.mix(0.15).stroke_width(SCALE))
            .axis_style(BLACK.stroke_width(SCALE))
            .draw()?;
        let marks = self.marks.iter().filter(|mark| (from..=to).contains(&mark.at));
        for (letters, seconds) in together(marks, (to - from) * TOGETHER) {
            let upright = [(seconds, low), (seconds, high)];
            chart.draw_series(DashedLineSeries::new(upright, 15, 25, BLACK.stroke_width(SCALE)))?;
            let centre = Pos::new(HPos::Center, VPos::Bottom);
            let style = ("sans-serif", 13 * SCALE).into_text_style(area).pos(centre);
            chart.draw_series([Text::new(letters, (seconds, high), style)])?;
        }
        for (line, (colour, (on, off))) in pane.lines.iter().zip(LOOKS) {
            let style = colour.stroke_width(2 * SCALE);
            chart
                .draw_series(DashedLineSeries::new(line.points.iter().copied(), on, off, style))?
                .label(line.name.clone())
                .legend(move |(x, y)| DashedPathElement::new([(x, y), (x + LEGEND, y)], on, off, style));
        }
        chart
            .configure_series_labels()
            .position(SeriesLabelPosition::MiddleRight)
            .legend_area_size(LEGEND + LEGEND / 5)
            .label_font(("sans-serif", 13 * SCALE))
            .background_style(WHITE.mix(0.85))
            .draw()
    }
}

/// A picture of this size as SVG, with its name and what is to be seen in it.
fn picture(
    title: &str,
    description: &str,
    (width, height): (u32, u32),
    draw: impl FnOnce(&Area<'_>) -> Drawn,
) -> Result<String, DrawError> {
    let failed = |reason: String| DrawError { title: title.to_owned(), reason };
    let mut drawn = String::new();
    {
        let root = SVGBackend::with_string(&mut drawn, (width * SCALE, height * SCALE)).into_drawing_area();
        draw(&root).map_err(|error| failed(error.to_string()))?;
    }
    let tag = drawn.find('>').ok_or_else(|| failed("it has no beginning".to_owned()))?;
    let name = maud::html! { title { (title) } desc { (description) } }.into_string();
    let (wide, high) = (width * SCALE, height * SCALE);
    let head = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{width}" height="{height}" viewBox="0 0 {wide} {high}">"#
    );
    Ok(format!("{head}{name}{}", &drawn[tag + 1..]))
}

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

type Drawn = Result<(), DrawingAreaErrorKind<std::io::Error>>;

/// The least and the greatest of some values.
fn span(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.fold(None, |span, value| match span {
        None => Some((value, value)),
        Some((least, greatest)) => Some((least.min(value), greatest.max(value))),
    })
}

/// Marks that lie too near to each other for a letter each, as one: `B–D`.
fn together<'a>(marks: impl Iterator<Item = &'a Mark>, near: f64) -> Vec<(String, f64)> {
    let mut groups: Vec<(char, char, f64)> = Vec::new();
    for mark in marks {
        match groups.last_mut() {
            Some((_, last, seconds)) if mark.at - *seconds < near => *last = mark.letter,
            _ => groups.push((mark.letter, mark.letter, mark.at)),
        }
    }
    let named = |(first, last, at): (char, char, f64)| {
        let name = if first == last { first.to_string() } else { format!("{first}–{last}") };
        (name, at)
    };
    groups.into_iter().map(named).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart(points: Vec<(f64, f64)>, marks: &[Mark]) -> Chart<'_> {
        let lines = vec![Line { name: "link & pack".to_owned(), points }];
        let panes = vec![Pane { axis: "V".to_owned(), lines }];
        Chart { title: "Voltages", description: "a rise <steep>", across: "time, s", panes, marks }
    }

    #[test]
    fn a_picture_has_its_name_its_description_and_its_letters() {
        let marks = [Mark { letter: 'A', at: 1.0 }, Mark { letter: 'B', at: 2.0 }];
        let svg = chart(vec![(0.0, 0.0), (10.0, 300.0)], &marks).svg().unwrap().unwrap();
        assert!(svg.starts_with("<svg xmlns=") && svg.trim_end().ends_with("</svg>"), "{svg}");
        assert!(svg.contains("<title>Voltages</title><desc>a rise &lt;steep&gt;</desc>"));
        for shown in ["link &amp; pack", "time, s"] {
            assert!(svg.contains(shown), "{shown}");
        }
        assert!(svg.contains("\nA\n") && svg.contains("\nB\n"), "{svg}");
    }

    /// WCAG 2.2, 1.4.11: what is needed to understand a picture stands out from its ground by 3 to 1 at least. Luminance as in 1.4.3.
    #[test]
    fn every_line_stands_out_from_white() {
        let linear = |part: u8| {
            let value = f64::from(part) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        for (RGBColor(red, green, blue), _) in LOOKS {
            let light = 0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue);
            let contrast = 1.05 / (light + 0.05);
            assert!(contrast >= 3.0, "{red} {green} {blue}: {contrast:.2}");
        }
    }

    #[test]
    fn nothing_is_drawn_of_nothing() {
        assert!(chart(Vec::new(), &[]).svg().unwrap().is_none());
        assert!(chart(vec![(3.0, 1.0)], &[]).svg().unwrap().is_none());
    }

    #[test]
    fn marks_that_lie_together_are_one() {
        let at = |letter, at| Mark { letter, at };
        let marks = [at('A', 0.0), at('B', 10.0), at('C', 10.1), at('D', 10.15), at('E', 20.0)];
        let named: Vec<String> = together(marks.iter(), 0.5).into_iter().map(|(name, _)| name).collect();
        assert_eq!(named, ["A", "B–D", "E"]);
    }
}
