//! What of a case varies from run to run.
//!
//! | what | unit | accepted | drawn for |
//! | --- | --- | --- | --- |
//! | `start.charge_percent` | % | 0 to 100 | each prefix |
//! | `start.celsius` | °C | −40 to 85 | each prefix |
//! | `surroundings.celsius` | °C | −40 to 85: that temperature for the whole story | each prefix |
//! | `resistance_percent` | % of the nominal resistance of every cell; the firmware is not told | 10 to 1000 | each prefix |
//! | `sensor_tolerance` | how far every channel is off, in parts of its tolerance, instead of where the seed puts each | −1 to 1 | each prefix |
//! | `duty.rate_percent` | % of the strength of every phase | 0 to 200 | each prefix |
//! | `defect.1.at_s` | s, the onset | within the story | each prefix |
//! | `defect.1.milliohms` | as the key says, the severity | that of the kind | each run |
//! | `defect.1.cell` | the place, as the key says; places with names by their number in `list defects`, from 1 | those of the pack | each run |
//!
//! The seed of noise and scatter is drawn for each prefix besides.

use crate::case::{Case, Surrounding, severity_key};
use crate::run::Loop;

/// A number of a case that varies.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum What {
    /// State of charge at the start, in %.
    Charge,
    /// Temperature of the pack at the start, in °C.
    Celsius,
    /// Temperature around the pack for the whole story, in °C.
    Around,
    /// Resistance of every cell, in % of nominal.
    Resistance,
    /// How far every channel is off, −1 to 1 of its tolerance.
    Sensors,
    /// Strength of every phase, in % of what the case says.
    Rate,
    /// When the defect at this place of the list begins, in seconds.
    Onset(usize),
    /// How bad it is, in the unit of its kind.
    Severity(usize),
    /// Where it is, counted from 1.
    Place(usize),
}

impl What {
    /// All that can vary in a case.
    #[must_use]
    pub fn all(case: &Case) -> Vec<Self> {
        let mut all =
            vec![Self::Charge, Self::Celsius, Self::Around, Self::Resistance, Self::Sensors, Self::Rate];
        for (place, defect) in case.defects.iter().enumerate() {
            all.push(Self::Onset(place));
            if severity_key(defect.kind.unit()).is_some() {
                all.push(Self::Severity(place));
            }
            if defect.kind.place().key().is_some() {
                all.push(Self::Place(place));
            }
        }
        all
    }

    /// Its name: where the number stands in a case file, if it does.
    #[must_use]
    pub fn name(self, case: &Case) -> String {
        let defect = |place: usize| case.defects.get(place).map(|defect| defect.kind);
        match self {
            Self::Charge => "start.charge_percent".to_owned(),
            Self::Celsius => "start.celsius".to_owned(),
            Self::Around => "surroundings.celsius".to_owned(),
            Self::Resistance => "resistance_percent".to_owned(),
            Self::Sensors => "sensor_tolerance".to_owned(),
            Self::Rate => "duty.rate_percent".to_owned(),
            Self::Onset(place) => format!("defect.{}.at_s", place + 1),
            Self::Severity(place) => {
                let key = defect(place).and_then(|kind| severity_key(kind.unit()));
                format!("defect.{}.{}", place + 1, key.unwrap_or("severity"))
            }
            Self::Place(place) => {
                let key = defect(place).and_then(|kind| kind.place().key());
                format!("defect.{}.{}", place + 1, key.unwrap_or("place"))
            }
        }
    }

    /// The unit of its values, empty where they are counted.
    #[must_use]
    pub fn unit(self, case: &Case) -> &'static str {
        match self {
            Self::Charge | Self::Resistance | Self::Rate => "%",
            Self::Celsius | Self::Around => "°C",
            Self::Onset(_) => "s",
            Self::Severity(place) => case.defects.get(place).map_or("", |defect| defect.kind.unit()),
            Self::Sensors | Self::Place(_) => "",
        }
    }

    /// Least and most that it may be.
    #[must_use]
    pub fn range(self, case: &Case) -> (f64, f64) {
        match self {
            Self::Charge => (0.0, 100.0),
            Self::Celsius | Self::Around => (-40.0, 85.0),
            Self::Resistance => (10.0, 1_000.0),
            Self::Sensors => (-1.0, 1.0),
            Self::Rate => (0.0, 200.0),
            Self::Onset(_) => (0.0, case.duration_seconds),
            Self::Severity(place) => case.defects.get(place).map_or((0.0, 0.0), |defect| defect.kind.range()),
            Self::Place(place) => {
                let count =
                    case.defects.get(place).map_or(1, |defect| defect.kind.place().count(&case.pack.spec()));
                (1.0, f64::from(u32::try_from(count).unwrap_or(u32::MAX)))
            }
        }
    }

    /// Whether only whole numbers make sense.
    #[must_use]
    pub const fn is_counted(self) -> bool {
        matches!(self, Self::Place(_))
    }

    /// Whether it concerns the defect alone from its onset on, so that runs that differ in nothing else are the same until then.
    #[must_use]
    pub const fn begins_at_onset(self) -> bool {
        matches!(self, Self::Severity(_) | Self::Place(_))
    }

    /// Writes a value of it into a case, as far as it stands there.
    pub(super) fn write(self, case: &mut Case, value: f64) {
        match self {
            Self::Charge => case.start.charge = value / 100.0,
            Self::Celsius => case.start.celsius = value,
            Self::Around => case.surroundings = vec![Surrounding { at_seconds: 0.0, celsius: value }],
            Self::Rate => case.duty.iter_mut().for_each(|phase| phase.amps *= value / 100.0),
            Self::Onset(place) => {
                if let Some(defect) = case.defects.get_mut(place) {
                    // On a millisecond, as a case file is played.
                    defect.onset_seconds = libm::rint(value * 1_000.0) / 1_000.0;
                }
            }
            Self::Severity(place) => {
                if let Some(defect) = case.defects.get_mut(place) {
                    defect.severity = value;
                }
            }
            Self::Place(place) => {
                if let Some(defect) = case.defects.get_mut(place) {
                    #[expect(
                        clippy::cast_possible_truncation,
                        clippy::cast_sign_loss,
                        reason = "a place, from 1"
                    )]
                    let counted = value as usize;
                    defect.place = counted.saturating_sub(1);
                }
            }
            Self::Resistance | Self::Sensors => {}
        }
    }
}

/// What of a pack is otherwise than a case can say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Build {
    resistance_percent: Option<f64>,
    sensors: Option<f64>,
}

impl Build {
    pub(super) fn of(drawn: impl Iterator<Item = (What, f64)>) -> Self {
        drawn.fold(Self::default(), |build, (what, value)| match what {
            What::Resistance => Self { resistance_percent: Some(value), ..build },
            What::Sensors => Self { sensors: Some(value), ..build },
            _ => build,
        })
    }

    /// Makes a pack such a one, before anything has happened to it.
    pub(super) fn bring<const CELLS: usize, const THERMISTORS: usize>(
        self,
        pack: &mut Loop<CELLS, THERMISTORS>,
    ) {
        if let Some(percent) = self.resistance_percent {
            pack.world.scale_resistance(percent / 100.0);
        }
        if let Some(off) = self.sensors {
            pack.world.recalibrate(|_| off);
        }
    }
}
