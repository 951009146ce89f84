"""Readings and groups that look odd. They are reported, never removed: the person decides, and says why."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.assay._arrays import finite
from aerobe.errors import NotEnoughData


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlierTest:
    """One test for one suspect. `verdict` follows ISO 5725-2: beyond 5 % a straggler, beyond 1 % an outlier."""

    test: str
    suspect: str
    statistic: float
    critical_5_percent: float
    critical_1_percent: float

    @property
    def verdict(self) -> str:
        """`inconspicuous`, `straggler` or `outlier`."""
        if self.statistic > self.critical_1_percent:
            return "outlier"
        return "straggler" if self.statistic > self.critical_5_percent else "inconspicuous"

    @property
    def says(self) -> str:
        """The verdict as a sentence; nothing has been removed."""
        return (
            f"{self.test}: {self.suspect} is {'an' if self.verdict[0] in 'io' else 'a'} {self.verdict} "
            f"({self.statistic:.3f}; 5 % limit {self.critical_5_percent:.3f}, 1 % limit {self.critical_1_percent:.3f}). "
            "It stays in the data."
        )


def grubbs_critical(n: int, alpha: float) -> float:
    """Critical value of Grubbs' test for the one largest deviation on either side: risk `alpha` in all. [-]"""
    from scipy.special import stdtrit

    t = float(stdtrit(n - 2, 1 - alpha / (2 * n)))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def grubbs(values: Mapping[str, float]) -> OutlierTest:
    """Grubbs' test of the value furthest from the mean.

    Source
    ------
    iso-5725-2, grubbs-1969
    """
    numbers = finite(values.values(), "values", at_least=3)
    spread = float(numbers.std(ddof=1))
    far = abs(numbers - numbers.mean())
    place = int(far.argmax())
    return OutlierTest(
        test="Grubbs",
        suspect=list(values)[place],
        statistic=float(far[place]) / spread if spread > 0 else 0.0,
        critical_5_percent=grubbs_critical(numbers.size, 0.05),
        critical_1_percent=grubbs_critical(numbers.size, 0.01),
    )


def cochran_critical(groups: int, replicates: float, alpha: float) -> float:
    """Critical share of the largest variance among `groups` variances of `replicates` readings each. [-]"""
    from scipy.special import fdtri

    f = float(fdtri(replicates - 1, (groups - 1) * (replicates - 1), 1 - alpha / groups))
    return 1 / (1 + (groups - 1) / f)


def cochran(groups: Mapping[str, Sequence[float]]) -> OutlierTest:
    """Cochran's test: is one group's scatter too large for the others?

    Groups of unequal size are compared with the limit for the mean number of replicates, as the standard permits
    when the numbers differ little.

    Raises
    ------
    NotEnoughData
        If fewer than two groups have repeats.

    Source
    ------
    iso-5725-2
    """
    replicated = {name: finite(group, "replicates") for name, group in groups.items() if len(group) > 1}
    if len(replicated) < 2:
        raise NotEnoughData("Cochran's test needs two groups with replicates.", "Repeat the test on at least two samples.")
    variances = np.array([group.var(ddof=1) for group in replicated.values()])
    size = float(np.mean([group.size for group in replicated.values()]))
    place = int(variances.argmax())
    total = float(variances.sum())
    return OutlierTest(
        test="Cochran",
        suspect=list(replicated)[place],
        statistic=float(variances[place]) / total if total > 0 else 0.0,
        critical_5_percent=cochran_critical(len(replicated), size, 0.05),
        critical_1_percent=cochran_critical(len(replicated), size, 0.01),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mandel:
    """Consistency of each group: h for its mean, k for its scatter, with their 5 % and 1 % limits."""

    names: tuple[str, ...]
    h: tuple[float, ...]
    k: tuple[float, ...]
    h_critical: tuple[float, float]
    k_critical: tuple[float, float]

    def flagged(self) -> tuple[str, ...]:
        """Sentences for the groups beyond a 5 % limit."""
        found = []
        for name, h, k in zip(self.names, self.h, self.k, strict=True):
            if abs(h) > self.h_critical[0]:
                found.append(f"Mandel h: {name} lies {'high' if h > 0 else 'low'} ({h:.2f}; 5 % limit {self.h_critical[0]:.2f}).")
            if k > self.k_critical[0]:
                found.append(f"Mandel k: {name} scatters more than the others ({k:.2f}; 5 % limit {self.k_critical[0]:.2f}).")
        return tuple(found)


def mandel(groups: Mapping[str, Sequence[float]]) -> Mandel:
    """Mandel's h and k for groups of replicates of one material.

    Raises
    ------
    NotEnoughData
        If fewer than three groups have repeats.

    Source
    ------
    iso-5725-2
    """
    from scipy.special import fdtri, stdtrit

    if len(groups) < 3 or any(len(group) < 2 for group in groups.values()):
        raise NotEnoughData("Mandel's statistics need three groups with replicates.", "Add groups or replicates.")
    arrays = [finite(group, "replicates") for group in groups.values()]
    means = np.array([group.mean() for group in arrays])
    variances = np.array([group.var(ddof=1) for group in arrays])
    df = np.array([group.size - 1 for group in arrays])
    pooled = math.sqrt(float((df * variances).sum() / df.sum()))
    p, n = len(arrays), float(df.mean()) + 1
    spread = float(means.std(ddof=1))
    t = [float(stdtrit(p - 2, 1 - alpha / 2)) for alpha in (0.05, 0.01)]
    f = [float(fdtri(n - 1, (p - 1) * (n - 1), 1 - alpha)) for alpha in (0.05, 0.01)]
    k = [math.sqrt(p / (1 + (p - 1) / value)) for value in f]
    return Mandel(
        names=tuple(groups),
        h=tuple(map(float, (means - means.mean()) / spread)) if spread > 0 else (0.0,) * p,
        k=tuple(map(float, np.sqrt(variances) / pooled)) if pooled > 0 else (0.0,) * p,
        h_critical=((p - 1) * t[0] / math.sqrt(p * (t[0] ** 2 + p - 2)), (p - 1) * t[1] / math.sqrt(p * (t[1] ** 2 + p - 2))),
        k_critical=(k[0], k[1]),
    )
