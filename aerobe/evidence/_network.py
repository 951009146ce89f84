"""Recipes that nobody brewed side by side: indirect comparison through the recipes they were both compared with."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.evidence._effects import TrialContrast
from aerobe.evidence._spread import Array, most_likely_spread
from aerobe.statistics import gaussian_deviance


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkComparison:
    """One pair of recipes as the whole network sees it."""

    recipe: str
    against: str
    effect: float  # [ln ratio]
    se: float
    low: float
    high: float
    direct_trials: int  # trials that brewed both side by side
    direct: float  # what those alone say; nan if there are none [ln ratio]
    indirect: float  # what all others say; nan if no other way leads from one to the other
    disagree_p: float  # of direct against indirect; nan where one is missing
    spread_known: bool  # False where every link rests on one trial: the interval then ignores how trials differ


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """All pairs, the one spread shared by them, and the recipes that no chain of trials connects."""

    recipes: tuple[str, ...]
    reference: str
    tau2: float
    comparisons: tuple[NetworkComparison, ...]
    apart: tuple[str, ...]  # recipes with no chain of comparisons to the reference
    trials: int

    def of(self, recipe: str, against: str) -> NetworkComparison:
        """The comparison of two recipes, in the direction asked for."""
        for one in self.comparisons:
            if (one.recipe, one.against) == (recipe, against):
                return one
            if (one.recipe, one.against) == (against, recipe):
                return NetworkComparison(
                    recipe=recipe,
                    against=against,
                    effect=-one.effect,
                    se=one.se,
                    low=-one.high,
                    high=-one.low,
                    direct_trials=one.direct_trials,
                    direct=-one.direct,
                    indirect=-one.indirect,
                    disagree_p=one.disagree_p,
                    spread_known=one.spread_known,
                )
        raise NotEnoughData(f"No chain of trials connects {recipe} and {against}.", "Brew both against a common standard.")


def network(contrasts: Sequence[TrialContrast], *, reference: str = "", level: float = 0.95) -> Network:
    """Pool contrasts of many pairs of recipes at once, by generalised least squares with one spread.

    Parameters
    ----------
    contrasts
        One outcome only. Contrasts of one trial (same key and site) must all be against the same recipe.
    reference
        The recipe to list the others against; the one in most trials if left out.
    level
        Of the intervals. [-]

    Returns
    -------
    Network
        Every pair that a chain of trials connects, with direct and indirect evidence kept apart.

    Raises
    ------
    UnusableRecord
        If outcomes are mixed, or a trial's contrasts are not all against one recipe.
    NotEnoughData
        Without contrasts.

    Source
    ------
    lu-ades-2004
    """
    if not contrasts:
        raise NotEnoughData("There is nothing to compare.", "Import trials, or run one.")
    outcomes = sorted({item.outcome for item in contrasts})
    if len(outcomes) > 1:
        raise UnusableRecord(f"The trials speak of different outcomes: {', '.join(outcomes)}.", "Pool one outcome at a time.")
    reference = reference or _most_brewed(contrasts)
    reachable = _chain(contrasts, reference)
    used = [item for item in contrasts if item.recipe in reachable]
    everyone = sorted({name for item in contrasts for name in (item.recipe, item.against)})
    if not used:
        raise NotEnoughData(f"No trial brewed {reference}.", f"Choose a reference among: {', '.join(everyone)}.")
    recipes = (reference, *sorted(reachable - {reference}))
    y, S, T = _blocks(used)
    X = _design(used, recipes)
    tau2 = _spread(y, S, T, X)
    beta, cov = _gls(y, S + tau2 * T, X)
    return Network(
        recipes=recipes,
        reference=reference,
        tau2=tau2,
        apart=tuple(name for name in everyone if name not in reachable),
        trials=len({(item.site, item.key) for item in used}),
        comparisons=tuple(_pairs(used, recipes, y, S + tau2 * T, X, beta, cov, level)),
    )


def _most_brewed(contrasts: Sequence[TrialContrast]) -> str:
    count: dict[str, int] = defaultdict(int)
    for item in contrasts:
        count[item.recipe] += 1
        count[item.against] += 1
    return min(count, key=lambda name: (-count[name], name))


def _chain(contrasts: Sequence[TrialContrast], start: str) -> set[str]:
    reached, grew = {start}, True
    while grew:
        grew = False
        for item in contrasts:
            if (item.recipe in reached) != (item.against in reached):
                reached |= {item.recipe, item.against}
                grew = True
    return reached


def _blocks(contrasts: Sequence[TrialContrast]) -> tuple[Array, Array, Array]:
    """Effects, their error covariance, and how the spread between trials is shared (half between arms of one trial)."""
    size = len(contrasts)
    S, T = np.zeros((size, size)), np.zeros((size, size))
    for i, one in enumerate(contrasts):
        S[i, i], T[i, i] = one.variance, 1.0
        for j, other in enumerate(contrasts[:i]):
            if (one.site, one.key) != (other.site, other.key):
                continue
            if one.against != other.against or one.recipe == other.recipe:
                raise UnusableRecord(
                    f"Trial {one.key} is entered with contrasts that do not share one standard.",
                    "Enter each recipe of a trial once, all against the same recipe.",
                )
            S[i, j] = S[j, i] = min(one.shared_variance, other.shared_variance)
            T[i, j] = T[j, i] = 0.5
    return np.array([item.effect for item in contrasts]), S, T


def _design(contrasts: Sequence[TrialContrast], recipes: tuple[str, ...]) -> Array:
    place = {name: number for number, name in enumerate(recipes[1:])}
    X = np.zeros((len(contrasts), len(recipes) - 1))
    for row, item in enumerate(contrasts):
        for name, sign in ((item.recipe, 1.0), (item.against, -1.0)):
            if name in place:
                X[row, place[name]] = sign
    return X


def _gls(y: Array, V: Array, X: Array) -> tuple[Array, Array]:
    half = np.linalg.solve(V, X)
    cov = np.linalg.inv(X.T @ half)
    return cov @ (half.T @ y), np.asarray(cov)


def _spread(y: Array, S: Array, T: Array, X: Array) -> float:
    """REML estimate of the one spread."""
    if len(y) <= X.shape[1]:
        return 0.0

    def deviance(tau2: float) -> float:
        V = S + tau2 * T
        beta, cov = _gls(y, V, X)
        left = y - X @ beta
        return gaussian_deviance(
            log_det=float(np.linalg.slogdet(V)[1]),
            rss=float(left @ np.linalg.solve(V, left)),
            count=len(y) - X.shape[1],
            log_det_information=-float(np.linalg.slogdet(cov)[1]),
        )

    def slope(tau2: float) -> float:
        V = S + tau2 * T
        beta, cov = _gls(y, V, X)
        half, left = np.linalg.solve(V, X), np.linalg.solve(V, y - X @ beta)
        return 0.5 * float(left @ T @ left - np.trace(np.linalg.solve(V, T)) + np.trace(half @ cov @ half.T @ T))

    return most_likely_spread(deviance, slope, y, np.diag(S))


def _pairs(
    contrasts: Sequence[TrialContrast],
    recipes: tuple[str, ...],
    y: Array,
    V: Array,
    X: Array,
    beta: Array,
    cov: Array,
    level: float,
) -> list[NetworkComparison]:
    from scipy.stats import norm

    width = float(norm.ppf(0.5 + 0.5 * level))
    found = []
    for j, against in enumerate(recipes):
        for i, recipe in enumerate(recipes):
            if i <= j:
                continue
            line = np.zeros(len(recipes) - 1)
            line[i - 1] = 1.0
            if j:
                line[j - 1] = -1.0
            effect, se = float(line @ beta), math.sqrt(float(line @ cov @ line))
            trials, direct, indirect, p = _split(contrasts, recipe, against, y, V, X, line)
            found.append(
                NetworkComparison(
                    recipe=recipe,
                    against=against,
                    effect=effect,
                    se=se,
                    low=effect - width * se,
                    high=effect + width * se,
                    direct_trials=trials,
                    direct=direct,
                    indirect=indirect,
                    disagree_p=p,
                    spread_known=len(y) > X.shape[1],
                )
            )
    return found


def _split(
    contrasts: Sequence[TrialContrast],
    recipe: str,
    against: str,
    y: Array,
    V: Array,
    X: Array,
    line: Array,
) -> tuple[int, float, float, float]:
    """Direct and indirect evidence on one pair, kept apart by a term that only the direct trials carry."""
    from scipy.stats import norm

    marks = np.array([_sign(item, recipe, against) for item in contrasts])
    trials = int(np.count_nonzero(marks))
    whole = float(line @ _gls(y, V, X)[0])
    if trials == 0:
        return 0, math.nan, whole, math.nan
    wider = np.column_stack([X, marks])
    if np.linalg.matrix_rank(wider) < wider.shape[1]:
        return trials, whole, math.nan, math.nan
    beta, cov = _gls(y, V, wider)
    indirect = float(line @ beta[:-1])
    gap = float(beta[-1])
    return trials, indirect + gap, indirect, 2.0 * float(norm.sf(abs(gap) / math.sqrt(float(cov[-1, -1]))))


def _sign(item: TrialContrast, recipe: str, against: str) -> float:
    if (item.recipe, item.against) == (recipe, against):
        return 1.0
    return -1.0 if (item.recipe, item.against) == (against, recipe) else 0.0
