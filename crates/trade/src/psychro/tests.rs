//! Moist air against tables made with PsychroLib 2.5.0; rows AIR-nn stand in `tests/reference/calc.csv`.
use super::*;
use crate::testing::refused;

const SEA_LEVEL: f64 = 14.696;

fn near(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "got {got}, want {want} +- {tolerance}");
}

#[test]
fn worked_examples() {
    // AIR-01
    let air = MoistAir::from_wet_bulb(80.0, 67.0, SEA_LEVEL).unwrap();
    near(air.humidity_ratio, 0.011_169_163, 1e-6);
    near(air.enthalpy_btu_per_lb(), 31.447_210_228, 1e-3);
    near(air.volume_ft3_per_lb(), 13.849_404_728, 1e-4);
    near(air.humidity_pct_rh(), 51.100_677_4, 1e-3);
    near(air.dew_point_f().unwrap(), 60.317_809_237, 1e-3);
    // AIR-02
    let air = MoistAir::from_humidity(75.0, 50.0, SEA_LEVEL).unwrap();
    near(air.wet_bulb_f(), 62.552_492_585, 2e-3);
    near(air.enthalpy_btu_per_lb(), 28.106_590_691, 1e-3);
}

#[test]
fn from_humidity_at_sea_level_and_5000_ft() {
    // PsychroLib: pressure, dry bulb, RH, W, wet bulb, dew point, enthalpy, volume, density
    for (p, t, rh, w, wb, dp, h, v, rho) in [
        (14.696, 80.0, 0.2, 0.004_324, 56.44, 35.37, 23.942, 13.7, 0.073_31),
        (14.696, 105.0, 0.15, 0.007_082, 69.21, 48.03, 33.044, 14.397, 0.069_95),
        (14.696, 35.0, 0.82, 0.003_489, 33.02, 30.3, 12.156, 12.541, 0.080_02),
        (12.2278, 80.0, 0.5107, 0.013_464, 66.24, 60.3, 33.964, 16.705, 0.060_67),
        (12.2278, 70.0, 0.3, 0.005_593, 51.64, 37.18, 22.908, 16.193, 0.0621),
        (12.2278, 55.0, 0.95, 0.010_52, 54.11, 53.6, 24.619, 15.858, 0.063_72),
    ] {
        let air = MoistAir::from_humidity(t, 100.0 * rh, p).unwrap();
        near(air.humidity_ratio, w, 6e-7);
        near(air.wet_bulb_f(), wb, 6e-3);
        near(air.dew_point_f().unwrap(), dp, 6e-3);
        near(air.enthalpy_btu_per_lb(), h, 6e-4);
        near(air.volume_ft3_per_lb(), v, 6e-4);
        near(air.density_lb_per_ft3(), rho, 6e-6);
    }
    near(standard_pressure_psia(5000.0).unwrap(), 12.2278, 1e-4);
}

#[test]
fn from_wet_bulb() {
    // PsychroLib, from the wet bulb: dry bulb, wet bulb, RH, W, dew point, enthalpy
    for (t, wb, rh, w, dp, h) in [
        (80.0, 63.0, 0.385_38, 0.008_386, 52.52, 28.396),
        (80.0, 72.0, 0.6834, 0.015_028, 68.64, 35.679),
        (85.0, 70.0, 0.476_71, 0.012_271, 62.93, 33.883),
        (95.0, 75.0, 0.398_16, 0.014_065, 66.76, 38.316),
        (100.0, 70.0, 0.216_28, 0.008_822, 53.88, 33.752),
        (55.0, 54.0, 0.939_55, 0.008_631, 53.29, 22.569),
    ] {
        let air = MoistAir::from_wet_bulb(t, wb, SEA_LEVEL).unwrap();
        near(air.humidity_pct_rh(), 100.0 * rh, 6e-4);
        near(air.humidity_ratio, w, 6e-7);
        near(air.dew_point_f().unwrap(), dp, 6e-3);
        near(air.enthalpy_btu_per_lb(), h, 6e-4);
    }
    refused(MoistAir::from_wet_bulb(80.0, 81.0, SEA_LEVEL), "wet bulb"); // a wet bulb above the dry bulb
    refused(MoistAir::from_wet_bulb(80.0, 40.0, SEA_LEVEL), "humidity ratio"); // drier than dry air
    refused(saturation_psia(f64::NAN), "dry bulb");
}

proptest::proptest! {
    #[test]
    fn wet_bulb_and_humidity_undo_each_other(t in 33.0..110.0_f64, rh in 5.0..100.0_f64, p in 10.0..14.7_f64) {
        let air = MoistAir::from_humidity(t, rh, p).unwrap();
        let (dew, wet) = (air.dew_point_f().unwrap(), air.wet_bulb_f());
        proptest::prop_assert!(dew <= wet + 1e-3 && wet <= t + 1e-9, "{dew} {wet} {t}");
        // The balances over ice and over water do not meet exactly at 32 °F.
        if wet > 32.1 {
            let back = MoistAir::from_wet_bulb(t, wet.min(t), p).unwrap();
            proptest::prop_assert!((back.humidity_pct_rh() - rh).abs() < 1e-5, "{} {rh}", back.humidity_pct_rh());
        }
    }

    #[test]
    fn nothing_broken_comes_out(a in proptest::num::f64::ANY, b in proptest::num::f64::ANY, c in proptest::num::f64::ANY) {
        for air in [MoistAir::from_humidity(a, b, c), MoistAir::from_wet_bulb(a, b, c)].into_iter().flatten() {
            for value in [
                air.humidity_pct_rh(), air.wet_bulb_f(), air.dew_point_f().unwrap_or(0.0), air.enthalpy_btu_per_lb(),
                air.volume_ft3_per_lb(), air.density_lb_per_ft3(),
            ] {
                proptest::prop_assert!(value.is_finite());
            }
        }
    }
}
