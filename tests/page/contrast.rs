//! What the page draws can be told from what it is drawn on, in either scheme, also by whoever sees no colours.
//!
//! Contrast ratios of WCAG 2.2: `(L₁ + 0.05) ÷ (L₂ + 0.05)`, L the relative luminance of sRGB. A text has at least 4.5 (1.4.3), a part of a
//! picture or a control at least 3 (1.4.11). A checker in a browser sees no canvas: the colours are read from the sheet of styles here.

use std::collections::HashMap;

const STYLES: &str = include_str!("../../bms-sim/src/page/assets/page.css");

const TIME_LINE: &str = include_str!("../../bms-sim/src/page/assets/timeline.js");

/// The colours of a scheme by their names.
type Inks = HashMap<&'static str, [f64; 3]>;

/// `--name: #rrggbb;` of a part of the sheet.
fn inks(part: &'static str) -> Inks {
    let colours =
        part.lines().filter_map(|line| line.trim().strip_prefix("--")?.strip_suffix(';')?.split_once(": #"));
    colours
        .map(|(name, colour)| {
            let byte = |at: usize| f64::from(u8::from_str_radix(&colour[at..at + 2], 16).unwrap());
            (name, [byte(0), byte(2), byte(4)])
        })
        .collect()
}

/// Both schemes: the dark one takes what it does not say from the light one.
fn schemes() -> [(&'static str, Inks); 2] {
    let (light, rest) = STYLES.split_once("(prefers-color-scheme: dark)").unwrap();
    let (dark, _) = rest.split_once("\n}").unwrap();
    let light = inks(light);
    let dark = light.clone().into_iter().chain(inks(dark)).collect();
    [("light", light), ("dark", dark)]
}

fn luminance(colour: [f64; 3]) -> f64 {
    let linear = |byte: f64| {
        let share = byte / 255.0;
        if share <= 0.040_45 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    };
    let [red, green, blue] = colour.map(linear);
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

fn contrast(one: [f64; 3], other: [f64; 3]) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// How much of its ink a curve has that is compared with.
fn faint() -> f64 {
    let (_, after) = TIME_LINE.split_once("const FAINT = ").unwrap();
    after.split_once(';').unwrap().0.parse().unwrap()
}

/// The formula itself, by the examples of the standard's own pages: black on white is 21, #767676 on white the lightest grey of 4.5.
#[test]
fn the_formula_is_that_of_the_standard() {
    let white = [255.0; 3];
    assert!((contrast([0.0; 3], white) - 21.0).abs() < 1e-9);
    assert!(contrast([f64::from(0x76); 3], white) >= 4.5 && contrast([f64::from(0x77); 3], white) < 4.5);
}

#[test]
fn what_is_drawn_can_be_seen() {
    // What is drawn, what it is drawn on, and the least ratio.
    let texts = [
        ("ink", "paper"),
        ("faint", "paper"),
        ("ink", "ground"),
        ("wrong", "wrong-paper"),
        ("paper", "ink"),
        ("focus", "paper"),
        ("paper", "wrong"),
    ];
    let parts = [
        // Curves of the time line and the bench, on paper and on the band around what is expected.
        ("cell", "paper"),
        ("wrong", "paper"),
        ("cell", "ground"),
        ("wrong", "ground"),
        ("faint", "ground"),
        // Levels of cells and what may be above them, the outlines of controls, the marks and the focus.
        ("cell", "cell-maybe"),
        ("line", "paper"),
        ("line", "ground"),
        ("focus", "ground"),
        ("well", "paper"),
        // Conductors, and the current that is drawn upon them.
        ("live", "paper"),
        ("pale cell", "paper"),
        ("pale wrong", "paper"),
        ("pale ink", "paper"),
        ("ink", "live"),
    ];
    for (scheme, mut inks) in schemes() {
        // Curves that are compared with are paler: their ink over the paper.
        let share = faint();
        for (name, pale) in [("cell", "pale cell"), ("wrong", "pale wrong"), ("ink", "pale ink")] {
            let over =
                std::array::from_fn(|part| share * inks[name][part] + (1.0 - share) * inks["paper"][part]);
            inks.insert(pale, over);
        }
        for (pairs, least) in [(&texts[..], 4.5), (&parts[..], 3.0)] {
            for (drawn, on) in pairs {
                let ratio = contrast(inks[drawn], inks[on]);
                assert!(ratio >= least, "{scheme}: {drawn} on {on} has {ratio:.2} of {least}");
            }
        }
    }
}

/// Curves beside each other differ without any colour, by their dashes; and so do the sorts of events, by their shapes.
#[test]
fn no_meaning_hangs_on_a_colour_alone() {
    let charts = TIME_LINE.split_once("const CHARTS = [").unwrap().1.split_once("\n];").unwrap().0;
    let mut compared = 0;
    for chart in charts.split("curves: [").skip(1) {
        let dashes: Vec<&str> = chart
            .lines()
            .filter(|line| line.contains("key: '"))
            .map(|line| line.split_once("dash: ").map_or("none", |(_, dash)| dash.split_once(']').unwrap().0))
            .collect();
        let different: std::collections::HashSet<_> = dashes.iter().collect();
        assert_eq!(different.len(), dashes.len(), "{dashes:?}");
        compared += dashes.len();
    }
    assert!(compared >= 9, "{compared} curves were found");
    let lanes = include_str!("../../bms-sim/src/page/assets/lanes.js");
    let shapes = lanes.split_once("const SHAPES = {").unwrap().1.split_once("};").unwrap().0;
    let drawn: Vec<&str> = shapes.split('\'').skip(1).step_by(2).collect();
    let different: std::collections::HashSet<_> = drawn.iter().collect();
    assert!(drawn.len() == 5 && different.len() == 5, "{drawn:?}");
}
