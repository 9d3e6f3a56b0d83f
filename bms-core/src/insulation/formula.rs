//! The formula of the two readings, in integers.

use super::window::Means;
use super::{Insulated, InsulationSide};
use crate::config::InsulationFacts;
use crate::frame::Pole;
use crate::units::{Ohms, Uptime, Volts};

/// What both readings say, with the meters taken out.
pub(super) fn insulated(
    (pole, plain, loaded): (Pole, Means, Means),
    side: InsulationSide,
    at: Uptime,
    facts: &InsulationFacts,
) -> Insulated {
    let weaker = match pole {
        Pole::Negative => Pole::Positive,
        Pole::Positive => Pole::Negative,
    };
    let (pack, volts) = (plain.pack(), plain.of(pole));
    let found = two_readings(facts.known, (pack, volts), (loaded.pack(), loaded.of(pole)));
    let stronger = other_pole(found, volts, pack - volts);
    let beside = |ohms| without_meter(ohms, facts.meter);
    Insulated { at, weaker, ohms: beside(found), stronger: beside(stronger), pack, side }
}

/// `Ri = Ro · (Vb′/V′ − Vb/V)`, each voltage with the pack's of the same reading.
pub(super) fn two_readings(
    known: Ohms,
    (pack, volts): (Volts, Volts),
    (pack_loaded, volts_loaded): (Volts, Volts),
) -> Ohms {
    // 2³¹ · 2³² has room; in steps of 2⁻³² the quotients round to less than an ohm. Nothing at a pole is as if it lay at the chassis.
    let share = |pack: Volts, volts: Volts| {
        (i64::from(pack.bits()) << 32).checked_div(volts.bits().max(1).into()).unwrap_or(i64::MAX)
    };
    let difference = share(pack_loaded, volts_loaded).saturating_sub(share(pack, volts)).max(0);
    // The product of 32 and up to 63 bits: the whole part and the fraction one by one.
    let (whole, fraction) = (difference >> 32, difference & 0xffff_ffff);
    let known = i64::from(known.0);
    let fraction = (known >> 1).saturating_mul(fraction) >> 31;
    saturated(known.saturating_mul(whole).saturating_add(fraction))
}

/// The pole that was measured: the voltages of the two poles are as their resistances.
fn other_pole(weaker: Ohms, volts: Volts, of_weaker: Volts) -> Ohms {
    let product = i64::from(weaker.0).saturating_mul(volts.bits().into());
    saturated(product.checked_div(of_weaker.bits().max(1).into()).unwrap_or(i64::MAX))
}

/// `1/R = 1/Ri − 1/meter`: what is left of a leak when the meter's own is taken out.
pub(super) fn without_meter(with: Ohms, meter: Ohms) -> Ohms {
    let (with, meter) = (i64::from(with.0), i64::from(meter.0));
    let left = meter.saturating_sub(with);
    if left <= 0 {
        return Ohms(u32::MAX);
    }
    // Two factors of 32 bits: one of them halved, so that the product has room.
    let product = (with >> 1).saturating_mul(meter);
    saturated(product.checked_div(left).unwrap_or(i64::MAX).saturating_mul(2))
}

fn saturated(ohms: i64) -> Ohms {
    Ohms(u32::try_from(ohms).unwrap_or(u32::MAX))
}
