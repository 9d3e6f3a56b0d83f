//! How noise behaves, and how long it takes to deceive a dwell.

use crate::{near, rows};
use bms_core::fault::{Counter, Dwells, Reading, Stage};
use bms_core::units::Millis;
use bms_sim::world::noise::Noise;

const RUNS: &str = include_str!("data/run_waiting_times.csv");

/// Feller, An Introduction to Probability Theory, vol. I, chapter XIII: mean and scatter of the time to a run of n exceedances. The
/// stage confirms with its dwell of n − 1 ticks; the noise is that of the sensors. Four standard errors are allowed.
///
/// Where the table has them, so many of the waits as it says are no longer than its median and its 99 % quantile (by exact recursion).
fn waits_as_feller_says(sigmas: f32, (probability, run): (f64, f64), trials: usize) {
    let printed = rows(RUNS);
    let printed =
        printed.iter().find(|row| (row[0] - probability).abs() < 1e-9 && (row[1] - run).abs() < 0.1);
    let printed = printed.expect("the table has this row");
    let dwells =
        Dwells { trip: Millis((run as u32 - 1) * 10), release: Millis(1_000), counter: Counter::Resetting };
    let noise = Noise::new(20_260_101);
    let (mut stages, mut waits) = ([(Stage::Clear, 0_u32); 96], Vec::new());
    let mut tick = 0;
    while waits.len() < trials {
        for (draw, (stage, waited)) in noise.draws::<96, 16>(tick).cells().iter().zip(&mut stages) {
            let seen = if *draw > sigmas { Reading::Beyond } else { Reading::Within };
            *waited += 1;
            *stage = stage.next(seen, Millis(10), dwells);
            if matches!(stage, Stage::Confirmed { .. }) {
                waits.push(f64::from(*waited));
                (*stage, *waited) = (Stage::Clear, 0);
            }
        }
        tick += 1;
    }
    let mean = waits.iter().sum::<f64>() / waits.len() as f64;
    // Runs that are still going when the last one ends are long ones: they cost at most one wait in each of the 96 rows.
    let cut = printed[2] * 96.0 / waits.len() as f64;
    near(mean, printed[2], 4.0 * printed[3] / (waits.len() as f64).sqrt() + cut, "ticks");
    for (quantile, share) in [(printed[4], 0.5), (printed[5], 0.99)] {
        let error = 4.0 * (share * (1.0 - share) / waits.len() as f64).sqrt() + cut / printed[2];
        let shorter =
            |than: f64| waits.iter().filter(|wait| **wait < than + 0.5).count() as f64 / waits.len() as f64;
        assert!(shorter(quantile) > share - error, "{share} wait at most {quantile} ticks");
        assert!(shorter(quantile - 1.0) < share + error, "{share} wait longer than {quantile} − 1 ticks");
    }
}

#[test]
fn two_in_a_row_beyond_one_sigma() {
    waits_as_feller_says(1.0, (0.158_655_253_9, 2.0), 20_000);
}

#[test]
fn three_in_a_row_beyond_one_sigma() {
    waits_as_feller_says(1.0, (0.158_655_253_9, 3.0), 10_000);
}

#[test]
fn two_in_a_row_beyond_two_sigma() {
    waits_as_feller_says(2.0, (0.022_750_131_9, 2.0), 4_000);
}

#[test]
fn five_in_a_row_of_even_chances() {
    waits_as_feller_says(0.0, (0.5, 5.0), 20_000);
}

#[test]
fn one_beyond_three_sigma() {
    waits_as_feller_says(3.0, (0.001_349_898, 1.0), 4_000);
}

#[test]
fn two_in_a_row_of_even_chances() {
    waits_as_feller_says(0.0, (0.5, 2.0), 20_000);
}

#[test]
fn three_in_a_row_of_even_chances() {
    waits_as_feller_says(0.0, (0.5, 3.0), 20_000);
}

#[test]
fn five_in_a_row_of_nine_in_ten() {
    waits_as_feller_says(-1.281_551_6, (0.9, 5.0), 10_000);
}

#[test]
fn two_in_a_row_of_one_in_twenty() {
    waits_as_feller_says(1.644_853_6, (0.05, 2.0), 6_000);
}

#[test]
fn five_in_a_row_below_one_sigma() {
    waits_as_feller_says(-1.0, (0.841_344_746_1, 5.0), 10_000);
}

#[test]
fn eight_in_a_row_of_nineteen_in_twenty() {
    waits_as_feller_says(-1.644_853_6, (0.95, 8.0), 10_000);
}

#[test]
fn one_beyond_two_sigma() {
    waits_as_feller_says(2.0, (0.022_750_131_9, 1.0), 20_000);
}

/// Tails of the normal distribution (`SciPy` 1.17.1): 2 σ 2.275e-2, 3 σ 1.3499e-3, 4 σ 3.167e-5. Four standard errors are allowed.
#[test]
fn the_sensors_noise_has_normal_tails() {
    let (noise, ticks) = (Noise::new(7), 40_000_u32);
    let mut beyond = [0_u32; 3];
    for tick in 0..ticks {
        for draw in noise.draws::<96, 16>(tick.into()).cells() {
            for (count, sigmas) in beyond.iter_mut().zip([2.0, 3.0, 4.0]) {
                *count += u32::from(*draw > sigmas);
            }
        }
    }
    let draws = 96.0 * f64::from(ticks);
    for (count, tail) in beyond.into_iter().zip([2.275e-2, 1.3499e-3, 3.167e-5]) {
        near(f64::from(count), draws * tail, 4.0 * (draws * tail).sqrt(), "beyond");
    }
}

/// The mean of the greatest of n normal draws (by quadrature, `SciPy` 1.17.1; half of the control chart's d2 of ASTM, 3.258 for 12 and
/// 3.532 for 16): this much a highest cell or a warmest sensor stands above the others by noise alone.
#[test]
fn the_greatest_of_many_stands_as_high_as_computed() {
    for (of, mean, sigma) in [
        (2, 0.564_19, 0.825_65),
        (3, 0.846_28, 0.747_98),
        (5, 1.162_96, 0.668_98),
        (8, 1.423_60, 0.610_65),
        (10, 1.538_75, 0.586_81),
        (12, 1.629_23, 0.568_89),
        (16, 1.765_99, 0.543_15),
        (20, 1.867_48, 0.525_07),
        (24, 1.947_67, 0.511_38),
        (32, 2.069_67, 0.491_55),
        (48, 2.233_12, 0.466_76),
        (64, 2.343_73, 0.451_09),
        (96, 2.492_97, 0.431_29),
    ] {
        let (noise, ticks) = (Noise::new(11), 10_000_u32);
        let greatest = |tick: u32| {
            let draws = noise.draws::<96, 16>(tick.into());
            f64::from(draws.cells()[..of].iter().copied().fold(f32::MIN, f32::max))
        };
        let found = (0..ticks).map(greatest).sum::<f64>() / f64::from(ticks);
        near(found, mean, 4.0 * sigma / f64::from(ticks).sqrt() + 1e-3, &format!("σ, greatest of {of}"));
    }
}
