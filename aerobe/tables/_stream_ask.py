"""What only the whole of a long log raises: numbers that are no reading, time that goes back, hours that never were."""

from __future__ import annotations

from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import ImportFault
from aerobe.tables._ask import Questions
from aerobe.tables._brews import names_of
from aerobe.tables._cells import SENTINELS
from aerobe.tables._codes import OF_PROBES, stands_apart
from aerobe.tables._read import NEVER_MOVED, TableReading
from aerobe.tables._results import Labels
from aerobe.tables._runs import ONE
from aerobe.tables._stream_plan import Folded, StreamPlan
from aerobe.tables._units import split_header
from aerobe.tables._way import LEAVE_OUT
from aerobe.tables._words import meanings_of

ODD = tuple(sorted(SENTINELS | OF_PROBES))  # numbers that may stand for no reading


def ask_about(folded: Folded, plan: StreamPlan, labels: list[Labels], questions: Questions) -> NDArray[np.bool_]:
    """Ask, and give which odd numbers are readings after all, shape (channels, odd)."""
    keep = np.zeros(folded.odd_counts.shape, dtype=np.bool_)
    for at, column in enumerate(plan.channels):
        full = folded.counts[:, at] > 0
        rest = [float(folded.lows[full, at].min()), float(folded.highs[full, at].max())] if full.any() else []
        for one in np.flatnonzero(folded.odd_counts[at]):
            value = ODD[one]
            within = plan.limits[at, 0] <= value <= plan.limits[at, 1]
            if not within:
                continue  # no probe shows it; it stays left out and is counted
            if rest and not stands_apart(value, rest):
                keep[at, one] = True
                continue
            said = questions.ask(
                f"no reading:{column.header}:{value:g}",
                f"Does {value:g} in '{column.header}' stand for no reading?",
                because=f"It comes {folded.odd_counts[at, one]} times and lies far off all others.",
                options=("yes", "no"),
                default="" if value == 0.0 else "yes",
            )
            keep[at, one] = said == "no"
    names = names_of(labels)
    for place, label in enumerate(labels):
        backs, first = (int(value) for value in folded.backs[place])
        if backs:
            name = names.get(label, "") or "log"
            questions.ask(
                f"runs:{name}",
                f"The time of {name} goes back {backs} times, first {first} rows below the names. Is it one run, out of order?",
                because="If the logger began anew, the two courses would run into each other: split the file there.",
                options=(ONE,),
            )
    if folded.tally[7]:
        questions.ask(
            "no such hour",
            f"In {plan.zone} clocks skipped an hour in which {int(folded.tally[7])} rows lie. What did this clock do?",
            because="A logger often keeps the time of the winter all year.",
            options=(NEVER_MOVED, LEAVE_OUT),
        )
    return keep


def refuse_new_names(stream: BinaryIO, reading: TableReading, plan: StreamPlan, folded: Folded) -> None:
    """Refuse a log whose columns change on the way: rows below would be read under the wrong names."""
    for place in folded.bad_at[:2000]:
        stream.seek(place)
        line = stream.readline(10_000).decode(plan.letters, "replace").strip()
        cells = [cell.strip(' "') for cell in line.split(chr(plan.mark))]
        known = [cell for cell in cells if cell and meanings_of(split_header(cell)[0])]
        if len(known) < max(2, len([cell for cell in cells if cell]) - 1) or tuple(cells) == reading.block.header:
            continue
        if set(cells) != set(reading.block.header) or cells != list(reading.block.header):
            raise ImportFault(
                f"The columns of {reading.name} change at the line '{line[:80]}'.",
                "Split the file there; take in both parts.",
            )
