//! # What can be turned in a case
//!
//! A [`Knob`] is one number of a case: a limit of the firmware, how bad a defect is, how far a sensor is off. Turned to another value it
//! gives another case, the same one that is read when that value is written into the file; nothing is turned to what the file would not
//! be accepted with.
//!
//! | name | unit | what it is |
//! | --- | --- | --- |
//! | `limits.FAULT.trip` | as `list faults` prints it | the trip limit; the release limit moves along unless the case gives one |
//! | `limits.FAULT.release` | the same | the release limit |
//! | `limits.FAULT.dwell_ms` | ms | the time beyond the trip limit until Confirmed |
//! | `limits.FAULT.release_dwell_ms` | ms | the time within the release limit until it ends |
//! | `change.1.limits.FAULT.trip` | as above | where changes set one of these, the last of them that does |
//! | `defect.2.milliohms` | as the key says | the severity of the case's second defect |
//! | `error.cell_channel_offset.37` | that of the defect | a defect of that kind at that place, from the start on and added to the case: how far the sensor is off |

use super::change::later_limits;
use super::{Case, Change, Changed, LaterLimits, LimitChange, limits, severity_key};
use crate::defect::{Defect, Kind, MOST};
use bms_core::{ConfigError, Fault};

/// One number of a case that can be turned.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Knob {
    /// The trip limit of a fault.
    Trip(Fault),
    /// Its release limit.
    Release(Fault),
    /// Its dwell until Confirmed, in milliseconds.
    Dwell(Fault),
    /// Its dwell within the release limit until it ends, in milliseconds.
    ReleaseDwell(Fault),
    /// The severity of the defect at this place of the case's list.
    Severity(usize),
    /// How far a sensor is off from the start on: the severity of an added defect of this kind, at this place; 0 as the case stands.
    Error(Kind, usize),
}

/// How finely a knob is turned: whole multiples of a step, and no finer than a share of the value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// The step in units of its last digit.
    whole: f64,
    /// Digits behind the point.
    pub digits: u8,
    /// The share of the value that is fine enough.
    share: f64,
}

/// Why a knob is not turned so.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Unturned {
    /// The case has no such number.
    #[error("{name}: the case has no such number")]
    Missing {
        /// Name of the knob.
        name: String,
    },
    /// The value lies outside of what a case file may say.
    #[error("{name} = {value}: accepted is {low} to {high} {unit}")]
    Range {
        /// Name of the knob.
        name: String,
        /// The value asked for.
        value: f64,
        /// Least accepted.
        low: f64,
        /// Most accepted.
        high: f64,
        /// Unit of all three.
        unit: &'static str,
    },
    /// The firmware's own check refuses the configuration.
    #[error("{name} = {value}: {reason}")]
    Configuration {
        /// Name of the knob.
        name: String,
        /// The value asked for.
        value: f64,
        /// What the check says.
        reason: ConfigError,
    },
}

/// The longest dwell that the firmware's check accepts, in milliseconds.
const LONGEST_DWELL_MS: f64 = 3_600_000.0;

/// A severity is known once it is known to a hundredth.
const SHARE: f64 = 0.01;

impl Knob {
    /// Its name: where the number stands in a case file.
    #[must_use]
    pub fn name(self, case: &Case) -> String {
        let change = self.set_by(case).map_or_else(String::new, |place| format!("change.{}.", place + 1));
        match self {
            Self::Trip(fault) => format!("{change}limits.{}.trip", fault.key()),
            Self::Release(fault) => format!("{change}limits.{}.release", fault.key()),
            Self::Dwell(fault) => format!("{change}limits.{}.dwell_ms", fault.key()),
            Self::ReleaseDwell(fault) => format!("{change}limits.{}.release_dwell_ms", fault.key()),
            Self::Severity(place) => {
                let unit = case.defects.get(place).map_or("", |defect| defect.kind.unit());
                format!("defect.{}.{}", place + 1, severity_key(unit).unwrap_or("severity"))
            }
            Self::Error(kind, place) => match kind.place().names().get(place) {
                Some(name) => format!("error.{}.{name}", kind.key()),
                None => format!("error.{}.{}", kind.key(), place + 1),
            },
        }
    }

    /// The fault whose limit or dwell it is.
    #[must_use]
    pub const fn fault(self) -> Option<Fault> {
        match self {
            Self::Trip(fault) | Self::Release(fault) | Self::Dwell(fault) | Self::ReleaseDwell(fault) => {
                Some(fault)
            }
            Self::Severity(_) | Self::Error(..) => None,
        }
    }

    /// The last change of the case that sets it, by its place in the list.
    fn set_by(self, case: &Case) -> Option<usize> {
        let sets = |change: &LimitChange| match self {
            Self::Trip(fault) => change.fault == fault && change.trip.is_some(),
            Self::Release(fault) => change.fault == fault && change.release.is_some(),
            Self::Dwell(fault) => change.fault == fault && change.dwell_ms.is_some(),
            Self::ReleaseDwell(fault) => change.fault == fault && change.release_dwell_ms.is_some(),
            Self::Severity(_) | Self::Error(..) => false,
        };
        let sets = |changed: &Changed| matches!(&changed.change, Change::Limits(all) if all.iter().any(sets));
        case.changes.iter().rposition(sets)
    }

    /// The value that a change of limits gives it.
    fn set_to(self, changed: &Changed) -> Option<f64> {
        let Change::Limits(all) = &changed.change else { return None };
        #[expect(clippy::cast_precision_loss, reason = "a dwell is less than an hour")]
        let milliseconds = |time: u64| time as f64;
        all.iter().rev().find_map(|change| match self {
            Self::Trip(fault) => change.trip.filter(|_| change.fault == fault),
            Self::Release(fault) => change.release.filter(|_| change.fault == fault),
            Self::Dwell(fault) => change.dwell_ms.filter(|_| change.fault == fault).map(milliseconds),
            Self::ReleaseDwell(fault) => {
                change.release_dwell_ms.filter(|_| change.fault == fault).map(milliseconds)
            }
            Self::Severity(_) | Self::Error(..) => None,
        })
    }

    /// The unit of its values.
    #[must_use]
    pub fn unit(self, case: &Case) -> &'static str {
        match self {
            Self::Trip(fault) | Self::Release(fault) => {
                case.config.faults.shown(fault).trip.map_or("", |trip| limits::scale(trip).unit)
            }
            Self::Dwell(_) | Self::ReleaseDwell(_) => "ms",
            Self::Severity(place) => case.defects.get(place).map_or("", |defect| defect.kind.unit()),
            Self::Error(kind, _) => kind.unit(),
        }
    }

    /// Where it stands in a case; nothing if the case has no such number.
    #[must_use]
    pub fn get(self, case: &Case) -> Option<f64> {
        if let Some(changed) = self.set_by(case).and_then(|place| case.changes.get(place)) {
            return self.set_to(changed);
        }
        let shown = |fault| case.config.faults.shown(fault);
        match self {
            Self::Trip(fault) => shown(fault).trip.map(decimal),
            Self::Release(fault) => shown(fault).release.map(decimal),
            Self::Dwell(fault) => Some(f64::from(shown(fault).dwell.0)),
            Self::ReleaseDwell(fault) => Some(f64::from(shown(fault).release_dwell.0)),
            Self::Severity(place) => case
                .defects
                .get(place)
                .filter(|defect| !defect.kind.unit().is_empty())
                .map(|own| own.severity),
            Self::Error(kind, place) => {
                let fits = place < kind.place().count(&case.pack.spec()) && case.defects.len() < MOST;
                fits.then_some(0.0)
            }
        }
    }

    /// Least and most that a case file may say; a value in between may still be refused beside other limits.
    #[must_use]
    pub fn range(self, case: &Case) -> Option<(f64, f64)> {
        match self {
            Self::Trip(fault) | Self::Release(fault) => {
                limits::range(fault, case.pack, case.tick_ms).map(|(low, high, _)| (low, high))
            }
            Self::Dwell(_) | Self::ReleaseDwell(_) => Some((0.0, LONGEST_DWELL_MS)),
            Self::Severity(place) => case.defects.get(place).map(|defect| defect.kind.range()),
            Self::Error(kind, _) => Some(kind.range()),
        }
    }

    /// How finely it is turned.
    #[must_use]
    pub fn grid(self, case: &Case) -> Grid {
        let of = |whole: f64, digits: u8| Grid { whole, digits, share: 0.0 };
        match self {
            Self::Trip(_) | Self::Release(_) => match (self.unit(case), self.get(case).unwrap_or_default()) {
                ("V", volts) if volts < 20.0 => of(1.0, 3),
                ("mΩ", _) => of(1.0, 3),
                ("°C/s" | "Ah", _) => of(1.0, 2),
                ("V" | "A" | "°C" | "%", _) => of(1.0, 1),
                _ => of(1.0, 0),
            },
            Self::Dwell(_) | Self::ReleaseDwell(_) => {
                of(f64::from(u32::try_from(case.tick_ms).unwrap_or(u32::MAX)), 0)
            }
            Self::Severity(_) => Grid { share: SHARE, ..Grid::three_digits(self.get(case).unwrap_or(1.0)) },
            Self::Error(kind, _) => match kind.unit() {
                "mV" => of(1.0, 1),
                _ => of(1.0, 2),
            },
        }
    }

    /// The case with this number turned to that value.
    ///
    /// # Errors
    /// When a case file would not be accepted with it.
    pub fn turned(self, case: &Case, value: f64) -> Result<Case, Unturned> {
        let accepted = self.accepted(case, value)?;
        let mut turned = case.clone();
        match (self, accepted) {
            (_, Some(Turned { limits, config, changes, later_limits })) => {
                turned.limits = limits;
                turned.config = config;
                turned.changes = changes;
                turned.later_limits = later_limits;
            }
            (Self::Severity(place), None) => {
                if let Some(defect) = turned.defects.get_mut(place) {
                    defect.severity = value;
                }
            }
            (Self::Error(kind, place), None) if value != 0.0 => {
                turned.defects.push(Defect { severity: value, ..Defect::usual(kind, place, 0.0) });
            }
            (_, None) => {}
        }
        Ok(turned)
    }

    /// Whether a case file would be accepted with that value.
    ///
    /// # Errors
    /// When it would not.
    pub fn check(self, case: &Case, value: f64) -> Result<(), Unturned> {
        self.accepted(case, value).map(|_| ())
    }

    /// The limits with that value, where it is one of them.
    fn accepted(self, case: &Case, value: f64) -> Result<Option<Turned>, Unturned> {
        let name = || self.name(case);
        if self.get(case).is_none() {
            return Err(Unturned::Missing { name: name() });
        }
        if let Some((low, high)) = self.range(case)
            && !(low..=high).contains(&value)
        {
            return Err(Unturned::Range { name: name(), value, low, high, unit: self.unit(case) });
        }
        let Some(fault) = self.fault() else { return Ok(None) };
        let (mut limits, mut changes) = (case.limits.clone(), case.changes.clone());
        let turned = match self.set_by(case).and_then(|place| changes.get_mut(place)) {
            Some(Changed { change: Change::Limits(later), .. }) => later,
            _ => &mut limits,
        };
        let known = turned.iter().position(|change| change.fault == fault);
        let place = known.unwrap_or_else(|| {
            turned.push(LimitChange {
                fault,
                trip: None,
                release: None,
                dwell_ms: None,
                release_dwell_ms: None,
            });
            turned.len() - 1
        });
        match self {
            Self::Release(_) => turned[place].release = Some(value),
            Self::Dwell(_) => turned[place].dwell_ms = Some(whole(value)),
            Self::ReleaseDwell(_) => turned[place].release_dwell_ms = Some(whole(value)),
            _ => turned[place].trip = Some(value),
        }
        let refused = |reason| Unturned::Configuration { name: name(), value, reason };
        let config = limits::configured(&limits, case.pack, case.tick_ms).map_err(refused)?;
        let later_limits = later_limits(&config, &changes).map_err(refused)?;
        Ok(Some(Turned { limits, config, changes, later_limits }))
    }
}

/// The limits of a case with one of them turned: those of its start, and later ones.
struct Turned {
    limits: Vec<LimitChange>,
    config: bms_core::Config,
    changes: Vec<Changed>,
    later_limits: Vec<LaterLimits>,
}

impl Grid {
    /// Three digits of a number.
    fn three_digits(of: f64) -> Self {
        let power = libm::floor(libm::log10(of.abs().max(1e-3))) - 2.0;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 5")]
        let digits = (-power).max(0.0) as u8;
        Self { whole: libm::pow(10.0, power.max(0.0)), digits, share: 0.0 }
    }

    /// The step between two neighbours.
    #[must_use]
    pub fn step(self) -> f64 {
        self.whole / libm::pow(10.0, f64::from(self.digits))
    }

    /// The nearest value on the grid, as exactly as its decimal digits say.
    #[must_use]
    pub fn on(self, value: f64) -> f64 {
        let scale = libm::pow(10.0, f64::from(self.digits));
        libm::rint(value * scale / self.whole) * self.whole / scale
    }

    /// A value on the grid between two, in the middle: of their logarithms where they are far apart. Nothing once they are as near to
    /// each other as it gets.
    #[must_use]
    pub fn between(self, one: f64, other: f64) -> Option<f64> {
        let (low, high) = (one.min(other), one.max(other));
        if high - low <= self.share * low.abs().max(high.abs()) {
            return None;
        }
        let far = low * high > 0.0 && (high / low > 2.0 || low / high > 2.0);
        let middle = if far { libm::sqrt(low * high).copysign(low) } else { f64::midpoint(low, high) };
        let middle = self.on(middle);
        (middle > low && middle < high).then_some(middle)
    }
}

/// A stored limit as people write it: rounded to the decimal digits that its store holds.
fn decimal(limit: bms_core::witness::Quantity) -> f64 {
    let bits_a_unit = limits::scale(limit).bits_a_unit;
    #[expect(clippy::cast_precision_loss, reason = "bits of a limit are far below 2⁵³")]
    let value = limit.bits() as f64 / bits_a_unit;
    let scale = libm::pow(10.0, libm::floor(libm::log10(bits_a_unit)).min(6.0));
    libm::rint(value * scale) / scale
}

/// A number of milliseconds that lies in the range of a dwell.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and an hour")]
fn whole(milliseconds: f64) -> u64 {
    libm::rint(milliseconds) as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    const CASE: &str = "schema = 1\ntitle = \"t\"\nstory = \"s\"\npack = \"crane\"\nseed = 1\nduration_s = 10\n\
        [start]\ncharge_percent = 60\ncelsius = 18\n\
        [[defect]]\nkind = \"loose_joint_tap_above\"\njoint = 37\nmilliohms = 2.0\nat_s = 3\n";

    fn case(more: &str) -> Case {
        Case::parse(&format!("{CASE}{more}"), "case.toml").unwrap_or_else(|error| panic!("{error}"))
    }

    /// Turned is what the file says that holds the value.
    #[test]
    fn a_turned_case_is_the_one_that_is_read_with_that_value() {
        for (knob, value, written) in [
            (Knob::Trip(Fault::CellOverVoltage), 3.7, "[limits.cell_over_voltage]\ntrip = 3.7\n"),
            (Knob::Release(Fault::CellOverVoltage), 3.5, "[limits.cell_over_voltage]\nrelease = 3.5\n"),
            (Knob::Dwell(Fault::InterlockOpen), 50.0, "[limits.interlock_open]\ndwell_ms = 50\n"),
            (
                Knob::ReleaseDwell(Fault::CellOverVoltage),
                3_000.0,
                "[limits.cell_over_voltage]\nrelease_dwell_ms = 3000\n",
            ),
            (
                Knob::Error(Kind::CellChannelOffset, 36),
                -12.5,
                "[[defect]]\nkind = \"cell_channel_offset\"\ncell = 37\nmillivolts = -12.5\n",
            ),
        ] {
            let (turned, read) = (knob.turned(&case(""), value).unwrap(), case(written));
            let of = |case: &Case| (case.limits.clone(), *case.config(), case.defects.clone());
            assert_eq!(of(&turned), of(&read), "{knob:?}");
        }
        let turned = Knob::Severity(0).turned(&case(""), 1.5).unwrap();
        assert_eq!(turned.defects[0], Defect { severity: 1.5, ..case("").defects[0] });
    }

    #[test]
    fn turned_to_where_it_stands_nothing_changes() {
        let stands = case("[limits.cell_over_voltage]\ntrip = 3.7\nrelease = 3.55\n");
        let limits = Fault::ALL.into_iter().flat_map(|fault| {
            [Knob::Trip(fault), Knob::Release(fault), Knob::Dwell(fault), Knob::ReleaseDwell(fault)]
        });
        for knob in limits.chain([Knob::Severity(0), Knob::Error(Kind::CurrentOffset, 0)]) {
            let Some(value) = knob.get(&stands) else { continue };
            let turned = knob.turned(&stands, value).unwrap_or_else(|error| panic!("{error}"));
            let apart = |limits: &bms_core::fault::FaultLimits, fault| {
                let shown = limits.shown(fault);
                (
                    shown.trip.map_or(0, bms_core::witness::Quantity::bits),
                    shown.release.map_or(0, bms_core::witness::Quantity::bits),
                    shown.dwell,
                )
            };
            for fault in Fault::ALL {
                let (was, now) = (apart(&stands.config.faults, fault), apart(&turned.config.faults, fault));
                // Stored more finely than anybody writes them: half of 0.1 mV are three bits.
                let near = |a: i64, b: i64| (a - b).abs() <= 4.max(a.abs() / 1_000_000);
                assert!(
                    near(was.0, now.0) && near(was.1, now.1) && was.2 == now.2,
                    "{}: {was:?} {now:?}",
                    knob.name(&stands)
                );
            }
            assert_eq!(turned.defects, stands.defects);
        }
    }

    #[test]
    fn what_is_refused_says_why() {
        let said = |knob: Knob, value| knob.check(&case(""), value).unwrap_err().to_string();
        assert_eq!(said(Knob::Severity(0), 500.0), "defect.1.milliohms = 500: accepted is 0.02 to 200 mΩ");
        assert_eq!(
            said(Knob::Trip(Fault::CellOverVoltage), 3.9),
            "limits.cell_over_voltage.trip = 3.9: faults.cell_over_voltage.trip = 3.9 V is too high for a second step of 3.75 V: less \
             than 3.75 V is accepted"
        );
        assert_eq!(said(Knob::Severity(3), 1.0), "defect.4.severity: the case has no such number");
    }

    #[test]
    fn a_grid_halves_until_two_neighbours_are_left() {
        let millivolts = Knob::Trip(Fault::CellOverVoltage).grid(&case(""));
        assert_eq!(millivolts.between(3.65, 3.66), Some(3.655));
        assert_eq!((millivolts.between(3.65, 3.651), millivolts.between(3.651, 3.65)), (None, None));
        let severity = Knob::Severity(0).grid(&case(""));
        assert_eq!(severity.between(200.0, 2.0), Some(20.0));
        assert_eq!((severity.between(1.5, 1.51), severity.between(1.5, 1.6)), (None, Some(1.55)));
        assert_eq!(
            Knob::Dwell(Fault::CellOverVoltage).grid(&case("")).between(2_000.0, 2_030.0),
            Some(2_020.0)
        );
    }
}
