"""Invented trials and brews that the kept answers of the room are computed from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np

from aerobe.records import Arm, Assay, AssayError, Brew, Reading, Trial
from aerobe.verdicts import BrewResult

THREE = ("plain", "kelp", "fish")
FOUR = (*THREE, "bran")
# Log outcomes of brews in three arms of five, three and four; nothing about them is even.
UNEVEN = np.array([0.69, 1.06, 0.83, 1.13, 0.88, 1.44, 1.13, 1.67, 0.79, 1.36, 1.03, 1.28])
OF_UNEVEN = [0] * 5 + [1] * 3 + [2] * 4
# The same in four rounds of three and one brew more.
IN_ROUNDS = np.array([0.31, 0.92, 0.55, 1.24, 1.71, 1.29, 0.72, 1.46, 0.81, 0.93, 1.52, 1.48, 0.66])
OF_ROUNDS = [0, 1, 2, 0, 1, 2, 0, 1, 2, 0, 1, 2, 0]
ROUNDS = ["d1"] * 3 + ["d2"] * 3 + ["d3"] * 3 + ["d4"] * 4
START = datetime(2026, 3, 1, 8, tzinfo=UTC)


def arms_of(keys: Sequence[str], **more: object) -> tuple[Arm, ...]:
    return tuple(Arm(key=key, recipe=key, is_standard=key == keys[0], **more) for key in keys)  # type: ignore[arg-type]


def asked(keys: Sequence[str] = THREE, question: str = "several against a standard", **more: object) -> Trial:
    return Trial(key="t", name="t", question=question, arms=arms_of(keys), **more)  # type: ignore[arg-type]


def results(
    values: Sequence[float], arms: Sequence[int], keys: Sequence[str] = THREE, blocks: Sequence[str] = (), **more: object
) -> list[BrewResult]:
    """One result for each log value."""
    return [
        BrewResult(
            brew=f"b{i}",
            arm=keys[arm],
            value=math.exp(value),
            block=blocks[i] if blocks else "",
            test_log_sd=0.02 + 0.01 * i,
            **more,  # type: ignore[arg-type]
        )
        for i, (value, arm) in enumerate(zip(values, arms, strict=True))
    ]


def two(first: Sequence[float], second: Sequence[float], blocks: Sequence[str] = (), **more: object) -> list[BrewResult]:
    """Plain and kelp, or two others."""
    arms = [0] * len(first) + [1] * len(second)
    return results([*first, *second], arms, THREE[:2], blocks, **more)


FIRST, SECOND = (0.62, 0.95, 0.71, 1.08), (1.55, 1.21, 1.83, 1.64)
DOSES = (0.0, 0.5, 1.0, 2.0, 4.0)
PEAK = (0.10, 0.92, 1.08, 0.85, 0.12)
RISING = (0.12, 0.35, 0.61, 0.92, 1.31)
SHIFTS = (0.06, -0.09, 0.04)


def dose_trial(means: Sequence[float], better: str = "biomass") -> tuple[Trial, list[BrewResult]]:
    arms = tuple(Arm(key=f"dose-{dose:g}", recipe=f"dose-{dose:g}", dose=dose) for dose in DOSES)
    trial = Trial(key="t", name="t", question="dose series", arms=arms, outcome=better)
    values = [mean + shift * (1 + 0.3 * i) for i, mean in enumerate(means) for shift in SHIFTS]
    return trial, results(values, [i for i in range(5) for _ in SHIFTS], [arm.key for arm in arms])


CORNERS = [(a, b) for a in (-1, 1) for b in (-1, 1)] + [(-1, 0), (1, 0), (0, -1), (0, 1)] + [(0, 0)] * 4
NOISE = np.array([0.031, -0.052, 0.044, 0.017, -0.026, 0.058, -0.041, 0.023, 0.012, -0.037, 0.049, -0.008])


def surface_levels() -> list[dict[str, float]]:
    return [{"heat": 22.0 + 4.0 * a, "food": 1.5 + 1.0 * b} for a, b in CORNERS]


def surface_values(at: tuple[float, float] = (0.3, -0.2), noise: float = 1.0) -> np.ndarray:
    return np.array([1.0 - 0.8 * (a - at[0]) ** 2 - 0.5 * (b - at[1]) ** 2 + 0.15 * a * b for a, b in CORNERS]) + noise * NOISE


def surface_trial(at: tuple[float, float] = (0.3, -0.2), outcome: str = "biomass") -> tuple[Trial, list[BrewResult]]:
    codes = sorted(set(CORNERS))
    arms = tuple(
        Arm(key=f"p{i}", recipe="r", is_standard=(a, b) == (-1, -1), levels={"heat": 22.0 + 4.0 * a, "food": 1.5 + 1.0 * b})
        for i, (a, b) in enumerate(codes)
    )
    trial = Trial(key="t", name="t", question="factors", arms=arms, outcome=outcome)
    keys = [arm.key for arm in arms]
    blocks = [f"d{i % 2}" for i in range(len(CORNERS))]
    return trial, results(surface_values(at).tolist(), [codes.index(code) for code in CORNERS], keys, blocks)


def square() -> tuple[list[int], list[str], list[str], np.ndarray]:
    """A Latin square of four: arms, rounds, vessels and log outcomes."""
    arms = [(row + column) % 4 for row in range(4) for column in range(4)]
    rounds, vessels = [f"d{i // 4}" for i in range(16)], [f"v{i % 4}" for i in range(16)]
    rng = np.random.default_rng(7)
    values = np.array([0.1, 0.9, 0.5, 0.3])[arms] + np.repeat([0.0, 0.4, -0.3, 0.2], 4) + rng.normal(0.0, 0.15, 16)
    return arms, rounds, vessels, values


ERROR = AssayError(
    constant_sd=1.5, proportional_cv=0.08, bias=4.0, bias_sd=2.5, detection_limit=6.0, upper_limit=300.0, origin="c"
)
ASSAYS = {
    "kit": Assay(key="kit", name="kit", method="colour test", to_house=1.3, error=ERROR),
    "plain": Assay(key="plain", name="plain", method="plate count", to_house=0.7),
    "guess": Assay(key="guess", name="g", method="turbidity", error=AssayError(constant_sd=2.0, proportional_cv=0.1)),
}


def brew(key: str, arm: str = "kelp") -> Brew:
    return Brew(key=key, name=key, recipe=arm, vessel="v1", started_at=START + timedelta(days=int(key[-1])), arm=arm, block="d1")


def read(of: str, role: str, hour: float, signal: float, assay: str = "kit", **more: object) -> Reading:
    made = {"unit": ASSAYS[assay].unit, "typed_as": f"{signal:g}", "kit_lot": "L1", **more}
    key = f"r-{of}-{role.replace(' ', '-')}-{hour:g}-{signal:g}".replace(".", "-")
    return Reading(key=key, brew=of, assay=assay, role=role, elapsed_h=hour, signal=signal, **made)  # type: ignore[arg-type]


READINGS = [
    read("b1", "sample", 24.0, 40.0, dilution=2.0),
    read("b1", "sample", 24.5, 47.0),
    read("b1", "sample", 12.0, 20.0),
    read("b1", "killed control", 23.0, 9.0),
    read("b1", "filtered blank", 24.0, 5.0),
    read("b1", "blank", 1.0, 2.0),
    read("b2", "sample", 24.0, 61.0, operator="ann"),
    read("b2", "filtered blank", 25.9, 7.0),
    read("b2", "killed control", 30.0, 12.0),
    read("b3", "sample", 24.4, 33.0, operator="bob"),
    read("b3", "killed control", 20.0, 12.0),
    read("b3", "blank", 2.0, 3.0),
    read("b4", "sample", 24.0, 8.5),
    read("b5", "sample", 24.2, 310.0),
]


def pots() -> list[BrewResult]:
    """Pots fed from several brews, in blocks that are not even."""
    made = []
    for i, (arm, source, block, value, n) in enumerate(
        [
            ("plain", "", "x", 2.1, None),
            ("plain", "", "y", 2.9, None),
            ("plain", "", "x", 2.4, None),
            ("kelp", "k1", "x", 3.3, None),
            ("kelp", "k1", "y", 4.4, None),
            ("kelp", "k2", "y", 5.1, None),
            ("kelp", "k2", "x", 3.6, None),
            ("kelp", "k3", "y", 4.9, None),
        ]
    ):
        made.append(BrewResult(brew=f"p{i}", arm=arm, value=value, block=block, source_brew=source, of_n=n))
    return made


def counted(scale_of_n: float | None, blocks: bool = False) -> list[BrewResult]:
    """Counts of three arms, four units each."""
    counts = [7, 4, 9, 6, 12, 15, 9, 14, 10, 8, 13, 7]
    return [
        BrewResult(
            brew=f"u{i}",
            arm=THREE[i // 4],
            value=float(count),
            of_n=None if scale_of_n is None else scale_of_n + i % 3,
            block=f"d{i % 4}" if blocks else "",
        )
        for i, count in enumerate(counts)
    ]
