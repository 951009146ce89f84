"""A table of results judged as it stands: pots, beds, plants, and brews measured elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from aerobe.errors import AerobeError, UnusableRecord
from aerobe.notebook import Kept, Notebook
from aerobe.records import Trial
from aerobe.units import number as shown
from aerobe.units import parse_number
from aerobe.usecases.trials._asked import standing_of_table
from aerobe.verdicts import CANNOT_TELL, BrewResult, Rival, Verdict, hold_back, judge, outcome

KIND = "table judged"  # of kept results
SUBJECT = "tables"
HALF = 0.5  # of the units, or of the numbers, that two questions share if they are about one table (our choice, no source)

# Columns that may go along with the arms without anybody having meant it.
CONFOUNDERS = {
    "kit_lot": "kit lot",
    "reader": "reader",
    "probe": "probe",
    "heap": "heap",
    "day": "day",
    "vessel_size": "vessel size",
}
Row = dict[str, str]


def judge_table(notebook: Notebook, trial: Trial, rows: Sequence[Row], *, margin: float | None = None, now: datetime) -> Verdict:
    """Judge a table with the columns arm, value and unit (brew, pot or bed); rows of one unit are averaged, counts are added.

    Further columns, where they are known: block, source_brew (the tea that a pot got), of_n (how many plants a share was counted
    among), hour, measured_in (the unit of the value), vessel, vessel_size, kit_lot, reader, probe, heap and day.

    What was asked of which rows is written down: every further question about a table shares what is left of the chance of a
    false claim, and a claim must stand with the rows as they were first judged.

    Raises
    ------
    UnusableRecord
        If a column is missing, a value is no number, or values stand in several units.
    """
    results = results_of_rows(trial, rows)
    asked = _words(trial, margin)
    judged = judge(trial, results, margin=margin)  # what cannot be judged is no question asked
    others = [item for item in notebook.kept(KIND, SUBJECT) if _is_one_table(item, trial, rows)]
    # Values are kept as numbers: another table may be typed with another decimal sign.
    payload = {"table": trial.name, "question": asked, "rows": [{**row, "value": _value(row)} for row in rows]}
    if not any(item.payload == payload for item in others):
        notebook.keep(KIND, SUBJECT, payload, at=now)
        others.append(notebook.kept(KIND, SUBJECT)[-1])
    place = 1 + next(i for i, item in enumerate(others) if item.payload == payload)
    standing = standing_of_table(place)
    if place == 1:
        return judged
    verdict = judge(trial, results, margin=margin, standing=standing)
    return _as_first_judged(trial, rows, others[0].payload, verdict, margin)


def results_of_rows(trial: Trial, rows: Sequence[Row]) -> list[BrewResult]:
    """One result for each unit of a table.

    Raises
    ------
    UnusableRecord
        As `judge_table`.
    """
    grouped: dict[str, list[Row]] = {}
    for number, row in enumerate(rows, start=1):
        if not row.get("arm") or row.get("value", "") == "":
            raise UnusableRecord(
                f"Row {number} has no arm or no value.", "Give the columns arm, value and unit (brew, pot or bed)."
            )
        if not row.get("unit"):
            raise UnusableRecord(
                f"Row {number} does not say which brew, pot or bed it was measured on.",
                "Add the column unit with a name for each: several tests of one brew do not replicate the recipe.",
            )
        grouped.setdefault(row["unit"], []).append(row)
    units = sorted({row["measured_in"].strip() for row in rows if row.get("measured_in")})
    if len(units) > 1:
        raise UnusableRecord(
            f"The values stand in several units ({', '.join(units)}).", "Bring them to one unit before they are compared."
        )
    is_counted = outcome(trial.outcome).is_counted
    return [_result(unit, members, is_counted) for unit, members in grouped.items()]


def _words(trial: Trial, margin: float | None) -> str:
    """One line that tells a question from others."""
    standard = next((arm.key for arm in trial.arms if arm.is_standard), "")
    asked = shown(trial.margin_ratio if margin is None else margin)
    return f"{trial.question} by {trial.outcome}, against {standard or 'nothing'}, with margin {asked}"


def _is_one_table(item: Kept, trial: Trial, rows: Sequence[Row]) -> bool:
    """Whether an earlier question was about this table: the same units under the same name, or mostly the same numbers.

    Units of another table may be called alike (pot 1, pot 2), so that their names alone say nothing.
    """
    then: list[Row] = item.payload["rows"]
    named = item.payload["table"] == trial.name and _shared([_unit(row) for row in then], [_unit(row) for row in rows]) > HALF
    return bool(named or _shared([_number(row) for row in then], [_number(row) for row in rows]) > HALF)


def _unit(row: Row) -> str:
    return f"{row.get('arm', '')} {row.get('unit', '')}"


def _number(row: Row) -> str:
    return f"{_value(row):.6g}"


def _value(row: Row) -> float:
    value: object = row["value"]
    return value if isinstance(value, float) else parse_number(str(value))


def _shared(then: Sequence[str], now: Sequence[str]) -> float:
    """Share of the shorter list that stands in the other, too. [-]"""
    left, found = list(then), 0
    for one in now:
        if one in left:
            left.remove(one)
            found += 1
    return found / max(1, min(len(then), len(now)))


def _as_first_judged(
    trial: Trial, rows: Sequence[Row], first: dict[str, object], verdict: Verdict, margin: float | None
) -> Verdict:
    """The verdict with claims held back that the rows do not make as they were when the table was first judged."""
    then: list[Row] = first["rows"]  # type: ignore[assignment]
    if first["question"] != _words(trial, margin):
        return verdict  # of another outcome: its numbers are others
    stood, stands = _by_unit(then), _by_unit(rows)
    gone = [unit for unit in stood if unit not in stands]
    other = [unit for unit in stood if unit in stands and stood[unit] != stands[unit]]
    if not gone and not other:
        return verdict
    added = [row for row in rows if _unit(row) not in stood]
    try:
        calls = {c.label: c.call for c in judge(trial, results_of_rows(trial, [*then, *added]), margin=margin).comparisons}
    except AerobeError:
        calls = {}
    held = [c.label for c in verdict.comparisons if c.call != CANNOT_TELL and calls.get(c.label, CANNOT_TELL) != c.call]
    parts = [f"{', '.join(units[:4])} {what}" for units, what in ((gone, "left out"), (other, "with another value")) if units]
    rival = Rival(
        name="change after a look",
        words=f"This table was judged before with other rows: {'; '.join(parts)}.",
        remedy="Say so wherever you show this verdict. A claim must stand with the rows as they were, too.",
        blocks_claim=bool(held),
    )
    return hold_back(verdict, rival, held) if held else replace(verdict, rivals=(*verdict.rivals, rival))


def _by_unit(rows: Sequence[Row]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for row in rows:
        found.setdefault(_unit(row), []).append(_number(row))
    return {unit: sorted(values) for unit, values in found.items()}


def _result(unit: str, members: Sequence[Row], is_counted: bool) -> BrewResult:
    first = members[0]
    for name in ("arm", "block", "source_brew"):
        if len({row.get(name, "") for row in members}) > 1:
            raise UnusableRecord(
                f"Unit {unit} stands in several columns '{name}': {', '.join(sorted({row.get(name, '') for row in members}))}.",
                "Give each brew, pot or bed a name of its own.",
            )
    values = tuple(_value(row) for row in members)
    among = tuple(parse_number(row["of_n"]) for row in members if row.get("of_n"))
    hours = tuple(parse_number(row["hour"]) for row in members if row.get("hour"))
    return BrewResult(
        brew=unit,
        arm=first["arm"],
        value=sum(values) if is_counted else sum(values) / len(values),
        block=first.get("block", ""),
        column=first.get("vessel", ""),
        tests=len(values),
        points=values,
        of_n=sum(among) if among else None,
        source_brew=first.get("source_brew", ""),
        elapsed_h=sum(hours) / len(hours) if hours else None,
        confounders={
            name: " and ".join(sorted({row[column] for row in members if row.get(column)}))
            for column, name in CONFOUNDERS.items()
            if any(row.get(column) for row in members)
        },
    )
