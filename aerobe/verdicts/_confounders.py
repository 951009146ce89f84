"""Confounders: what else went with the arms. Each that is recorded is taken out, or stops the claim."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.verdicts._contrasts import Contrast
from aerobe.verdicts._layout import Layout, is_estimable, lay_out
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival

Array = NDArray[np.float64]
NOT_RECORDED = "not recorded"
LEAST_DF = 2  # left for the scatter once a confounder is taken out
DRAWN_APART = 0.5  # vessels drawn by lot: share of a contrast that may lie in them before they are taken out (our choice)
NEARLY_EVEN = 0.1  # share of a contrast in the vessels up to which they are taken out for precision alone (our choice, no source)
# Degrees of freedom that must remain then. With two arms and fewer, alike vessels cost more than unlike ones do (counted); three
# arms or more in days and vessels are judged by one scatter, which makes up for the loss.
LEAST_LEFT_OF_TWO, LEAST_LEFT_OF_MORE = 4, 2
APART_H = 20.0  # starts further apart than this are not of one day [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjusted:
    """The layout with confounders taken out, and the contrasts that none can rescue."""

    layout: Layout
    held: dict[int, Rival]  # by place of the contrast
    notes: tuple[Rival, ...]


def adjust_for_confounders(
    contrasts: Sequence[Contrast], arms: Sequence[int], results: Sequence[BrewResult], *, vessels_planned: bool
) -> Adjusted:
    """Take out what is partly mixed up with the arms; hold what cannot be told from them.

    A confounder spread evenly over the arms changes nothing and stays in the scatter, but for vessels that all arms visited about
    equally often (a Latin square, or rounds drawn like its rows), which are taken out where enough brews remain to know the
    scatter. Other vessels drawn by lot are taken out only where they go along with the arms by half or more.

    Parameters
    ----------
    contrasts
        Comparisons asked for. [-]
    arms
        Arm of each brew, counted from 0. [-]
    results
        One for each brew. [-]
    vessels_planned
        Whether the plan balanced the vessels. [-]

    Source
    ------
    hurlbert-1984, fisher-1935
    """
    blocks = [result.block for result in results]
    rows = np.array([contrast.weights for contrast in contrasts])
    taken: list[tuple[str, list[str]]] = []
    held: dict[int, Rival] = {}
    notes: list[Rival] = []
    plain = lay_out(arms, blocks)
    for name, labels in recorded(results).items():
        mixed = _share_in(plain, rows, labels)
        if name == "vessel" and not vessels_planned and not (mixed.max() >= DRAWN_APART):
            if mixed.max() < NEARLY_EVEN and plain.is_blocked:
                both = lay_out(arms, blocks, labels)
                if enough_beside_vessels(both):
                    taken.append((name, labels))
                notes += _few_left(both.df, is_taken=enough_beside_vessels(both))
            continue
        if mixed.max() < 1e-9 and name != "vessel":
            continue
        alone = lay_out(arms, blocks, labels)
        for place in np.flatnonzero(is_estimable(plain, rows) & ~is_estimable(alone, rows)).tolist():
            held.setdefault(place, _aliased(name, labels, contrasts[place], arms))
        if is_estimable(alone, rows).any():
            taken.append((name, labels))
            notes.append(_partly(name))
    layout = lay_out(arms, blocks, *(labels for _, labels in taken))
    lost = is_estimable(plain, rows) & ~is_estimable(layout, rows)
    if taken and (layout.df < LEAST_DF <= plain.df or any(lost[i] and i not in held for i in range(len(rows)))):
        names = " and ".join(name for name, _ in taken)
        for i in range(len(rows)):
            if i not in held and _share_in(plain, rows[[i]], _crossed([labels for _, labels in taken])).max() > 1e-9:
                held[i] = _too_many(names, contrasts[i])
        layout, notes = plain, []
    for i, contrast in enumerate(contrasts):
        season = _apart_in_time(contrast, arms, results)
        if season is not None:
            held.setdefault(i, season)
    return Adjusted(layout=layout, held=held, notes=tuple(notes))


def enough_beside_vessels(both: Layout) -> bool:
    """Whether days and vessels may both be taken out for precision alone: enough is left to know the scatter."""
    return both.df >= (LEAST_LEFT_OF_TWO if both.n_arms == 2 else LEAST_LEFT_OF_MORE)


def lay_out_in_vessels(arms: Sequence[int], blocks: Sequence[str], vessels: Sequence[str], rows: Array) -> Layout:
    """Arms and days, and vessels where the verdict of a trial drawn so would take them out.

    Parameters
    ----------
    arms, blocks, vessels
        Of each brew. [-]
    rows
        Weights of the arms in each comparison, shape (contrasts, arms). [-]
    """
    plain = lay_out(arms, blocks)
    if len(plain.groupings) != 1 or not 1 < len(set(vessels)) < len(vessels):
        return plain
    both = lay_out(arms, blocks, vessels)
    even = float(_share_in(plain, rows, vessels).max()) < NEARLY_EVEN
    return both if even and enough_beside_vessels(both) and bool(is_estimable(both, rows).all()) else plain


def recorded(results: Sequence[BrewResult]) -> dict[str, list[str]]:
    """Labels of each confounder that differs between brews and that several brews share."""
    names = sorted({name for result in results for name, label in result.confounders.items() if label})
    found = {name: [result.confounders.get(name) or NOT_RECORDED for result in results] for name in names}
    if all(result.column for result in results):
        found["vessel"] = [result.column for result in results]
    return {name: labels for name, labels in found.items() if 1 < len(set(labels)) < len(labels)}


def _share_in(layout: Layout, rows: Array, labels: Sequence[str]) -> Array:
    """How much of each contrast's weights lies in the differences between labels, from 0 (balanced) to 1 (aliased). [-]"""
    inverse = layout.inverse
    padded = np.zeros((len(rows), layout.matrix.shape[1]))
    padded[:, : rows.shape[1]] = rows
    weights = padded @ inverse
    dummies = np.array([[label == one for one in sorted(set(labels))] for label in labels], dtype=float)
    between = np.linalg.norm(weights @ dummies / np.sqrt(dummies.sum(axis=0)), axis=1)
    return np.asarray(np.minimum(1.0, (between / np.linalg.norm(weights, axis=1)) ** 2))


def _crossed(labelled: Sequence[Sequence[str]]) -> list[str]:
    return ["|".join(parts) for parts in zip(*labelled, strict=True)]


def _aliased(name: str, labels: Sequence[str], contrast: Contrast, arms: Sequence[int]) -> Rival:
    used = {
        arm: sorted({label for label, of in zip(labels, arms, strict=True) if of == arm})
        for arm, weight in enumerate(contrast.weights)
        if weight != 0
    }
    parts = "; ".join(", ".join(found) for found in used.values())
    return Rival(
        name=name,
        words=f"{contrast.label}: {name} and recipe go together ({parts}), so either could make the difference.",
        remedy=f"Give every {name} to all arms alike, or use one for all.",
        blocks_claim=True,
    )


def _partly(name: str) -> Rival:
    return Rival(
        name=name,
        words=f"Arms differ in their {name}; it is taken out, which makes the interval wider.",
        remedy=f"Give every {name} to all arms alike.",
    )


def _few_left(df: int, *, is_taken: bool) -> list[Rival]:
    """What can't be known with few degrees of freedom beside the vessels."""
    if df >= LEAST_LEFT_OF_TWO:
        return []
    left = "1 degree of freedom is" if df == 1 else f"{max(df, 0)} degrees of freedom are"
    if is_taken:
        words = (
            f"With days and vessels taken out {left} left: how far brews differ is hardly known, so only large effects are told."
        )
    else:
        words = f"If the vessels were taken out, {left} left, which is too few: if they differ, that makes the intervals wider."
    return [Rival(name="few degrees of freedom", words=words, remedy="Brew more rounds, each arm in each vessel.")]


def _too_many(names: str, contrast: Contrast) -> Rival:
    return Rival(
        name=names,
        words=f"{contrast.label}: {names} differ between the arms, and too few brews are left to take them out.",
        remedy="Use the same for all arms, or brew more.",
        blocks_claim=True,
    )


def _apart_in_time(contrast: Contrast, arms: Sequence[int], results: Sequence[BrewResult]) -> Rival | None:
    """All brews of one side before all of the other: season, heap and practice could make the difference as well."""
    if contrast.second == "" or len({result.block for result in results}) > 1:
        return None
    sides = []
    for sign in (1.0, -1.0):
        began = [r.began_h for r, arm in zip(results, arms, strict=True) if contrast.weights[arm] * sign > 0]
        known = [hour for hour in began if hour is not None]
        if not known or len(known) < len(began):
            return None
        sides.append((min(known), max(known)))
    (first_low, first_high), (second_low, second_high) = sides
    gap = max(second_low - first_high, first_low - second_high)
    if gap < APART_H:
        return None
    return Rival(
        name="time",
        words=f"{contrast.label}: all brews of one were made before all of the other, so season, heap or practice could make "
        "the difference.",
        remedy="Brew both on the same days.",
        blocks_claim=True,
    )
