//! What is said to somebody with a meter in the hand.

/// The meter on its known source.
#[must_use]
pub fn on_source(volts: f64) -> String {
    format!("on the known source the meter shows {volts:.1} V, as it should: it works")
}

/// What the meter shows between two points.
#[must_use]
pub fn reads(red: &str, black: &str, volts: f64, dead: bool) -> String {
    let volts = format!("{volts:.1}").replace('-', "−");
    let live = if dead { "" } else { ": live" };
    format!("{red} to {black}: {volts} V{live}")
}

/// Pack and link were not parted.
#[must_use]
pub fn not_open() -> String {
    "the contactors are not open: stop first, and keep it from being started again (lock-out)".to_owned()
}

/// The meter was not shown to work before.
#[must_use]
pub fn not_shown_before() -> String {
    "left out: the meter was not proven on a known source before; one that has failed shows zero everywhere"
        .to_owned()
}

/// The meter was not shown to work afterwards.
#[must_use]
pub fn not_shown_after() -> String {
    "left out: the meter was not proven on a known source after the last reading; it may have failed meanwhile".to_owned()
}

/// A pair was not measured.
#[must_use]
pub fn left_out(one: &str, other: &str) -> String {
    format!("left out: {one} to {other} was not measured")
}

/// A pair is live.
#[must_use]
pub fn live(one: &str, other: &str, volts: f64, limit: f64) -> String {
    let volts = format!("{volts:.1}").replace('-', "−");
    format!("{one} to {other} showed {volts} V: not dead, which is below {limit:.0} V")
}

/// A pair was measured before the labelled time was over.
#[must_use]
pub fn too_early(one: &str, other: &str, seconds: f64) -> String {
    format!(
        "{one} to {other} was measured too early: wait the labelled {seconds:.0} s after opening, and again after a motor has turned"
    )
}

/// Every step was done, and every pair is dead.
#[must_use]
pub fn proven_dead() -> String {
    "the link is proven dead at every pair of points, with the meter proven before and after. The pack itself stays live: B+ to B−, and each half of it"
        .to_owned()
}
