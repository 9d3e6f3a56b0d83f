//! The fuse in the middle of the string: how long it bears a current.
//!
//! Its curve is given by points, joined straight on logarithmic scales: the published form of every fuse's curve. Below the first point
//! it never melts, beyond the last one the melting integral `I²t` stays what it is there, since no heat leaves the strip any more. A
//! held current `I` does `dt / t(I)` of the melting in `dt`; what is not finished cools off.

use super::spec::FuseSpec;

/// Time to melt at a held current, in seconds; none below the first point.
#[must_use]
pub fn melting_seconds(fuse: &FuseSpec, amps: f64) -> Option<f64> {
    if amps < fuse.melts[0].0 {
        return None;
    }
    let last = fuse.melts[fuse.melts.len() - 1];
    let above = fuse.melts.array_windows().find(|[_, high]| amps < high.0);
    Some(match above {
        Some(&[low, high]) => {
            let share = libm::log(amps / low.0) / libm::log(high.0 / low.0);
            low.1 * libm::pow(high.1 / low.1, share)
        }
        None => last.1 * (last.0 / amps) * (last.0 / amps),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::spec::PackSpec;

    #[test]
    fn the_melting_curve_is_met_at_its_points_and_falls_in_between() {
        let fuse = PackSpec::crane().bus.fuse;
        assert_eq!(melting_seconds(&fuse, 499.0), None);
        for (amps, seconds) in fuse.melts {
            assert!((melting_seconds(&fuse, amps).unwrap() / seconds - 1.0).abs() < 1e-9);
        }
        assert!((melting_seconds(&fuse, 8_000.0).unwrap() - 0.002).abs() < 1e-9);
    }
}
