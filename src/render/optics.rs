//! What light does at the wall of a bubble, a bladder or an oil droplet.
//!
//! Geometric optics of a ray from the camera back to the lamp: Snell's law at the wall gives the
//! angle it is turned by, and the lamp's angular size decides whether it still ends on the lamp.
//! Light is reversible, so a ray that misses the lamp is a dark pixel. The wider the lamp, the thinner
//! the dark rim (Davis 1955, "Scattering of light by an air bubble in water", doi 10.1364/JOSA.45.000572).

use super::dice::smooth;

/// Refractive index of tissue and water, about equal: 1.33-1.37 (from memory).
const WET: f64 = 1.345;

/// Radiance, as a share of the lamp's, in a direction `deviation` radians off its axis, for a lamp of
/// half-angle `lamp` radians with a soft edge.
pub(super) fn lamp_radiance(deviation: f64, lamp: f64) -> f64 {
    1.0 - smooth((deviation - 0.75 * lamp) / (0.5 * lamp))
}

/// Share of the background's light seen through a gas-filled body where its wall has the tangent
/// `slope` (0 at the centre, infinite at the rim) against the line of sight.
pub(super) fn through_gas(slope: f64, lamp: f64) -> f64 {
    let incidence = slope.atan();
    let sine = WET * incidence.sin();
    if sine < 1.0 {
        // In and out again: turned twice by the same angle.
        let refraction = sine.asin();
        let deviation = 2.0 * (refraction - incidence);
        let reflected = fresnel(incidence, refraction);
        (1.0 - reflected).powi(2) * lamp_radiance(deviation, lamp)
    } else {
        // Total reflection: only the grazing rays at the very rim come back from the lamp.
        lamp_radiance(std::f64::consts::PI - 2.0 * incidence, lamp)
    }
}

/// Share of the background's light seen through a droplet of an index `relative` times that of the
/// tissue around (oil: 1.08-1.10), at wall tangent `slope`.
pub(super) fn through_drop(slope: f64, relative: f64, lamp: f64) -> f64 {
    let incidence = slope.atan();
    let refraction = (incidence.sin() / relative).asin();
    let deviation = 2.0 * (incidence - refraction);
    (1.0 - fresnel(incidence, refraction)).powi(2) * lamp_radiance(deviation, lamp)
}

/// Reflectance of unpolarised light (Fresnel's equations) for angles of incidence and refraction.
fn fresnel(incidence: f64, refraction: f64) -> f64 {
    if incidence < 1e-6 {
        let r = incidence_ratio(refraction, incidence);
        return ((r - 1.0) / (r + 1.0)).powi(2);
    }
    let s = ((incidence - refraction).sin() / (incidence + refraction).sin()).powi(2);
    let p = ((incidence - refraction).tan() / (incidence + refraction).tan()).powi(2);
    0.5 * (s + p)
}

/// Ratio of the indices for near-normal incidence, where the angles' ratio tends to it.
fn incidence_ratio(refraction: f64, incidence: f64) -> f64 {
    if incidence > 0.0 { refraction / incidence } else { WET }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gas_body_is_bright_in_its_core_and_dark_in_its_rim() {
        for lamp in [0.3, 0.6, 0.9] {
            assert!(through_gas(0.02, lamp) > 0.93);
            // Between the critical angle (48 degrees, from Snell's law) and the grazing rays.
            assert!(through_gas(49f64.to_radians().tan(), lamp) < 0.05);
        }
    }

    #[test]
    fn a_wider_lamp_makes_a_thinner_rim() {
        let dark = |lamp: f64| {
            (1..1000)
                .filter(|i| {
                    let rho = f64::from(*i) / 1000.0;
                    through_gas(rho / (1.0 - rho * rho).sqrt(), lamp) < 0.5
                })
                .count()
        };
        assert!(dark(0.3) > dark(0.6) && dark(0.6) > dark(0.9));
    }

    #[test]
    fn normal_incidence_reflects_as_fresnel_says() {
        // ((n - 1) / (n + 1))^2 twice, n = 1.345.
        let once: f64 = ((1.345f64 - 1.0) / 2.345).powi(2);
        assert!((through_gas(1e-9, 0.5) - (1.0 - once).powi(2)).abs() < 1e-4);
    }
}
