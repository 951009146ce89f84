"""What a lesson's computation gives. Nothing is written down beforehand: sentences are made from the numbers."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from aerobe.practice._brew import CONTROL_SD
from aerobe.practice._choices import LIMITS, PracticeChoices, expected_colour
from aerobe.practice._lessons import FACTOR, lesson_of
from aerobe.trials import SCATTERS, Scatter
from aerobe.verdicts import brews_needed, power_of_difference
from aerobe.worlds import TEST_ERROR, TUNING, TrueCourses, draw_known, march

Array = NDArray[np.float64]

NEWCOMER, CAREFUL = SCATTERS["one day and heap"], SCATTERS["same-day bottles"]
TESTS = 2  # of each brew, where a lesson does not ask about them
TRIALS = 4000  # simulated for a share
CELLS = 60.0  # of the lesson on colour [ug C/mL]
BREWS = 8  # of each world, for what worlds show
WORLDS_SHOWN = ("guilds", "particles", "poisoned")  # of other laws each; enough to see that it is no quirk of one


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One value of a lesson's picture with, where values scatter, the stretch that holds half of them."""

    name: str
    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What the computation of a lesson gives.

    Parameters
    ----------
    surprise
        The answer in a sentence.
    why
        What is behind it, in one or two more.
    answer
        The number that was asked for, in the unit of the lesson's edges.
    varied, measured, unit
        Words for the two axes of the picture, and the unit of its values.
    bars
        The numbers behind it.
    """

    surprise: str
    why: str
    answer: float
    varied: str
    measured: str
    unit: str
    bars: tuple[Bar, ...]


def work_out(key: str, seed: int = 1) -> Found:
    """The computation of a lesson, done now and then kept in memory.

    Parameters
    ----------
    seed
        Fixes what is drawn.

    Raises
    ------
    NotFound
        If there is no such lesson.

    Source
    ------
    hurlbert-1984, rocke-lorenzato-1995, monod-1949, levenspiel-1980, rosso-1993, arrhenius-1889, cohen-1988
    """
    return _work_out(lesson_of(key).key, seed)


@lru_cache(maxsize=16)
def _work_out(key: str, seed: int) -> Found:
    return _COMPUTED[key](np.random.default_rng([seed, 61]))


def _repeats(rng: np.random.Generator) -> Found:
    wrong = _claims(_tests(rng, brews=1, tests=8))
    right = _claims(_tests(rng, brews=4, tests=2).mean(axis=3, keepdims=True))
    return Found(
        surprise=f"In {100 * wrong:.0f} % of such trials: eight tests of one brew know that brew, and nothing of the recipe.",
        why=f"The same tests spread over four brews, a mean for each, claim a difference in {100 * right:.0f} %, as a test "
        "at 5 % should.",
        answer=wrong,
        varied="of each recipe",
        measured="claims a difference that is not there",
        unit="%",
        bars=(Bar(name="1 brew, 8 tests", value=100.0 * wrong), Bar(name="4 brews, 2 tests each", value=100.0 * right)),
    )


def _tests(rng: np.random.Generator, *, brews: int, tests: int) -> Array:
    """Logs of results of two equal recipes, shape (trials, recipes, brews, tests)."""
    own = NEWCOMER.brew_log_sd * rng.standard_normal((TRIALS, 2, brews, 1))
    return np.asarray(own + NEWCOMER.test_log_sd * rng.standard_normal((TRIALS, 2, brews, tests)))


def _claims(logs: Array) -> float:
    """Share of trials in which a two-sided t test at 5 % over all values, whatever brew they are of, claims a difference."""
    flat = logs.reshape(TRIALS, 2, -1)
    each = flat.shape[2]
    means, variances = flat.mean(axis=2), flat.var(axis=2, ddof=1)
    t = (means[:, 0] - means[:, 1]) / np.sqrt(variances.sum(axis=1) / each)
    return float(np.mean(np.abs(t) > stdtrit(2 * (each - 1), 0.975)))


def _colour(rng: np.random.Generator) -> Found:
    bars, shown, corrected = list[Bar](), dict[float, float](), dict[float, float]()
    for dose in (0.0, 1.0, 2.0, 4.0):
        colour, _ = expected_colour(PracticeChoices(molasses_g_per_l=dose))
        seen = CELLS * np.exp(TEST_ERROR * rng.standard_normal(TRIALS)) + colour
        shown[dose] = float(np.median(seen))
        corrected[dose] = float(np.median(seen - (colour + CONTROL_SD * rng.standard_normal(TRIALS))))
        bars.append(Bar(name=f"{dose:g} g/L", value=shown[dose]))
    return Found(
        surprise=f"The dark tea shows {shown[4.0] / shown[0.0]:.1f} times as much as the pale one, with the same cells: the "
        "test takes "
        "colour for life.",
        why=f"A killed control shows the colour alone. Less that, the teas show {corrected[4.0]:.0f} and "
        f"{corrected[0.0]:.0f} ug C/mL.",
        answer=shown[4.0] / shown[0.0],
        varied="molasses",
        measured=f"what a test shows of {CELLS:g} ug C/mL of cells",
        unit="ug C/mL",
        bars=(*bars, Bar(name="4 g/L, less a killed control", value=corrected[4.0])),
    )


def _molasses(rng: np.random.Generator) -> Found:
    doses = (0.5, 1.0, 2.0)
    lowest = _of_worlds(rng, len(doses), lambda courses: courses.oxygen.min(axis=1), molasses_g_per_l=doses)
    middle = dict(zip(doses, np.median(lowest, axis=1).tolist(), strict=True))
    left = middle[2.0] / middle[1.0]
    return Found(
        surprise=f"Not half but about {100 * left:.0f} % is left: the lowest oxygen falls from {middle[1.0]:.1f} to "
        f"{middle[2.0]:.1f} mg/L."
        if left < 0.45
        else f"About {100 * left:.0f} % is left: the lowest oxygen falls from {middle[1.0]:.1f} to {middle[2.0]:.1f} mg/L.",
        why=f"More sugar feeds more cells, and they breathe at the same time. Medians of {lowest.shape[1]} simulated brews; "
        "the line holds "
        "the middle half.",
        answer=left,
        varied="molasses",
        measured="lowest oxygen of a brew",
        unit="mg/L",
        bars=_spread([f"{dose:g} g/L" for dose in doses], lowest),
    )


def _warmth(rng: np.random.Generator) -> Found:
    warmths = (14.0, 20.0, 26.0)
    best = _of_worlds(
        rng, len(warmths), lambda courses: courses.times_h[courses.biomass.argmax(axis=1)], temperature_degc=warmths
    )
    middle = dict(zip(warmths, np.median(best, axis=1).tolist(), strict=True))
    return Found(
        surprise=f"At hour {middle[14.0]:.0f} instead of hour {middle[20.0]:.0f}: {middle[14.0] / middle[20.0]:.1f} times as "
        "late.",
        why=f"At 26 degC it is hour {middle[26.0]:.0f}. An hour by the clock is no recipe. Medians of {best.shape[1]} "
        "simulated brews; the "
        "line holds the middle half.",
        answer=middle[14.0] / middle[20.0],
        varied="water",
        measured="best hour of a brew",
        unit="h",
        bars=_spread([f"{degc:g} degC" for degc in warmths], best),
    )


def _cannot_tell(rng: np.random.Generator) -> Found:
    sd = NEWCOMER.of_brew_mean(TESTS)
    chances = {brews: power_of_difference(math.log(FACTOR) / sd, brews) for brews in (2, 4, 8, 16, 32)}
    reach = math.exp(float(stdtrit(6, 0.975)) * sd * math.sqrt(2.0 / 4.0))
    return Found(
        surprise=f'In {100 * chances[4]:.0f} % of trials. Nearly all others end in "can\'t tell", and that is a finding.',
        why=f"The interval then reaches a factor of about {reach:.1f} either way of what was seen. It speaks against "
        "anything larger; "
        "within it nothing is told.",
        answer=chances[4],
        varied="brews of each",
        measured=f"finds a true factor of {FACTOR:g}",
        unit="%",
        bars=tuple(Bar(name=str(brews), value=100.0 * chance) for brews, chance in chances.items()),
    )


def _how_many(rng: np.random.Generator) -> Found:
    def needed(scatter: Scatter, factor: float) -> int:
        return brews_needed(scatter.of_brew_mean(TESTS), math.log(factor)) or 0

    spread = math.exp(NEWCOMER.of_brew_mean(TESTS))
    few = needed(CAREFUL, FACTOR)
    counts = {factor: needed(NEWCOMER, factor) for factor in (FACTOR, 1.5, 2.0)}
    return Found(
        surprise=f"{counts[FACTOR]} of each, where two brews of three lie within a factor of {spread:.1f} of their middle.",
        why=f"A factor of 2 takes {counts[2.0]}: half the difference takes four times the brews. Brews as alike as bottles "
        "of one water "
        f"would find {FACTOR:g} with {few}: alike brews are worth more than more brews.",
        answer=float(counts[FACTOR]),
        varied="true factor",
        measured="brews of each, to find it in four trials of five",
        unit="brews",
        bars=(
            *(Bar(name=f"{factor:g}", value=float(count)) for factor, count in counts.items()),
            Bar(name=f"{FACTOR:g}, very alike brews", value=float(few)),
        ),
    )


def _of_worlds(
    rng: np.random.Generator, settings: int, value_of: Callable[[TrueCourses], Array], **varied: tuple[float, ...]
) -> Array:
    """A value of the same brews under several settings, shape (settings, brews): hidden terms alike, one choice varied."""
    base = PracticeChoices(molasses_g_per_l=1.0, kelp_g_per_l=0.0)
    found = []
    for key in WORLDS_SHOWN:
        scores = rng.standard_normal((BREWS, len(TUNING[key].hidden)))
        count = settings * BREWS
        given = {name: np.repeat(varied.get(name, (getattr(base, name),) * settings), BREWS) for name in LIMITS}
        drawn = draw_known(count, np.random.default_rng(0))
        known = replace(drawn, **given, depth_m=np.full(count, 0.3), swing_degc=np.full(count, 0.5))
        courses = march(TUNING[key], known, np.tile(scores, (settings, 1)), every_h=0.5)
        found.append(value_of(courses).reshape(settings, BREWS))
    return np.concatenate(found, axis=1)


def _spread(names: list[str], values: Array) -> tuple[Bar, ...]:
    """Medians with the middle half of the values behind each, shape (settings, brews)."""
    low, middle, high = np.quantile(values, (0.25, 0.5, 0.75), axis=1)
    return tuple(
        Bar(name=name, value=float(at), low=float(a), high=float(b))
        for name, at, a, b in zip(names, middle, low, high, strict=True)
    )


_COMPUTED: dict[str, Callable[[np.random.Generator], Found]] = {
    "repeats": _repeats,
    "colour": _colour,
    "molasses": _molasses,
    "warmth": _warmth,
    "cannot-tell": _cannot_tell,
    "how-many": _how_many,
}
