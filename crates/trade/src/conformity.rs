//! Conformity: the probability that a value lies inside its limits, what a population adds to one reading, whether
//! two meters agree. Does not say which probability is enough; the decision rule does.

use core::f64::consts::{FRAC_1_SQRT_2, PI};

use crate::range::{Argument, OutOfRange};

pub(crate) const VALUE: Argument = Argument { what: "value", unit: "", least: -1e12, greatest: 1e12 };
pub(crate) const UNCERTAINTY: Argument =
    Argument { what: "standard uncertainty", unit: "", least: 1e-12, greatest: 1e12 };
pub(crate) const PROBABILITY: Argument =
    Argument { what: "probability", unit: "", least: 1e-12, greatest: 1.0 - 1e-12 };
pub(crate) const FREEDOM: Argument =
    Argument { what: "degrees of freedom", unit: "", least: 1.0, greatest: 1e6 };

/// Normal distribution function.
pub(crate) fn normal(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// Probability that the quantity lies between two limits: Phi((high - y) / u) - Phi((low - y) / u). For one limit
/// make the other -10^12 or 10^12.
///
/// `value` and limits -10^12 to 10^12, `u` 10^-12 to 10^12. Source: standard JCGM 106:2012, 7.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above, or if the limits are in the wrong order.
pub fn probability_of_conformance(value: f64, u: f64, low: f64, high: f64) -> Result<f64, OutOfRange> {
    let (value, u, low) = (VALUE.validate(value)?, UNCERTAINTY.validate(u)?, VALUE.validate(low)?);
    let high = Argument { what: "upper limit", least: low, ..VALUE }.validate(high)?;
    // From the nearer side, so that small chances keep their digits.
    let (a, b) = ((low - value) / u, (high - value) / u);
    Ok(if a > 0.0 { normal(-a) - normal(-b) } else { normal(b) - normal(a) })
}

/// Mean of the quantity after a reading, when its like are spread about a mean of their own: weighted by 1 / u^2.
///
/// Values -10^12 to 10^12, `u` and `spread` 10^-12 to 10^12. Source: standard JCGM 106:2012, annex A.4.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn posterior_mean(value: f64, u: f64, prior_mean: f64, prior_spread: f64) -> Result<f64, OutOfRange> {
    let (a, b) = weights(u, prior_spread)?;
    Ok((VALUE.validate(value)? * a + VALUE.validate(prior_mean)? * b) / (a + b))
}

/// Standard uncertainty of that mean.
///
/// `u` and `spread` 10^-12 to 10^12. Source: standard JCGM 106:2012, annex A.4.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn posterior_u(u: f64, prior_spread: f64) -> Result<f64, OutOfRange> {
    let (a, b) = weights(u, prior_spread)?;
    Ok(1.0 / libm::sqrt(a + b))
}

fn weights(u: f64, spread: f64) -> Result<(f64, f64), OutOfRange> {
    let (u, spread) = (UNCERTAINTY.validate(u)?, UNCERTAINTY.validate(spread)?);
    Ok((1.0 / (u * u), 1.0 / (spread * spread)))
}

/// En number of two values with expanded uncertainties: |a - b| / sqrt(Ua^2 + Ub^2). At most 1: they agree.
///
/// Values -10^12 to 10^12, `first_expanded` and `second_expanded` (k = 2) 10^-12 to 10^12. Source: standard ISO/IEC 17043, from memory.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn en_number(
    first: f64,
    first_expanded: f64,
    second: f64,
    second_expanded: f64,
) -> Result<f64, OutOfRange> {
    let (a, b) = (UNCERTAINTY.validate(first_expanded)?, UNCERTAINTY.validate(second_expanded)?);
    Ok(libm::fabs(VALUE.validate(first)? - VALUE.validate(second)?) / libm::sqrt(a * a + b * b))
}

/// Quantile of Student's distribution: the t below which it lies with this probability.
///
/// `probability` 10^-12 to 1 - 10^-12, `freedom` 1 to 10^6. To 10^-9 of the value. Source: mathematics.
///
/// # Errors
/// [`OutOfRange`] outside the ranges above.
pub fn student_quantile(probability: f64, freedom: f64) -> Result<f64, OutOfRange> {
    let (p, nu) = (PROBABILITY.validate(probability)?, FREEDOM.validate(freedom)?);
    let upper = libm::fmin(p, 1.0 - p);
    // The tail falls with t; it is bracketed, then halved. 200 halvings reach the last bit of any bracket.
    let mut high = 1.0;
    while student_upper(high, nu) > upper && high < 1e300 {
        high *= 2.0;
    }
    let mut low = 0.0;
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if student_upper(middle, nu) > upper {
            low = middle;
        } else {
            high = middle;
        }
    }
    let t = 0.5 * (low + high);
    Ok(if p < 0.5 { -t } else { t })
}

/// Chance above `t`, for t at least 0.
pub(crate) fn student_upper(t: f64, nu: f64) -> f64 {
    0.5 * incomplete_beta(0.5 * nu, 0.5, nu / (nu + t * t))
}

/// Regularised incomplete beta function by its continued fraction (Lentz).
fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    let front =
        libm::exp(log_gamma(a + b) - log_gamma(a) - log_gamma(b) + a * libm::log(x) + b * libm::log1p(-x));
    if x < (a + 1.0) / (a + b + 2.0) {
        front * fraction(a, b, x) / a
    } else {
        1.0 - front * fraction(b, a, 1.0 - x) / b
    }
}

/// Numerical Recipes' form of the fraction; it converges in some tens of steps, in sqrt(max(a, b)) for large ones.
fn fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let guard = |v: f64| if libm::fabs(v) < TINY { TINY } else { v };
    let (mut c, mut d) = (1.0, 1.0 / guard(1.0 - (a + b) * x / (a + 1.0)));
    let mut h = d;
    for step in 1..5_000 {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / guard(1.0 + even * d);
        c = guard(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / guard(1.0 + odd * d);
        c = guard(1.0 + odd / c);
        let change = d * c;
        h *= change;
        if libm::fabs(change - 1.0) < 1e-15 {
            break;
        }
    }
    h
}

fn log_gamma(x: f64) -> f64 {
    // libm's own is good to the last digits for x above 0.
    if x > 0.0 { libm::lgamma(x) } else { libm::log(PI) }
}

#[cfg(test)]
mod tests;
