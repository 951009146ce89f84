"""Trials of one place are not independent: each place speaks once, whatever number of trials it sends.

A hierarchical pool in two stages. Within a place its trials are combined with a spread that all places share; between
places the combined effects are pooled with a spread of their own. Degrees of freedom count places.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from aerobe.evidence._effects import TrialContrast
from aerobe.evidence._spread import Array

LONG_WORD = 5  # letters of a word in which one other letter is a slip rather than another name (our choice, no source)
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


def site_of(item: TrialContrast) -> str:
    """The cluster of a trial: its place, however its name is set, or itself where no place is told."""
    return folded(item.site) or item.site.strip().casefold() or f"trial {item.key}"


def sites_of(contrasts: Sequence[TrialContrast]) -> list[str]:
    """The cluster of each trial: one place, whatever it is called, is what shares a name or a notebook."""
    place_of: dict[str, str] = {}
    for item in contrasts:
        marks = [site_of(item), *([f"notebook {item.origin}"] if item.origin else [])]
        met = {place_of[mark] for mark in marks if mark in place_of}
        first = next((place_of[mark] for mark in marks if mark in place_of), marks[0])
        place_of.update({mark: first for mark, place in place_of.items() if place in met} | dict.fromkeys(marks, first))
    return [place_of[site_of(item)] for item in contrasts]


def folded(name: str) -> str:
    """A name without case, accents, signs and spare spaces."""
    plain = "".join(sign for sign in unicodedata.normalize("NFKD", name).casefold() if not unicodedata.combining(sign))
    return " ".join("".join(sign if sign.isalnum() else " " for sign in plain).split())


def near_names(contrasts: Sequence[TrialContrast]) -> tuple[tuple[str, str], ...]:
    """Names of places that differ by one letter of a longer word, or in the order of their words: a slip of the pen may be."""
    places = dict(zip(sites_of(contrasts), (item.site.strip() for item in contrasts), strict=True))
    named = [(folded(name), name) for name in places.values() if name]
    return tuple((one, other) for (a, one), (b, other) in combinations(named, 2) if _is_slip(a, b))


def _is_slip(one: str, other: str) -> bool:
    words, others = one.split(), other.split()
    if sorted(words) == sorted(others):
        return True
    differ = [(a, b) for a, b in zip(words, others, strict=False) if a != b]
    if len(words) != len(others) or len(differ) != 1 or max(map(len, differ[0])) < LONG_WORD or not "".join(differ[0]).isalpha():
        return False
    a, b = differ[0]
    at = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
    swapped = a[at : at + 2] == b[at : at + 2][::-1] and a[at + 2 :] == b[at + 2 :]
    return swapped or a[at + 1 :] in (b[at + 1 :], b[at:]) or a[at:] == b[at + 1 :]


def site_means(contrasts: Sequence[TrialContrast]) -> SiteMeans:
    """One effect for each place, with the moment estimate of the spread between trials of one place.

    Source
    ------
    dersimonian-laird-1986
    """
    groups: dict[str, list[int]] = {}
    for place, name in enumerate(sites_of(contrasts)):
        groups.setdefault(name, []).append(place)
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


def _bars(item: TrialContrast) -> list[float]:
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
