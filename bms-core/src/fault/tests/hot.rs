//! Heat that a thermistor cannot show, and short circuits that look like it.

use super::*;

/// Ohms of B57330V2103 by 5 °C from 40 to 125 °C, as printed (data sheet as reproduced in the Linux kernel's `ntc_thermistor.c`), and on to less
/// than the 101 Ω of the rail.
const CLIMB: [i64; 27] = [
    5_825, 4_911, 4_158, 3_536, 3_019, 2_588, 2_227, 1_924, 1_668, 1_451, 1_266, 1_108, 973, 857, 757, 671,
    596, 531, 470, 415, 365, 320, 280, 245, 150, 90, 40,
];

impl Paper<16, 8> {
    /// The first thermistor at so many ohms, for so long.
    fn shows(&mut self, ohms: i64, ms: u32) -> &mut Self {
        let share = Ratio::from_wide(ohms * 65_536 / (ohms + 10_000));
        *self.frame.thermistors.value.at_mut(0).expect("the sensor exists") = share;
        self.for_ms(ms)
    }
}

/// 20 °C a second: 45 °C after a quarter of a second, the end of the table after 4.25 s and the rail after 6.25 s, each of them before five full
/// seconds of rise have been seen.
#[test]
fn a_runaway_beyond_what_the_thermistor_shows_is_found() {
    let mut paper = trainer();
    paper.ratios(368, &[]).for_ms(3_000);
    for pair in CLIMB.windows(2) {
        for tick in 0..25 {
            paper.shows(pair[0] + (pair[1] - pair[0]) * tick / 25, 10);
        }
    }
    assert!(paper.confirmed(Fault::OverTemperatureFar));
    paper.shows(40, 4_000);
    assert!(paper.confirmed(Fault::TemperatureRisingFast) && paper.confirmed(Fault::OverTemperatureFar));
    assert_eq!(paper.remembers(Fault::TemperatureRisingFast), Some(Place::Thermistor(0)));
    assert_eq!(paper.remembers(Fault::ThermistorShorted), None);
    // It stays so for as long as it stands there, whoever wants to clear it.
    paper.for_ms(60_000).clear(Clearance::Service);
    assert!(paper.confirmed(Fault::TemperatureRisingFast) && paper.confirmed(Fault::OverTemperatureFar));
}

#[test]
fn a_shorted_thermistor_is_no_runaway() {
    let mut paper = trainer();
    paper.for_ms(3_000).shows(0, 10_000);
    assert!(paper.confirmed(Fault::ThermistorShorted));
    assert_eq!(paper.remembers(Fault::OverTemperature), None);
    assert_eq!(paper.remembers(Fault::TemperatureRisingFast), None);
}
