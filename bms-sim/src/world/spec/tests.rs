//! What is bolted into a pack agrees with itself, and with what the firmware is told.

use super::*;
use bms_core::Config;

/// 307 V / 87 mΩ = 3.5 kA: the dead short that the design reckons with.
#[test]
fn the_crane_pack_has_87_milliohms() {
    let spec = PackSpec::crane();
    let path = 96.0 * (spec.cell.ohms + spec.joint_ohms)
        + spec.bus.cable_ohms
        + 2.0 * spec.bus.contactor.contact_ohms;
    assert!((path - 0.087).abs() < 1e-9, "{path}");
}

/// What the firmware is told of its sensors is what they are: a reading at the end of its range means that more may flow.
#[test]
fn the_current_sensors_end_where_the_firmware_is_told() {
    let packs = [(PackSpec::crane(), Config::crane()), (PackSpec::trainer(), Config::trainer())];
    for (spec, config) in packs {
        let told = [config.pack.current_range, config.pack.current_check_range];
        let fitted = [spec.sensors.current.range, spec.sensors.current_check.range];
        for (told, fitted) in told.into_iter().zip(fitted) {
            assert!((f64::from(told.milli()) / 1_000.0 - fitted).abs() < 1e-3, "{told} {fitted}");
        }
    }
}

#[test]
fn thermistors_sit_inside_their_modules() {
    let spec = PackSpec::crane();
    let seats: Vec<_> = (0..16).map(|thermistor| spec.cell_of_thermistor(thermistor)).collect();
    assert_eq!(seats[..4], [3, 9, 15, 21]);
    assert!(seats.iter().enumerate().all(|(place, cell)| spec.module_of(*cell) == place / 2));
}
