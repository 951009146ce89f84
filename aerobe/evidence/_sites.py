"""Trials of one place are not independent: each place speaks once, whatever number of trials it sends.

A hierarchical pool in two stages. Within a place its trials are combined with a spread that all places share; between
places the combined effects are pooled with a spread of their own. Degrees of freedom count places.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.evidence._effects import Contrast
from aerobe.evidence._spread import Array

_PLAIN_BARS = (1.6448536269514722, 1.959963984540054, 2.241402727604947)  # normal quantiles of 5, 2.5 and 1.25 %


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteMeans:
    """What each place says."""

    names: tuple[str, ...]
    effects: Array  # shape (sites,) [ln ratio]
    variances: Array  # shape (sites,)
    members: tuple[tuple[int, ...], ...]  # places of the trials of each site
    within_tau2: float  # spread between trials of one place [ln ratio squared]
    bars: Array  # effects from which on a place's result counts as clear, by three usual rules, shape (rules, sites)


def site_of(item: Contrast) -> str:
    """The cluster of a trial: its place, or itself where no place is told."""
    return item.site.strip().casefold() or f"trial {item.key}"


def site_means(contrasts: Sequence[Contrast]) -> SiteMeans:
    """One effect for each place, with the moment estimate of the spread between trials of one place.

    Source
    ------
    dersimonian-laird-1986
    """
    groups: dict[str, list[int]] = {}
    for place, item in enumerate(contrasts):
        groups.setdefault(site_of(item), []).append(place)
    y = np.array([item.effect for item in contrasts])
    v = np.array([item.pool_variance() for item in contrasts])
    spread = _within(y, v, list(groups.values()))
    effects, variances, bars = [], [], []
    for members in groups.values():
        weight = 1.0 / (v[members] + (spread if len(members) > 1 else 0.0))
        effects.append(float(np.average(y[members], weights=weight)))
        variances.append(1.0 / float(np.sum(weight)))
        bars.append(_bars(contrasts[members[0]]) if len(members) == 1 else [z * math.sqrt(variances[-1]) for z in _PLAIN_BARS])
    return SiteMeans(
        names=tuple(contrasts[members[0]].site.strip() or contrasts[members[0]].key for members in groups.values()),
        effects=np.array(effects),
        variances=np.array(variances),
        members=tuple(tuple(members) for members in groups.values()),
        within_tau2=spread,
        bars=np.array(bars).T,
    )


def _bars(item: Contrast) -> list[float]:
    """The effect that a trial must show to be called clear: one side at 5 %, two sides at 5 %, and the same by its t law."""
    from scipy.special import stdtrit

    error, df = math.sqrt(item.variance), item.error_df()
    return [error * z for z in (_PLAIN_BARS if df <= 0.0 else (*_PLAIN_BARS[:2], float(stdtrit(df, 0.975))))]


def _within(y: Array, v: Array, groups: Sequence[list[int]]) -> float:
    """DerSimonian and Laird's moment estimate, summed over the places that sent several trials."""
    q = free = size = 0.0
    for members in groups:
        weight = 1.0 / v[members]
        q += float(np.sum(weight * (y[members] - np.average(y[members], weights=weight)) ** 2))
        free += len(members) - 1.0
        size += float(np.sum(weight) - np.sum(weight**2) / np.sum(weight))
    return max(0.0, (q - free) / size) if size > 0.0 else 0.0
