//! # Scales: what a fraction of the converter's reference means
//!
//! A scale turns the converter's ratio into volts or amperes. Two facts of it stand in the configuration as well: from which
//! current on a sensor stands at the end of its range, and which points are measured. If the two told different things, a reading
//! would stop short of the end that the core waits for, and a missing point would be believed as 0 V. So a board takes
//! scales only once they fit its configuration.

use crate::config::{Config, MeasuringPoints};
use crate::units::{Amps, Ratio, Volts};
use core::fmt::{Display, Formatter, Result};

/// A straight line from a fraction of the reference to a quantity.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Scale<Q> {
    /// The quantity at a ratio of 0.
    pub at_zero: Q,
    /// The quantity at a ratio of 1.
    pub at_full: Q,
}

macro_rules! scale {
    ($($quantity:ident)+) => {
        $(impl Scale<$quantity> {
            /// The quantity at a ratio, rounded towards minus infinity to one step.
            #[must_use]
            pub fn at(&self, ratio: Ratio) -> $quantity {
                self.at_zero + (self.at_full - self.at_zero).scaled(ratio)
            }
        })+
    };
}

scale! { Volts Amps }

/// How the analogue inputs are scaled.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Scales {
    /// Main current sensor, positive when it charges the pack.
    pub current: Scale<Amps>,
    /// Second current sensor, positive when it charges the pack.
    pub current_check: Scale<Amps>,
    /// B+ to B−.
    pub pack: Scale<Volts>,
    /// B+ to L−; `None` where this point is not measured, as `sensing.points` then says too.
    pub behind_negative: Option<Scale<Volts>>,
    /// L+ to B−; `None` where this point is not measured, as `sensing.points` then says too.
    pub behind_positive: Option<Scale<Volts>>,
    /// L+ to L−.
    pub link: Scale<Volts>,
    /// Each pole against the chassis; `None` where they are not measured, as `sensing.points` then says too.
    pub poles: Option<Scale<Volts>>,
    /// Auxiliary supply.
    pub supply: Scale<Volts>,
}

impl Scales {
    /// Holds them against the configuration that the controller works with.
    ///
    /// # Errors
    ///
    /// The first scale that is narrower than the range configured for its sensor, or that says otherwise than the configuration
    /// whether a point is measured.
    pub fn fit(self, config: &Config) -> core::result::Result<FittedScales, Misfit> {
        let (pack, MeasuringPoints { behind_negative, behind_positive, poles, .. }) =
            (&config.pack, config.sensing.points);
        for (scale, spans, key, range) in [
            ("current", self.current, "pack.current_range", pack.current_range),
            ("current_check", self.current_check, "pack.current_check_range", pack.current_check_range),
        ] {
            let (low, high) = (spans.at_zero.min(spans.at_full), spans.at_zero.max(spans.at_full));
            if low > -range || high < range {
                return Err(Misfit::Narrow { scale, spans, key, range });
            }
        }
        for (scale, scaled, key, measured) in [
            ("behind_negative", self.behind_negative, "sensing.points.behind_negative", behind_negative),
            ("behind_positive", self.behind_positive, "sensing.points.behind_positive", behind_positive),
            ("poles", self.poles, "sensing.points.poles", poles),
        ] {
            if scaled.is_some() != measured {
                return Err(Misfit::Point { scale, key, measured });
            }
        }
        Ok(FittedScales(self))
    }
}

/// Scales that fit the configuration: what a [`Board`](super::Board) takes. Only [`Scales::fit`] makes them.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FittedScales(Scales);

impl FittedScales {
    /// The scales.
    #[must_use]
    pub const fn get(&self) -> &Scales {
        &self.0
    }
}

/// Where scales and configuration contradict each other. It reads as a sentence.
#[derive(Clone, Copy, Debug, Hash, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Misfit {
    /// A current's scale ends before the range configured for its sensor: a reading would never stand at the end of its range.
    Narrow {
        /// The field of [`Scales`].
        scale: &'static str,
        /// What it spans.
        spans: Scale<Amps>,
        /// The value of the configuration.
        key: &'static str,
        /// The range there, either way.
        range: Amps,
    },
    /// One says that a point is measured, the other that it is not.
    Point {
        /// The field of [`Scales`].
        scale: &'static str,
        /// The value of the configuration.
        key: &'static str,
        /// What the configuration says.
        measured: bool,
    },
}

impl Display for Misfit {
    fn fmt(&self, to: &mut Formatter<'_>) -> Result {
        match self {
            Self::Narrow { scale, spans: Scale { at_zero, at_full }, key, range } => {
                write!(
                    to,
                    "scale `{scale}` spans {at_zero} to {at_full}, less than {key} = {range} either way"
                )
            }
            Self::Point { scale, key, measured: true } => {
                write!(to, "there is no scale `{scale}`, but {key} says that the point is measured")
            }
            Self::Point { scale, key, measured: false } => {
                write!(to, "there is a scale `{scale}`, but {key} says that the point is not measured")
            }
        }
    }
}

impl core::error::Error for Misfit {}
