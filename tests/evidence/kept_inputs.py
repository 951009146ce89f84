"""Invented trials, brews and a table that the kept answers of the room are computed from."""

from __future__ import annotations

import numpy as np

from aerobe.evidence import ManyBrews, TrialContrast
from aerobe.evidence._blocks import Blocks
from aerobe.records import Arm, Trial
from aerobe.verdicts import BrewResult, Verdict, judge

Y = np.array([0.62, 0.11, -0.18, 0.95, 0.40, 0.27, 0.71])
V = np.array([0.031, 0.012, 0.054, 0.090, 0.020, 0.007, 0.150])
HEAT, DOSE = [18.0, 24.5, 21.0, 15.5, 27.0, 19.5, 22.0], [0.3, 1.7, 0.9, 2.2, 0.5, 1.1, 3.4]
TEN_Y = np.concatenate([Y, [0.05, 0.35, 1.30, 0.22]])
TEN_V = np.concatenate([V, [0.009, 0.041, 0.210, 0.016]])


def said(key: str, effect: float, variance: float, site: str = "", **more: object) -> TrialContrast:
    """A trial of kelp against plain with uneven brews."""
    made: dict[str, object] = {"recipe": "kelp", "against": "plain", "brews": 4, "brews_against": 3, "planned": True}
    made |= {"blinded": True, "randomised": True, "killed_control": True, **more}
    return TrialContrast(key=key, effect=effect, variance=variance, site=site or f"place {key}", **made)  # type: ignore[arg-type]


TRIALS = (
    said("a", 0.62, 0.031, "North", df=5.0),
    said("b", 0.11, 0.012, "north "),
    said("c", -0.18, 0.054, "South", low=-0.71, high=0.29),
    said("d", 0.95, 0.090, "East", brews=0, brews_against=0),
    said("e", 0.40, 0.020, "West", brews=6, blinded=None, planned=None),
    said("f", 0.27, 0.007, "West", killed_control=False),
    said("g", 0.71, 0.150, "Hill", df=2.0),
)
CLEAR = tuple(said(f"k{i}", effect, 0.02 + 0.004 * i, brews=6 + i) for i, effect in enumerate((0.58, 0.81, 0.66, 0.93, 0.71)))
STAR = (
    said("s1", 0.35, 0.040, shared_variance=0.013),
    said("s1", 0.82, 0.055, recipe="fish", shared_variance=0.017),
    said("s2", -0.35, 0.030),
    said("s3", -0.44, 0.028, recipe="kelp", against="fish"),
    said("s4", 0.11, 0.022, recipe="fish"),
    said("s5", 0.15, 0.047, recipe="bran", against="fish"),
    said("s6", 0.33, 0.051, recipe="oats", against="husk"),
)


def many() -> ManyBrews:
    """Invented brews of five trials, three recipes and two moderators."""
    rng = np.random.default_rng(31)
    trial = np.repeat([f"t{i}" for i in range(5)], [5, 6, 4, 7, 5])
    recipe = np.array(["plain", "kelp", "fish"])[
        np.array([0, 1, 0, 1, 1, 0, 2, 0, 2, 1, 0, 2, 1, 1, 2, 0, 1, 2, 0, 0, 1, 2, 0, 0, 1, 0, 1])
    ]
    warm, dose = rng.uniform(14.0, 27.0, 27), rng.uniform(0.2, 3.0, 27)
    level = {"plain": 0.0, "kelp": 0.4, "fish": -0.2}
    y = 3.0 + np.array([level[name] for name in recipe]) + 0.04 * warm + 0.1 * dose + rng.normal(0.0, 0.3, 27)
    return ManyBrews(
        outcome=y,
        variance=rng.uniform(0.01, 0.06, 27),
        trial=trial.tolist(),
        recipe=recipe.tolist(),
        moderators={"warm": warm, "dose": dose},
    )


def blocks() -> Blocks:
    return Blocks.of(many(), "", 0.8, np)


SCALES = np.array([1.4, 0.6, 0.5])
THETA = np.log([[0.3, 0.2, 0.25], [0.7, 0.05, 0.4]])
TABLE = (
    "key;recipe;against;ratio;low;high;mean;sd;brews;mean_against;sd_against;brews_against;outcome;site;planned;dose_g_per_l\n"
    "t1;kelp;plain;1,9;1,2;3,1;;;6;;;5;;Hill;yes;2,5\n"
    "t2;kelp;plain;;;;20;4;5;11;3;4;count;;no;\n"
)


NAMES = {"plain": "Plain", "kelp": "Kelp", "fish": "Fish"}


def verdict() -> Verdict:
    arms = tuple(Arm(key=key, recipe=key, is_standard=key == "plain") for key in NAMES)
    asked = Trial(key="t", name="t", question="several against a standard", arms=arms)
    values = {"plain": (2.0, 2.9, 2.3, 3.1, 2.4), "kelp": (4.2, 3.1, 5.3), "fish": (2.2, 3.9, 2.8, 3.6)}
    rows = [(arm, value) for arm, group in values.items() for value in group]
    return judge(
        asked,
        [BrewResult(brew=f"b{i}", arm=arm, value=value, test_log_sd=0.004 * i) for i, (arm, value) in enumerate(rows)],
        also=[("fish", "kelp")],
        extent="comparisons",
    )
