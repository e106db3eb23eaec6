"""Measurements that were not taken, from those that were: what people of that size mostly have (padlib.body.usual)."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from padlib.body.plausible import check_order, check_range, check_size, checked
from padlib.body.usual import (
    BACK_CURVE,
    DROPS,
    FIGURES,
    LEAST_STATURE,
    MIDDLING_CHILD,
    MOST_STATURE,
    adults,
    tabled,
    usual,
)
from padlib.errors import InputError

STEADY = 0.15  # of the variance: keeps a few odd measurements from driving the others far away


def fill(given: Mapping[str, float], figure: str) -> dict[str, float]:
    """Every measurement in mm: those given (checked), and the most likely rest.

    Raises InputError for an unknown name or figure, a value that no person has, or two that
    contradict each other.
    """
    if figure not in FIGURES:
        raise InputError(f"figure must be one of {', '.join(FIGURES)}, not '{figure}'.")
    known = checked(given)
    check_size(known, figure)
    told, known = known, {**_implied(known), **known}
    stature = known.get("stature") or _stature_from(known, figure)
    out = {"stature": stature, **_rest(known, stature, figure)}
    check_range(known, stature, figure)
    out |= known
    _shaped(out, known)
    out.setdefault("mid_thigh_girth", _mid_thigh(out))
    check_order(out, told)
    return out


def _implied(known: Mapping[str, float]) -> dict[str, float]:
    """Heights that follow from given lengths and other given heights."""
    out: dict[str, float] = {}
    have = dict(known)
    for drop, high, low, curve in 2 * DROPS:
        if drop not in known:
            continue
        if low in have and high not in have:
            have[high] = out[high] = have[low] + known[drop] / curve
        elif high in have and low not in have:
            have[low] = out[low] = have[high] - known[drop] / curve
    return out


def _stature_from(known: Mapping[str, float], figure: str) -> float:
    """The most likely stature where it is not given: adults, unless the rest fits a child better."""
    table = tabled()
    have = [n for n in table if n in known]
    slope, level, covariance, mean, variance = adults(figure)
    if not have:
        return MIDDLING_CHILD if figure == "child" else float(np.exp(mean))
    index = [table.index(n) for n in have]
    seen = np.log([known[n] for n in have])
    if any(v <= 0 for v in known.values()):
        raise InputError("every measurement must be more than zero mm.")
    tall = np.linspace(np.log(LEAST_STATURE), np.log(MOST_STATURE), 400)
    noise = covariance[np.ix_(index, index)]
    noise = np.linalg.inv(noise + STEADY * np.diag(np.diag(noise)))
    best, least = mean, np.inf
    for t in tall:
        u = usual(float(np.exp(t)), figure)
        off = seen - np.log([u[n] for n in have])
        # children are a twentieth of an adult wearer's likelihood, of any stature alike
        prior = 0.0 if figure == "child" else min((t - mean) ** 2 / variance, 6.0)
        cost = float(off @ noise @ off) + prior
        if cost < least:
            best, least = float(t), cost
    return float(np.exp(best))


def _rest(known: Mapping[str, float], stature: float, figure: str) -> dict[str, float]:
    """The most likely value of every measurement of the table, given the known ones."""
    table = tabled()
    base = np.log([usual(stature, figure)[n] for n in table])
    have = [i for i, n in enumerate(table) if n in known and known[n] > 0]
    if not have:
        return dict(zip(table, np.exp(base).tolist(), strict=True))
    covariance = adults(figure)[2]
    inner = covariance[np.ix_(have, have)]
    inner = inner + STEADY * np.diag(np.diag(inner))
    off = np.log([known[table[i]] for i in have]) - base[have]
    shift = covariance[:, have] @ np.linalg.solve(inner, off)
    return dict(zip(table, np.exp(base + shift).tolist(), strict=True))


def _mid_thigh(full: Mapping[str, float]) -> float:
    """Girth in mm halfway from knee to hip: a little slimmer than a straight taper to the thigh under the crotch.

    On adults 0.56 of the way from the knee's girth to the thigh's; a child's short thigh has it nearer to the crotch.
    """
    knee, thigh = full["knee_height"], full["crotch_height"] - 0.015 * full["stature"]
    up = 0.5 * (full["trochanter_height"] - knee) / max(thigh - knee, 0.01 * full["stature"])
    share = np.clip(0.9 * up, 0.45, 0.8)
    return float(share * full["thigh_girth"] + (1 - share) * full["knee_girth"])


def _shaped(out: dict[str, float], known: Mapping[str, float]) -> None:
    """Keep filled-in measurements such that they make a body: changes `out`."""
    if "bust_height" not in known:  # the tape of the chest runs below the armpits
        out["bust_height"] = min(out["bust_height"], out["axilla_height"] - 0.033 * out["stature"])
    if "navel_girth" not in known:  # no deep fold between a wide waist and the hip
        most = 0.55 * out["waist_girth"] + 0.46 * out["hip_girth"]
        out["navel_girth"] = min(out["navel_girth"], most)
    long = out["upper_arm_length"] + out["forearm_length"]
    longer = out.setdefault("arm_length", long) / long
    for name in ("upper_arm_length", "forearm_length"):
        if name not in known:
            out[name] *= longer
    if "back_waist_length" in known and "waist_height" not in known:
        out["waist_height"] = out["cervicale_height"] - known["back_waist_length"] / BACK_CURVE
