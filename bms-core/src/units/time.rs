//! Time, which arrives from outside and is never asked for.

/// A duration in milliseconds, 0 to 49.7 days; sums saturate, differences stop at zero.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Millis(pub u32);

impl Millis {
    /// No time.
    pub const ZERO: Self = Self(0);
    /// Longer than anything waits: also "never".
    pub const MAX: Self = Self(u32::MAX);

    /// From whole seconds, saturating.
    #[must_use]
    pub const fn from_seconds(seconds: u32) -> Self {
        Self(seconds.saturating_mul(1_000))
    }

    /// So many times as long, saturating.
    #[must_use]
    pub const fn times(self, count: u8) -> Self {
        Self(self.0.saturating_mul(count as u32))
    }
}

impl core::ops::Add for Millis {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl core::ops::Sub for Millis {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

/// When a frame was taken: milliseconds of a counter that wraps after 49.7 days.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Instant(pub u32);

impl Instant {
    /// The time since an earlier instant; `None` when that one is not earlier: a difference of 2³¹ ms or more is read as the
    /// past, since the counter wraps.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Option<Millis> {
        let elapsed = self.0.wrapping_sub(earlier.0);
        if elapsed < 1 << 31 { Some(Millis(elapsed)) } else { None }
    }
}

/// Time the controller has been told of since it started, in milliseconds: 64 bits, never wraps.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Uptime(pub u64);

impl Uptime {
    /// Later by that time.
    #[must_use]
    pub const fn after(self, elapsed: Millis) -> Self {
        Self(self.0.saturating_add(elapsed.0 as u64))
    }

    /// The time since an earlier one, saturating at 49.7 days.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Millis {
        let elapsed = self.0.saturating_sub(earlier.0);
        if elapsed > u32::MAX as u64 { Millis::MAX } else { Millis(elapsed as u32) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_counter_wraps_and_an_older_frame_is_known() {
        assert_eq!(Instant(5).since(Instant(u32::MAX - 4)), Some(Millis(10)));
        assert_eq!(Instant(5).since(Instant(6)), None);
        assert_eq!(Instant(5).since(Instant(5)), Some(Millis::ZERO));
    }
}
