//! The rates as a page to read: Markdown, which a terminal shows as well.

use super::rates::{Place, Row};
use super::situations::Situation;
use crate::explain::words;
use crate::recording::file::GENERATOR;
use crate::survey::statistics::rate::Rate;
use bms_core::Config;
use std::fmt::Write as _;

/// The whole page.
#[must_use]
pub fn page(seed: u64, places: &[Place], rows: &[Row]) -> String {
    let mut page = head(seed);
    for situation in Situation::ALL {
        let mine: Vec<&Row> = rows.iter().filter(|row| of(places, row) == Some(situation)).collect();
        if !mine.is_empty() {
            page += &section(situation, &mine);
        }
    }
    let _ = write!(page, "\n{}\n", words::CAUTIONS);
    page
}

fn of(places: &[Place], row: &Row) -> Option<Situation> {
    places.iter().find(|place| place.number == row.place).map(|place| place.situation)
}

fn head(seed: u64) -> String {
    format!(
        "# How often noise alone accuses a sound pack\n\n\
         Three faults of the firmware, at their default limits for the crane, each on a pack that stands near the limit and inside it: false alarms for each\n\
         hour in which it stands so. Computed by `bms-sim rates` ({GENERATOR}, seed {seed}) and not written by hand.\n\n\
         The pack is parked and at rest, all its sensors in the middle of their tolerance; nothing moves but their noise, which is normal\n\
         and independent from tick to tick (10 ms). The firmware itself judges every tick. *Calculated* is a closed form or an equation that\n\
         knows nothing of the firmware. *Found* is what leaning noise and multilevel splitting find with the firmware, in {} independent repeats,\n\
         with its 95 % interval; the scatter is the standard deviation of one repeat. *Counted* is what plain sampling met, where it meets\n\
         anything in some hours, with the exact 95 % interval of its rate (Garwood).\n\n\
         How the rates are found, why they are unbiased and when they would not be believed: `bms_sim::survey::rare` in the documentation.\n",
        super::rates::REPEATS,
    )
}

fn section(situation: Situation, rows: &[&Row]) -> String {
    let shown = Config::crane().faults.shown(situation.fault());
    let limit = |quantity: Option<_>| quantity.map_or_else(String::new, words::quantity);
    let mut text = format!(
        "\n## {}\n\n{}\n\nTrip limit {}, release limit {}, dwell {}; the reaction is {:?}. Calculated by {}.\n\n\
         | inside the limit by | in deviations of the noise | calculated, an hour | found, an hour | 95 % interval | scatter | one in | counted | counted, an hour | 95 % interval |\n\
         | ---: | ---: | ---: | ---: | --- | ---: | --- | --- | ---: | --- |\n",
        situation.fault().words(),
        situation.story(),
        limit(shown.trip),
        limit(shown.release),
        words::duration(shown.dwell),
        shown.reaction,
        situation.closed_form(),
    );
    for row in rows {
        let _ = writeln!(text, "{}{}", estimated(situation, row), counted(row.plain.as_ref()));
    }
    text
}

/// The lines of a page that say these rows; where plain sampling is not wanted, only their beginnings.
#[must_use]
pub fn lines(places: &[Place], rows: &[Row], plain: bool) -> Vec<String> {
    let line = |row: &Row| {
        let counted = if plain { counted(row.plain.as_ref()) } else { String::new() };
        Some(estimated(of(places, row)?, row) + &counted)
    };
    rows.iter().filter_map(line).collect()
}

/// The part of a row that needs no plain sampling.
fn estimated(situation: Situation, row: &Row) -> String {
    let (unit, in_unit, places) = situation.unit();
    let doubt = if row.a_tick.trusted() { "" } else { " (too little work)" };
    format!(
        "| {:.places$} {unit} | {:.2} | {} | {}{doubt} | {} … {} | {} | {} |",
        in_unit * row.distance,
        row.deviations,
        rate(row.calculated_per_hour),
        rate(row.per_hour),
        rate(row.low_per_hour),
        rate(row.high_per_hour),
        row.a_tick.scatter.map_or_else(|| "–".to_owned(), |scatter| format!("{:.0} %", 100.0 * scatter)),
        if row.per_hour > 0.0 { duration(3_600.0 / row.per_hour) } else { "–".to_owned() },
    )
}

fn counted(plain: Option<&Rate>) -> String {
    let Some(plain) = plain else { return " – | – | – |".to_owned() };
    let middle = plain.per_hour.map_or_else(|| "–".to_owned(), rate);
    let high = plain.high_per_hour.map_or_else(|| "∞".to_owned(), rate);
    format!(" {} in {:.0} h | {middle} | {} … {high} |", plain.count, plain.hours, rate(plain.low_per_hour))
}

/// Three digits; a power of ten where a plain figure would have to be counted.
fn rate(an_hour: f64) -> String {
    match an_hour {
        none if none <= 0.0 => "0".to_owned(),
        small if small < 1e-2 => format!("{small:.2e}"),
        below if below < 1.0 => format!("{below:.3}"),
        below if below < 10.0 => format!("{below:.2}"),
        below if below < 100.0 => format!("{below:.1}"),
        large => format!("{large:.0}"),
    }
}

/// A time in the unit that suits it, to two digits.
fn duration(seconds: f64) -> String {
    const HOUR: f64 = 3_600.0;
    const YEAR: f64 = 8_766.0 * HOUR;
    let (value, unit) = match seconds {
        short if short < 1.0 => (1e3 * short, "ms"),
        short if short < 120.0 => (short, "s"),
        short if short < 2.0 * HOUR => (short / 60.0, "min"),
        middle if middle < 48.0 * HOUR => (middle / HOUR, "h"),
        middle if middle < YEAR => (middle / (24.0 * HOUR), "days"),
        long => (long / YEAR, "years"),
    };
    let digits = libm::pow(10.0, libm::floor(libm::log10(value)) - 1.0);
    let rounded = libm::round(value / digits) * digits;
    let text = if rounded < 10.0 { format!("{rounded:.1}") } else { format!("{rounded:.0}") };
    format!("{} {unit}", text.strip_suffix(".0").unwrap_or(&text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_short_and_say_their_unit() {
        for (value, said) in [
            (0.0, "0"),
            (4.612e-7, "4.61e-7"),
            (0.123_4, "0.123"),
            (8.4, "8.40"),
            (84.04, "84.0"),
            (8_400.0, "8400"),
        ] {
            assert_eq!(rate(value), said);
        }
        for (seconds, said) in [
            (0.2, "200 ms"),
            (2.0, "2 s"),
            (43.0, "43 s"),
            (5_000.0, "83 min"),
            (100_000.0, "28 h"),
            (3.6e12, "110000 years"),
        ] {
            assert_eq!(duration(seconds), said);
        }
    }
}
