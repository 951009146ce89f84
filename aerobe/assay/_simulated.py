"""Studies of a test whose truth is known: to check the intervals, and to show what a study looks like."""

from __future__ import annotations

import csv
import io
import itertools
import math
from dataclasses import dataclass

import numpy as np

from aerobe.assay._arrays import Floats, confidence, t_quantile
from aerobe.assay._colour import colour_fit
from aerobe.assay._study import COLUMNS, Study, StudyReading
from aerobe.assay._two_component import fit_variances


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueTest:
    """An invented test, all of whose errors are known."""

    constant_sd: float = 6.0  # [ug C/mL]
    proportional_cv: float = 0.12
    background: float = 5.0  # [ug C/mL]
    tea_slope: float = 45.0  # [ug C/mL per unit of colour]
    tea_colour: float = 0.4
    colourant_slopes: tuple[float, ...] = (60.0, 30.0, 50.0)

    @property
    def tea_bias(self) -> float:
        """What colour and background add to the tea. [ug C/mL]"""
        return self.background + self.tea_slope * self.tea_colour


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How often stated intervals held the truth."""

    studies: int
    level: float
    of_bias: float
    of_slope: float


def colour_coverage(
    true: TrueTest, *, studies: int, seed: int, level: float = 0.9, spoil: float = 1.0, ignore_covariance: bool = False
) -> Coverage:
    """Simulate whole studies, estimate error model and colour bias in each by the functions that users run, count the hits.

    A study has six water blanks, eight controls of the tea, ten readings of each colourant at five colours, and six teas
    read four times each for the error model. `spoil` shrinks the intervals and `ignore_covariance` forgets that
    background and slope are estimated together: the count must notice both.
    """
    rng = np.random.default_rng(seed)
    names = 1 + len(true.colourant_slopes)
    rows: list[tuple[int, float]] = [(0, 0.0)] * 6 + [(1, true.tea_colour)] * 8
    rows += [(place, colour) for place in range(2, names + 1) for colour in (0.1, 0.2, 0.4, 0.6, 0.8) for _ in range(2)]
    design = np.zeros((len(rows), 1 + names))
    design[:, 0] = 1.0
    for row, (place, colour) in enumerate(rows):
        if place:
            design[row, place] = colour
    net = design[:, 1:] @ np.array([true.tea_slope, *true.colourant_slopes])
    signal = (
        true.background + net + rng.standard_normal((studies, len(rows))) * np.hypot(true.constant_sd, true.proportional_cv * net)
    )
    a, b = _error_model(true, signal[:, :6], studies, rng)
    beta, covariance, _ = colour_fit(design, signal, a, b)
    if ignore_covariance:
        covariance = covariance * np.eye(covariance.shape[-1])
    t = t_quantile(confidence(level), design.shape[0] - design.shape[1]) * spoil
    hits = []
    for row, truth in (
        (np.r_[1.0, true.tea_colour, np.zeros(names - 1)], true.tea_bias),
        (np.r_[0.0, 1.0, np.zeros(names - 1)], true.tea_slope),
    ):
        sd = np.sqrt(np.einsum("i,sij,j->s", row, covariance, row))
        hits.append(float(np.mean(abs(beta @ row - truth) <= t * sd)))
    return Coverage(studies=studies, level=level, of_bias=hits[0], of_slope=hits[1])


def _error_model(true: TrueTest, blanks: Floats, studies: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    levels = np.array([0.0, 20.0, 60.0, 120.0, 250.0, 400.0])
    sds = np.hypot(true.constant_sd, true.proportional_cv * levels)
    teas = true.background + levels[:, None] + rng.standard_normal((studies, levels.size, 4)) * sds[:, None]
    zero = blanks.mean(axis=1, keepdims=True)
    means = np.concatenate([teas.mean(axis=2) - zero, np.zeros((studies, 1))], axis=1)
    variances = np.concatenate([teas.var(axis=2, ddof=1), blanks.var(axis=1, ddof=1)[:, None]], axis=1)
    df = np.broadcast_to(np.r_[np.full(levels.size, 3.0), blanks.shape[1] - 1.0], means.shape)
    constant, squared_cv, _ = fit_variances(means, variances, df)
    return constant, squared_cv


def invented_study(seed: int = 7) -> Study:
    """An invented study of an invented home colour test at the invented yard of Quillmere: for the guide and for trying out.

    Two teas, two days, two operators, two kit lots, controls, colourants, dilutions and an addition; whole numbers as a
    person would read them off a scale that starts at 3 and ends at 600.
    """
    rng = np.random.default_rng(seed)
    lots = {"A": math.exp(0.05), "B": math.exp(-0.05)}
    days = {"1": math.exp(0.04), "2": math.exp(-0.04)}
    people = {"Ansa": 1.02, "Ruvo": 0.98}
    slopes = {"leaf-mould brew": 45.0, "worm-cast brew": 25.0, "humic extract": 60.0, "molasses": 30.0, "dark compost": 50.0}
    colours = {"leaf-mould brew": 0.40, "worm-cast brew": 0.25}
    biomass = {"leaf-mould brew": 120.0, "worm-cast brew": 310.0}
    found: list[StudyReading] = []

    def add(
        role: str,
        true: float,
        what: str,
        colour: float,
        *,
        day: str = "1",
        operator: str = "Ansa",
        lot: str = "A",
        sample: str = "",
        added: float = 0.0,
        dilution: float = 1.0,
    ) -> None:
        net = true * lots[lot] * days[day] * people[operator] + slopes.get(what, 0.0) * colour
        signal = round(8.0 + net + rng.standard_normal() * math.hypot(4.0, 0.10 * net))
        found.append(
            StudyReading(
                role=role,
                signal=max(3.0, signal),
                unit="ug C/mL",
                what=what,
                colour=colour,
                added=added,
                dilution=dilution,
                sample=sample,
                day=day,
                operator=operator,
                kit_lot=lot,
                below_detection=signal < 3,
            )
        )

    for _ in range(8):
        add("water blank", 0.0, "", 0.0)
    for what, amount in biomass.items():
        for day, operator, lot, sample in itertools.product(days, people, lots, ("a", "b")):
            portion = amount * math.exp(0.05 * rng.standard_normal())
            for _ in range(2):
                key = f"{day}{operator[0]}{lot}{sample}"
                add("sample", portion, what, colours[what], day=day, operator=operator, lot=lot, sample=key)
        for role in ("filtered blank", "killed control"):
            for _ in range(4):
                add(role, 0.0, what, colours[what])
    for what in ("humic extract", "molasses", "dark compost"):
        for colour in (0.1, 0.1, 0.2, 0.2, 0.4, 0.4, 0.8, 0.8):
            add("colourant", 0.0, what, colour)
    for dilution in (2.0, 4.0, 8.0, 16.0):
        for _ in range(3):
            add("sample", 310.0 / dilution, "worm-cast brew", 0.25 / dilution, dilution=dilution)
    for _ in range(6):
        add("spike", 120.0 + 150.0, "leaf-mould brew", 0.40, added=150.0)
    return Study(
        name="Invented home colour test, Quillmere yard",
        method="colour test",
        readings=tuple(found),
        price=4.0,
        scale_low=3.0,
        scale_high=600.0,
    )


def study_as_table(study: Study) -> str:
    """The study as the comma-separated table that `study_from_table` reads."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for item in study.readings:
        mark = "below" if item.below_detection else "above" if item.above_range else ""
        writer.writerow(
            [
                item.role,
                f"{item.signal:g}",
                item.unit,
                item.what,
                "" if math.isnan(item.colour) else f"{item.colour:g}",
                f"{item.added:g}" if item.added else "",
                f"{item.dilution:g}" if item.dilution != 1 else "",
                item.sample,
                item.day,
                item.operator,
                item.kit_lot,
                mark,
            ]
        )
    return out.getvalue()
