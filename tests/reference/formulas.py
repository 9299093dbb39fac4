"""The figures of check_values.csv computed anew, with SciPy where it is the reference and plain Python elsewhere.

Holds no figure of the table: only inputs go in. Does not call cliplead.
"""

import math
import statistics

from scipy import optimize, stats


def half_width(spec: str, reading: float) -> float:
    """Half-width of a sheet's "P%+NxR" at a reading: percent of reading plus N counts of R (JCGM 100, 4.3.7)."""
    percent, counts = spec.split("%+")
    number, size = counts.split("x")
    return abs(reading) * float(percent) / 100 + float(number) * float(size)


def rectangular(half: float) -> float:
    """Standard uncertainty of a rectangular distribution (JCGM 100, 4.3.7)."""
    return half / math.sqrt(3)


def under_load_constant(f_hz: float) -> float:
    """uF x V / A: C = I / (2 pi f V)."""
    return 1e6 / (2 * math.pi * f_hz)


def word(y: float, u: float, low: float, high: float) -> str:
    """The word of ILAC-G8:09/2019, 4.2.3, with a guard band w = U = 2 u on both limits."""
    w = 2 * u
    if low + w <= y <= high - w:
        return "pass"
    if low <= y <= high:
        return "conditional pass"
    if low - w <= y <= high + w:
        return "conditional fail"
    return "fail"


def conformance(y: float, u: float, low: float, high: float) -> float:
    """Probability that the true value lies within the limits (JCGM 106, 7)."""
    return float(stats.norm.cdf(high, y, u) - stats.norm.cdf(low, y, u))


def cap_01(i):
    return {"constant": under_load_constant(i["f_Hz"])}


def cap_02(i):
    value = under_load_constant(i["f_Hz"]) * i["I_A"] / i["V_V"]
    band = i["rated_uF"] * i["tol_pct"] / 100
    return {
        "uF": value,
        "deviation_pct": 100 * (value / i["rated_uF"] - 1),
        "low_limit_uF": i["rated_uF"] - band,
        "high_limit_uF": i["rated_uF"] + band,
    }


def cap_03(i):
    return {"uF_rounded_constant": 2652 * i["A"] / i["V"], "uF_exact": under_load_constant(60) * i["A"] / i["V"]}


def cap_05(i):
    value = under_load_constant(i["f_Hz"]) * i["I_A"] / i["V_V"]
    relative = math.hypot(
        rectangular(half_width(i["I_spec"], i["I_A"])) / i["I_A"],
        rectangular(half_width(i["V_spec"], i["V_V"])) / i["V_V"],
        rectangular(i["f_half_width_Hz"]) / i["f_Hz"],
    )
    return {"u_rel": relative, "u_uF": relative * value, "U_k2_uF": 2 * relative * value}


def cap_06(i):
    v5 = i["v5_fraction"]
    return {"apparent_over_true": math.sqrt(1 + (5 * v5) ** 2) / math.sqrt(1 + v5**2)}


def cap_07(i):
    reactance = 1e6 / (2 * math.pi * i["f_Hz"] * i["C_uF"])
    resistance = reactance * i["tan_delta"]
    bias = 100 * (reactance / math.hypot(reactance, resistance) - 1)
    return {"Xc_ohm": reactance, "ESR_ohm": resistance, "apparent_C_bias_pct": bias}


def cap_08(i):
    crest = i["V_rated_ac"] * math.sqrt(2)
    tau = i["R_ohm"] * i["C_uF"] * 1e-6
    return {
        "V0_V": crest,
        "tau_s": tau,
        "t_to_50V_s": optimize.brentq(lambda t: crest * math.exp(-t / tau) - 50, 0, 100 * tau, xtol=1e-14),
        "V_after_5_tau": crest * math.exp(-5),
        "peak_W": crest**2 / i["R_ohm"],
        "energy_J": i["C_uF"] * 1e-6 * crest**2 / 2,
    }


def cap_10(i):
    return {
        "low": i["rated_uF"] * (1 - i["minus_pct"] / 100),
        "high": i["rated_uF"] * (1 + i["plus_pct"] / 100),
    }


def cap_11(i):
    return {"series_uF": 1 / (1 / i["herm_uF"] + 1 / i["fan_uF"])}


def cap_15(i):
    return {"I_A": 2 * math.pi * i["f_Hz"] * i["C_uF"] * 1e-6 * i["V"]}


def unc_01(i):
    y, low, high = i["y"], i["TL"], i["TU"]
    u = rectangular(half_width(i["spec"], y))
    return {
        "u": u,
        "P": conformance(y, u, low, high),
        "verdict_guarded": word(y, u, low, high),
        "AL_lower": low + 2 * u,
        "AL_upper": high - 2 * u,
    }


def unc_02(i):
    y, low, high = i["y"], i["TL"], i["TU"]
    u = rectangular(half_width(i["spec"], y))
    return {"verdict": word(y, u, low, high), "u": u, "P_conform": conformance(y, u, low, high)}


def unc_03(i):
    # The tolerance is that of UNC-01: 42.3 to 47.7 uF.
    weight, prior_weight = 1 / i["u"] ** 2, 1 / i["prior_sd"] ** 2
    mean = (i["y"] * weight + i["prior_mean"] * prior_weight) / (weight + prior_weight)
    sd = 1 / math.sqrt(weight + prior_weight)
    return {"post_mean": mean, "post_sd": sd, "P_in": conformance(mean, sd, 42.3, 47.7)}


def unc_04(i):
    t, y, limit = i["t_d"], i["y"], i["limit"]
    n, mean_t = len(t), statistics.fmean(t)
    fit = stats.linregress(t, y)
    residuals = [b - fit.intercept - fit.slope * a for a, b in zip(t, y)]
    s = math.sqrt(sum(r * r for r in residuals) / (n - 2))
    spread = sum((a - mean_t) ** 2 for a in t)

    def line(at):
        return fit.intercept + fit.slope * at

    def half(at, probability):
        return stats.t.ppf(probability, n - 2) * s * math.sqrt(1 + 1 / n + (at - mean_t) ** 2 / spread)

    return {
        "slope_per_day": fit.slope,
        "intercept": fit.intercept,
        "s": s,
        "ols_at": line(i["at_d"]),
        "pi95_half": half(i["at_d"], 0.975),
        "ols_cross_day": (limit - fit.intercept) / fit.slope,
        "theil_sen_slope": stats.theilslopes(y, t).slope,
        "earliest_cross_day_95_one_sided": optimize.brentq(
            lambda at: line(at) - half(at, 0.95) - limit, max(t), 10 * max(t)
        ),
    }


def unc_05(i):
    x = i["x"]
    median = statistics.median(x)
    mad = statistics.median(abs(v - median) for v in x)
    return {"median": median, "mad": mad, "z_of_1.94": 0.6745 * (1.94 - median) / mad}


def unc_06(i):
    slope = stats.linregress(i["t_s"], i["T_F"]).slope
    return {"slope_per_s": slope, "slope_per_min": 60 * slope, "range": max(i["T_F"]) - min(i["T_F"])}


def unc_07(i):
    a, b, c = i["y"]
    return {"y_end": c - (c - b) ** 2 / ((c - b) - (b - a))}


def unc_08(i):
    entered, plate, tolerance = i["entered_uF"], i["plate_uF"], i["tol_pct"]
    digits = str(entered)
    swaps = [digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :] for k in range(len(digits) - 1)]

    def deviation(value):
        return 100 * (value / plate - 1)

    nearest = min((float(swap) for swap in swaps), key=lambda value: abs(deviation(value)))
    ask = abs(deviation(entered)) > tolerance >= abs(deviation(nearest))
    return {"dev_pct": deviation(entered), "swapped": nearest, "ask_before_judging": str(ask).lower()}


FORMULAS = {
    "CAP-01": cap_01,
    "CAP-02": cap_02,
    "CAP-03": cap_03,
    "CAP-05": cap_05,
    "CAP-06": cap_06,
    "CAP-07": cap_07,
    "CAP-08": cap_08,
    "CAP-10": cap_10,
    "CAP-11": cap_11,
    "CAP-15": cap_15,
    "UNC-01": unc_01,
    "UNC-02": unc_02,
    "UNC-03": unc_03,
    "UNC-04": unc_04,
    "UNC-05": unc_05,
    "UNC-06": unc_06,
    "UNC-07": unc_07,
    "UNC-08": unc_08,
}
