"""The frequentist check that stands beside a verdict: Welch, mixed model, Dunnett or Tukey, by other code than the verdict's."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._contrasts import Contrast
from aerobe.verdicts._mixed import MixedFit, RandomTerm, fit_mixed
from aerobe.verdicts._results import BrewResult

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One comparison by a textbook method."""

    label: str
    method: str
    estimate: float  # log ratio or difference [-]
    low: float  # 90 % interval of the comparison alone [-]
    high: float
    p: float  # two-sided, adjusted where the method says so [-]


def check_comparisons(
    contrasts: Sequence[Contrast],
    arm_keys: Sequence[str],
    results: Sequence[BrewResult],
    values: Array,
    scale: str,
    *,
    taken: Array | None = None,
    lost: int = 0,
) -> tuple[Check, ...]:
    """The same comparisons by a mixed model (brew and block random) and, without blocks, by Welch, Dunnett or Tukey.

    What the verdict takes out beside blocks (a drift, readers, vessels) the model takes out too; tests that cannot are left away.

    Parameters
    ----------
    contrasts
        Comparisons of the verdict. [-]
    arm_keys
        Arms in the order of the weights. [-]
    results
        One result for each brew. [-]
    values
        Outcome of each brew on the scale compared, shape (brews,). [-]
    scale
        "ratio" or "difference". [-]
    taken
        Columns of what the verdict takes out beside arms and blocks, shape (brews, columns). [-]
    lost
        Brews without a result, which the verdict puts at either end of their arm and a textbook passes over. [-]

    Source
    ------
    welch-1947, satterthwaite-1946, dunnett-1955, tukey-1949
    """
    blocked = len({result.block for result in results}) > 1
    extra = np.zeros((len(results), 0)) if taken is None else taken
    found = list(_mixed_model(contrasts, arm_keys, results, values, scale, extra))
    groups = [values[[result.arm == key for result in results]] for key in arm_keys]
    if not (blocked or extra.shape[1] or any(len(group) < 2 for group in groups)):
        if len(arm_keys) == 2:
            found.append(_welch(contrasts[0], groups))
        elif all(contrast.second for contrast in contrasts):
            found += _dunnett_or_tukey(contrasts, arm_keys, groups)
    if lost:
        gone = f"; {lost} {'brew' if lost == 1 else 'brews'} without a result passed over, which the verdict counts in"
        found = [replace(check, method=check.method + gone) for check in found]
    return tuple(found)


def _mixed_model(
    contrasts: Sequence[Contrast], arm_keys: Sequence[str], results: Sequence[BrewResult], values: Array, scale: str, extra: Array
) -> list[Check]:
    rows = _test_rows(results, values, scale)
    of_brew = dict(zip((result.brew for result in results), extra, strict=True))
    fixed = np.array([[float(result.arm == key) for key in arm_keys] for result, _ in rows])
    for column in np.array([of_brew[result.brew] for result, _ in rows]).T:
        wider = np.column_stack([fixed, column])
        fixed = wider if np.linalg.matrix_rank(wider) > fixed.shape[1] else fixed
    if len(results) <= fixed.shape[1]:
        return []
    terms: list[tuple[str, tuple[str, ...]]] = []
    if len(rows) > len(results):
        terms.append(("brew", tuple(result.brew for result, _ in rows)))
    blocks = tuple(result.block for result, _ in rows)
    if 1 < len(set(blocks)) < len(results):
        terms.append(("block", blocks))
    y = np.array([value for _, value in rows])
    if np.ptp(y - fixed @ np.linalg.lstsq(fixed, y, rcond=None)[0]) < 1e-12:
        return []
    fit = _fitted(tuple(y.tolist()), tuple(map(tuple, fixed.tolist())), tuple(terms))
    name = f"mixed model, {' and '.join(term for term, _ in terms)} random" if terms else "linear model"
    if fixed.shape[1] > len(arm_keys):
        name += ", with what the verdict takes out taken out"
    rest = np.zeros(fixed.shape[1] - len(arm_keys))
    weights = [np.concatenate([contrast.weights, rest]) for contrast in contrasts]
    return [_row(c, own, fit.coefficients, fit.covariance, fit.df, name) for c, own in zip(contrasts, weights, strict=True)]


@lru_cache(maxsize=64)
def _fitted(
    y: tuple[float, ...], fixed: tuple[tuple[float, ...], ...], terms: tuple[tuple[str, tuple[str, ...]], ...]
) -> MixedFit:
    # A verdict is asked for again by its report, by what is published and by what others found: the same numbers, the same fit.
    random = [RandomTerm(name=name, groups=groups) for name, groups in terms]
    if not random:  # one test a brew and no block: the plain linear model
        random = [RandomTerm(name="nothing", groups=("all",) * len(y), covariates=np.zeros((len(y), 1)))]
    return fit_mixed(np.array(y), np.array(fixed), random)


def _row(contrast: Contrast, weights: Array, beta: Array, covariance: Array, df_of: Callable[[Array], float], name: str) -> Check:
    estimate, error = float(weights @ beta), math.sqrt(float(weights @ covariance @ weights))
    df = min(df_of(weights), 1e6)
    reach = float(special.stdtrit(df, 0.95)) * error
    return Check(
        label=contrast.label,
        method=f"{name} (Satterthwaite {df:.1f} degrees of freedom)",
        estimate=estimate,
        low=estimate - reach,
        high=estimate + reach,
        p=float(2 * special.stdtr(df, -abs(estimate) / error)),
    )


def _test_rows(results: Sequence[BrewResult], values: Array, scale: str) -> list[tuple[BrewResult, float]]:
    """Single tests where every brew has usable ones, else brew means."""
    usable = all(result.points and (scale == "difference" or min(result.points) > 0) for result in results)
    if not usable or all(len(result.points) == 1 for result in results):
        return list(zip(results, map(float, values), strict=True))
    return [(r, math.log(point) if scale == "ratio" else point) for r in results for point in r.points]


def _welch(contrast: Contrast, groups: Sequence[Array]) -> Check:
    from scipy import stats

    first, second = (groups[0], groups[1]) if contrast.weights[0] > 0 else (groups[1], groups[0])
    test = stats.ttest_ind(first, second, equal_var=False)
    interval = test.confidence_interval(0.90)
    return Check(
        label=contrast.label,
        method="Welch's t test on brew means",
        estimate=float(first.mean() - second.mean()),
        low=float(interval.low),
        high=float(interval.high),
        p=float(test.pvalue),
    )


def _dunnett_or_tukey(contrasts: Sequence[Contrast], arm_keys: Sequence[str], groups: Sequence[Array]) -> list[Check]:
    from scipy import stats

    by_key = dict(zip(arm_keys, groups, strict=True))
    standards = {contrast.second for contrast in contrasts}
    if len(standards) == 1:
        tested = [by_key[contrast.first] for contrast in contrasts]
        test = stats.dunnett(*tested, control=by_key[standards.pop()], rng=np.random.default_rng(20111))
        interval = test.confidence_interval(0.90)
        return [
            Check(
                label=contrast.label,
                method="Dunnett's test on brew means",
                estimate=float(group.mean() - by_key[contrast.second].mean()),
                low=float(low),
                high=float(high),
                p=float(p),
            )
            for contrast, group, low, high, p in zip(contrasts, tested, interval.low, interval.high, test.pvalue, strict=True)
        ]
    tukey = stats.tukey_hsd(*groups)
    interval = tukey.confidence_interval(0.90)
    position = {key: i for i, key in enumerate(arm_keys)}
    found = []
    for contrast in contrasts:
        i, j = position[contrast.first], position[contrast.second]
        found.append(
            Check(
                label=contrast.label,
                method="Tukey's test on brew means",
                estimate=float(tukey.statistic[i, j]),
                low=float(interval.low[i, j]),
                high=float(interval.high[i, j]),
                p=float(tukey.pvalue[i, j]),
            )
        )
    return found
