"""Studies of a test whose truth is known: to check the intervals, and to show what a study looks like."""

from __future__ import annotations

import csv
import io
import itertools
import math

import numpy as np

from aerobe.assay._study import COLUMNS, Study, StudyReading


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
        bench: tuple[str, str, str] = ("1", "Ansa", "A"),  # day, operator, kit lot
        sample: str = "",
        added: float = 0.0,
        dilution: float = 1.0,
    ) -> None:
        day, operator, lot = bench
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
                add("sample", portion, what, colours[what], bench=(day, operator, lot), sample=key)
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
