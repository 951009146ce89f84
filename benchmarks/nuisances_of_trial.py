"""Kinds of trial in which something beside the recipe favours one arm: readers, lots or vessels that met every arm."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from aerobe.verdicts import BrewResult
from benchmarks.kinds_of_trial import Case, Spoil, Spoilt


def favouring(name: str, labels: int, by: float, *, halves: bool = False) -> Spoil:
    """So many readers (lots, vessels) in turn, or one after another; the last of them favours the second arm (log scale)."""

    def spoil(_: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        made = []
        for row in rows:
            i = int(row.brew.split("-")[1])
            brews = sum(other.arm == row.arm for other in rows)
            label = i * labels // brews if halves else i % labels
            value = row.value * math.exp(by if label == labels - 1 and row.arm == "r1" else 0.0)
            tag = f"{name} {label}"
            made.append(
                replace(row, value=value, column=tag) if name == "vessel" else replace(row, value=value, confounders={name: tag})
            )
        return made, []

    return spoil


CASES = (
    Case(name="one of 2 readers favours", spoil=favouring("reader", 2, 0.35)),
    Case(name="one of 2 readers favours, 12 brews", brews=(12, 12), spoil=favouring("reader", 2, 0.35)),
    Case(name="one of 2 readers doubles", spoil=favouring("reader", 2, 0.7)),
    Case(name="2 readers, true 1.7", spoil=favouring("reader", 2, 0.0), true=math.log(1.7)),
    Case(name="second kit lot favours, in days", brews=(8, 8), blocks=True, spoil=favouring("kit lot", 2, 0.35, halves=True)),
    Case(
        name="2 kit lots in days, true 1.6",
        brews=(8, 8),
        blocks=True,
        spoil=favouring("kit lot", 2, 0.0, halves=True),
        true=math.log(1.6),
    ),
    Case(name="one of 3 vessels favours", brews=(9, 9), spoil=favouring("vessel", 3, 0.35)),
    Case(name="3 vessels, true 1.5", brews=(9, 9), spoil=favouring("vessel", 3, 0.0), true=math.log(1.5)),
    Case(name="one of 2 readers favours, 4 arms", brews=(6,) * 4, sds=(0.3,) * 4, spoil=favouring("reader", 2, 0.35)),
)
