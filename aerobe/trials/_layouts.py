"""Brews in rounds, and rounds in vessels, drawn with a kept seed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """One brew of a design."""

    arm: int  # from 0
    round: int  # from 0; brews of one round stand side by side
    place: int  # vessel within the round, from 0


def plots_of(arms: int, brews_per_arm: int, per_round: int) -> tuple[Plot, ...]:
    """All brews of a design in rounds of at most `per_round`, before randomisation.

    Where a round holds whole sets of arms, rounds are complete blocks. Where vessels are fewer than arms, arms follow each other
    with a shift from set to set, so that every pair of arms meets.
    """
    order: list[int] = []
    for replicate in range(brews_per_arm):
        # In incomplete rounds a growing stride changes the neighbours of each arm from set to set.
        stride = 1 if per_round >= arms else _coprime(replicate + 1, arms)
        order += [(replicate + stride * i) % arms for i in range(arms)]
    return tuple(Plot(arm=arm, round=i // per_round, place=i % per_round) for i, arm in enumerate(order))


def weighted_plots(counts: Sequence[int], per_round: int) -> tuple[Plot, ...]:
    """All brews of a design in which arms have brews of their own number, each arm spread evenly over the rounds."""
    left, order = list(counts), []
    total = sum(counts)
    for place in range(total):
        # The arm furthest behind its even share comes next.
        behind = [
            (place + 1) * count / total - (count - rest) if rest else -np.inf for count, rest in zip(counts, left, strict=True)
        ]
        arm = int(np.argmax(behind))
        left[arm] -= 1
        order.append(arm)
    return tuple(Plot(arm=arm, round=i // per_round, place=i % per_round) for i, arm in enumerate(order))


def _coprime(start: int, arms: int) -> int:
    stride = 1 + (start - 1) % max(1, arms - 1)
    while np.gcd(stride, arms) != 1:
        stride = 1 + stride % max(1, arms - 1)
    return stride


def randomised(plots: Sequence[Plot], arms: int, rng: np.random.Generator) -> tuple[Plot, ...]:
    """The same brews with rounds in random order, arms renamed at random and vessels drawn.

    In complete rounds each arm moves through the vessels by a shift that differs from round to round (rows of a Latin
    square), so that no arm keeps the good vessel.
    """
    rounds = sorted({plot.round for plot in plots})
    new_round = dict(zip(rounds, rng.permutation(len(rounds)).tolist(), strict=True))
    renamed = _renamed(plots, arms, rng)
    shifts = _shifts(len(rounds), arms, rng)
    found = []
    for one in rounds:
        members = [plot for plot in plots if plot.round == one]
        if _is_whole(members, arms):
            places = [
                part * arms + (renamed[plot.arm] + shifts[new_round[one]]) % arms
                for part, plot in ((i // arms, plot) for i, plot in enumerate(members))
            ]
        else:
            places = rng.permutation(len(members)).tolist()
        found += [Plot(arm=renamed[p.arm], round=new_round[one], place=place) for p, place in zip(members, places, strict=True)]
    return tuple(sorted(found, key=lambda plot: (plot.round, plot.place)))


def _renamed(plots: Sequence[Plot], arms: int, rng: np.random.Generator) -> list[int]:
    """New names of the arms; an arm only swaps with others of as many brews."""
    counts = [sum(plot.arm == arm for plot in plots) for arm in range(arms)]
    names = list(range(arms))
    for count in set(counts):
        alike = [arm for arm in range(arms) if counts[arm] == count]
        for arm, new in zip(alike, rng.permutation(alike).tolist(), strict=True):
            names[arm] = new
    return names


def _is_whole(members: Sequence[Plot], arms: int) -> bool:
    """Whether a round holds whole sets of arms, one after another."""
    parts = [members[i : i + arms] for i in range(0, len(members), arms)]
    return all(sorted(plot.arm for plot in part) == list(range(arms)) for part in parts)


def _shifts(rounds: int, arms: int, rng: np.random.Generator) -> list[int]:
    """A shift for each round; each arms rounds use every shift once."""
    found: list[int] = []
    while len(found) < rounds:
        found += rng.permutation(arms).tolist()
    return found
