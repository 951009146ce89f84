"""A table of results judged as it stands: pots, beds, plants, and brews measured elsewhere."""

from __future__ import annotations

from collections.abc import Sequence

from aerobe.errors import UnusableRecord
from aerobe.records import Trial
from aerobe.units import parse_number
from aerobe.verdicts import BrewResult, Verdict, judge, outcome

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


def judge_table(trial: Trial, rows: Sequence[Row], *, margin: float | None = None) -> Verdict:
    """Judge a table with the columns arm, value and unit (brew, pot or bed); rows of one unit are averaged, counts are added.

    Further columns, where they are known: block, source_brew (the tea that a pot got), of_n (how many plants a share was counted
    among), hour, measured_in (the unit of the value), vessel, vessel_size, kit_lot, reader, probe, heap and day.

    Raises
    ------
    UnusableRecord
        If a column is missing, a value is no number, or values stand in several units.
    """
    grouped: dict[str, list[Row]] = {}
    for number, row in enumerate(rows, start=1):
        if not row.get("arm") or not row.get("value"):
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
    return judge(trial, [_result(unit, members, is_counted) for unit, members in grouped.items()], margin=margin)


def _result(unit: str, members: Sequence[Row], is_counted: bool) -> BrewResult:
    first = members[0]
    for name in ("arm", "block", "source_brew"):
        if len({row.get(name, "") for row in members}) > 1:
            raise UnusableRecord(
                f"Unit {unit} stands in several columns '{name}': {', '.join(sorted({row.get(name, '') for row in members}))}.",
                "Give each brew, pot or bed a name of its own.",
            )
    values = tuple(parse_number(row["value"]) for row in members)
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
