use super::*;
use crate::world::spec::PackSpec;

/// A network of leaks only, without meter, with the Y-capacitors of the crane.
fn bare(switched_ohms: f64) -> (Insulation, BusSpec) {
    let mut spec = PackSpec::crane().bus;
    spec.insulation.switched_ohms = switched_ohms;
    (spec.insulation.meter_ohms, spec.insulation.pack_ohms, spec.insulation.load_ohms) = (1e15, 1e15, 1e15);
    (Insulation::new(&spec), spec)
}

const OPEN: Chassis = Chassis {
    string: StringLeaks { siemens: [0.0; 2], amps: [0.0; 2], towards_plus: 0.0 },
    resistor: ToChassis::Open,
};

/// Settles for a minute with a dead link held at the negative pole.
fn settled(insulation: &mut Insulation, volts: f64, leaks: &Leaks, chassis: &Chassis) -> [f64; 2] {
    let pairs = Pairs { pack: volts, link: 0.0 };
    for _ in 0..6_000 {
        insulation.settle(0.01, pairs, Hold::AtNegative, leaks, chassis);
    }
    [insulation.negative_volts(pairs), insulation.positive_volts(pairs)]
}

/// The two readings of UN R100 (annex on isolation, seen): V1 = negative pole to chassis, V2 = positive pole to chassis, then Ro across the
/// pole with the larger one, V′; Ri = Ro·(Vb/V′ − Vb/V). The rows are worked out from the formula, the first one confirmed with ngspice
/// 39.3 (333.3333, 66.6667, 181.8182 V). 40 kΩ at 400 V lie exactly on the limit of 100 Ω/V. Ri is the weaker pole's resistance.
#[test]
fn two_readings_give_the_weaker_pole_of_the_standard() {
    let rows = [
        (400.0, 200e3, 1e6, 200e3, ToChassis::Negative, 333.333_333, 66.666_667, 181.818_182, 200e3),
        (400.0, 1e6, 200e3, 200e3, ToChassis::Positive, 66.666_667, 333.333_333, 181.818_182, 200e3),
        (400.0, 40e3, 10e6, 200e3, ToChassis::Negative, 398.406_375, 1.593_625, 332.225_914, 40e3),
        (400.0, 500e3, 500e3, 200e3, ToChassis::Negative, 200.0, 200.0, 88.888_889, 500e3),
        (350.0, 30e3, 2e6, 175e3, ToChassis::Negative, 344.827_586, 5.172_414, 295.003_010, 30e3),
        (800.0, 300e3, 900e3, 400e3, ToChassis::Negative, 600.0, 200.0, 384.0, 300e3),
    ];
    for (vb, plus, minus, ro, at, v1, v2, with_ro, ri) in rows {
        let (mut insulation, _) = bare(ro);
        let leaks = Leaks { positive: 1.0 / plus, negative: 1.0 / minus, load_positive: 0.0 };
        let plain = settled(&mut insulation, vb, &leaks, &OPEN);
        assert!((plain[0] - v1).abs() < 1e-5 && (plain[1] - v2).abs() < 1e-5, "{plain:?} for {v1} {v2}");
        let loaded = settled(&mut insulation, vb, &leaks, &Chassis { resistor: at, ..OPEN });
        let pole = usize::from(at == ToChassis::Positive);
        assert!((loaded[pole] - with_ro).abs() < 1e-5, "{loaded:?} for {with_ro}");
        let found = ro * (vb / loaded[pole] - vb / plain[pole]);
        assert!((found / ri - 1.0).abs() < 1e-6, "{found} for {ri}");
        let pairs = Pairs { pack: vb, link: 0.0 };
        let weaker = insulation.weaker_ohms(pairs, Hold::Floating, &leaks, &StringLeaks::default());
        assert!((weaker / ri - 1.0).abs() < 1e-6, "{weaker} for {ri}");
    }
}

/// A leak at the fraction `a` of the string is `R/a` to plus and `R/(1 − a)` to minus (Thévenin): chassis and weaker pole are those of that
/// pair of resistances.
#[test]
fn a_leak_along_the_string_is_a_pair_of_leaks_at_the_poles() {
    let volts = [3.2; 100];
    for place in [9, 49, 50, 79] {
        let mut siemens = [0.0; 100];
        siemens[place] = 1.0 / 40e3;
        #[expect(clippy::cast_precision_loss, reason = "a place below 100")]
        let fraction = (place + 1) as f64 / 100.0;
        let string = StringLeaks::gathered(&siemens, &volts);
        let pair = Leaks { positive: fraction / 40e3, negative: (1.0 - fraction) / 40e3, load_positive: 0.0 };
        let base = Leaks { positive: 1e-7, negative: 3e-7, load_positive: 0.0 };
        let both =
            Leaks { positive: pair.positive + 1e-7, negative: pair.negative + 3e-7, load_positive: 0.0 };
        let (mut along, _) = bare(150e3);
        let mut at_poles = along.clone();
        let one = settled(&mut along, 320.0, &base, &Chassis { string, ..OPEN });
        let other = settled(&mut at_poles, 320.0, &both, &OPEN);
        assert!((one[0] - other[0]).abs() < 1e-9 && (one[1] - other[1]).abs() < 1e-9, "{one:?} {other:?}");
        let pairs = Pairs { pack: 320.0, link: 0.0 };
        let weaker = along.weaker_ohms(pairs, Hold::Floating, &base, &string);
        let expected = at_poles.weaker_ohms(pairs, Hold::Floating, &both, &StringLeaks::default());
        assert!((weaker / expected - 1.0).abs() < 1e-12);
    }
}

/// The fuse parts the string: a leak in the lower half then draws the chassis to its own node above B−, one in the upper half to its node
/// below B+, although both poles have met.
#[test]
fn a_parted_string_keeps_both_halves_live_against_the_chassis() {
    let volts = [3.2; 100];
    for (place, expected) in [(19, 64.0), (79, -64.0)] {
        let mut siemens = [0.0; 100];
        siemens[place] = 1.0;
        let string = StringLeaks::gathered(&siemens, &volts);
        let (mut insulation, _) = bare(150e3);
        let [negative, _] = settled(&mut insulation, 0.0, &Leaks::default(), &Chassis { string, ..OPEN });
        assert!((negative - expected).abs() < 1e-6, "{negative} for {expected}");
    }
}

/// Truth from ngspice 39 (`tran 1m 3 uic`), contactors closed on 320 V, at each pole 5 MΩ ∥ 2 MΩ (pack, meter), 10 MΩ (load), 300 nF +
/// 150 nF, a leak of 400 kΩ from B+ from t = 0 on, the chassis at 160 V before; 150 kΩ switched from chassis to B− at 2 s:
/// 195.698 V at 0.1 s, 247.560 V at 0.5 s, 257.550 V at 2 s, 112.655 V at 2.2 s, 98.0815 V at 3 s.
#[test]
fn the_chassis_settles_as_ngspice_says() {
    let spec = PackSpec::crane().bus;
    let mut insulation = Insulation::new(&spec);
    let pairs = Pairs { pack: 320.0, link: 320.0 };
    insulation.before = pairs;
    let leaks = Leaks { positive: 1.0 / 400e3, ..Leaks::default() };
    let mut now = 0;
    for (at_ms, resistor, expected) in [
        (100, ToChassis::Open, 195.698),
        (500, ToChassis::Open, 247.560),
        (2_000, ToChassis::Open, 257.550),
        (2_200, ToChassis::Negative, 112.655),
        (3_000, ToChassis::Negative, 98.0815),
    ] {
        while now < at_ms {
            insulation.settle(0.01, pairs, Hold::AtNegative, &leaks, &Chassis { resistor, ..OPEN });
            now += 10;
        }
        let seen = insulation.negative_volts(pairs);
        assert!((seen - expected).abs() < 0.01, "{seen} for {expected} at {at_ms} ms");
    }
}

/// Truth from ngspice 39 (`tran 0.1m 2 uic`), all contactors open: 320 V and a link that stands at 200 V, dividers of 1 MΩ from B+ to L−
/// and from L+ to B−, the insulation of the crane with its meter (10/7 MΩ and 10 MΩ a pole, 300 nF and 150 nF), leaks of 100 kΩ at B+ and
/// 150 kΩ at L+; L− at B− and the chassis at 160 V before. Chassis and L− above B−: 206.513 and 36.997 V at 20 ms, 278.178 and
/// 82.358 V at 0.1 s, 295.170 and 89.495 V at 0.5 s, 295.176 and 89.497 V at 2 s. A leak on either side of an open contactor draws the
/// floating link towards it, as a weld would.
#[test]
fn chassis_and_floating_link_settle_together_as_ngspice_says() {
    let spec = PackSpec::crane().bus;
    let mut insulation = Insulation::new(&spec);
    let pairs = Pairs { pack: 320.0, link: 200.0 };
    (insulation.before, insulation.link) = (pairs, -60.0);
    let leaks = Leaks { positive: 1e-5, negative: 0.0, load_positive: 1.0 / 150e3 };
    let mut now = 0;
    for (at_ms, chassis, lifted) in [
        (20, 206.5127, 36.9973),
        (100, 278.1780, 82.3578),
        (500, 295.1704, 89.4955),
        (2_000, 295.1759, 89.4972),
    ] {
        while now < at_ms {
            insulation.settle(0.01, pairs, Hold::Floating, &leaks, &OPEN);
            now += 10;
        }
        let seen = [insulation.negative_volts(pairs), insulation.lifted_volts(pairs)];
        assert!(
            (seen[0] - chassis).abs() < 0.02 && (seen[1] - lifted).abs() < 0.02,
            "{seen:?} at {at_ms} ms"
        );
    }
}

/// Exact: however a time is cut, it ends the same; and where both rates are one, the limit of the formula holds.
#[test]
fn settling_does_not_depend_on_the_cut() {
    let leaks = Leaks { positive: 1e-5, negative: 2e-6, load_positive: 4e-6 };
    let pairs = Pairs { pack: 320.0, link: 100.0 };
    let ends = [1, 7, 300].map(|cuts| {
        let mut insulation = Insulation::new(&PackSpec::crane().bus);
        insulation.before = pairs;
        for _ in 0..cuts {
            insulation.settle(0.3 / f64::from(cuts), pairs, Hold::Floating, &leaks, &OPEN);
        }
        [insulation.chassis, insulation.link]
    });
    for end in ends {
        assert!((end[0] - ends[0][0]).abs() < 1e-9 && (end[1] - ends[0][1]).abs() < 1e-9, "{ends:?}");
    }
    let [[one, none], [other, two]] = exponential([[2.0, 0.0], [0.0, 2.0]], 0.5);
    assert!(
        (one - (-1.0_f64).exp()).abs() < 1e-15 && (two - one).abs() < 1e-15 && none == 0.0 && other == 0.0
    );
}

/// Charge: a contactor that ties L− to B− moves the chassis by the Y-capacitors' share, 150 of 450 nF, before any leak acts.
#[test]
fn a_closing_contactor_takes_the_chassis_along_by_the_capacitors() {
    let mut insulation = Insulation::new(&PackSpec::crane().bus);
    let pairs = Pairs { pack: 300.0, link: 0.0 };
    insulation.before = pairs;
    let before = insulation.negative_volts(pairs);
    insulation.settle(0.0, pairs, Hold::AtNegative, &Leaks::default(), &OPEN);
    assert!((before - insulation.negative_volts(pairs) - 150.0 / 3.0).abs() < 1e-9);
}
