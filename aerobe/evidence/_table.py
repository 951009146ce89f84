"""Contrasts typed from papers and letters: one trial a line, as a ratio with its interval or as means with their spread."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from aerobe.errors import AerobeError, ImportFault
from aerobe.evidence._effects import TrialContrast, ratio_of_means
from aerobe.units import numbers_of_table, parse_number

NEEDED = ("key", "recipe", "against")
RATIO = ("ratio", "low", "high")
MEANS = ("mean", "sd", "brews", "mean_against", "sd_against", "brews_against")
YES_NO = ("planned", "blinded", "randomised", "killed_control", "assay_characterised")
MODERATORS = ("temperature_degc", "compost_g_per_l", "dose_g_per_l")
COLUMNS = (*NEEDED, *RATIO, *MEANS, "outcome", "site", "assay", *YES_NO, *MODERATORS)
MAX_ROWS = 20_000
OFF_CENTRE = 0.25  # of the interval's width on the log scale; 1.5 (0.5 to 2.5), made by plus and minus, is 0.18 off (our choice)


def contrasts_from_table(text: str) -> tuple[TrialContrast, ...]:
    """Contrasts from a table with a header line; commas, semicolons or tabs, decimal commas with the last two.

    Each line has `key`, `recipe`, `against`, and either `ratio`, `low`, `high` (a 95 % interval) or `mean`, `sd`,
    `brews`, `mean_against`, `sd_against`, `brews_against` (sd between brews, never between tests of one brew).

    Raises
    ------
    ImportFault
        If a column is not known or a line cannot be used; the message names the line.
    """
    lines = [line for line in text.lstrip("\ufeff").splitlines() if line.strip()]
    if len(lines) < 2:
        raise ImportFault("The table is empty.", f"Start with a header line: {','.join((*NEEDED, *RATIO))}.")
    if len(lines) > MAX_ROWS:
        raise ImportFault(f"The table has {len(lines)} lines.", f"Split it into tables of at most {MAX_ROWS}.")
    mark = max("\t;,", key=lines[0].count)
    try:
        rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=mark))
    except csv.Error as fault:
        raise ImportFault(f"The table cannot be read: {fault}.", "Save it as CSV and try again.") from None
    head = [cell.strip().lower() for cell in rows[0]]
    unknown = [cell for cell in head if cell not in COLUMNS]
    missing = [cell for cell in NEEDED if cell not in head]
    if unknown or missing:
        problem = f"Unknown columns: {', '.join(unknown)}." if unknown else f"Missing columns: {', '.join(missing)}."
        raise ImportFault(problem, f"Use the columns {', '.join(COLUMNS)}.")
    with numbers_of_table(mark):
        return tuple(
            _contrast(dict(zip(head, (cell.strip() for cell in row), strict=False)), number)
            for number, row in enumerate(rows[1:], start=2)
        )


def _contrast(row: dict[str, str], line: int) -> TrialContrast:
    try:
        effect, variance = _effect(row)
        made: dict[str, Any] = {name: _yes(row.get(name, "")) for name in YES_NO}
        return TrialContrast(
            key=_short(row["key"]),
            recipe=_short(row["recipe"]),
            against=_short(row["against"]),
            effect=effect,
            variance=variance,
            outcome=row.get("outcome") or "biomass",
            site=_short(row.get("site", "")),
            assay=_short(row.get("assay", "")),
            brews=_count(row, "brews"),
            brews_against=_count(row, "brews_against"),
            moderators={name: parse_number(row[name]) for name in MODERATORS if row.get(name)},
            **made,
        )
    except AerobeError as fault:
        raise ImportFault(f"Line {line}: {fault.problem}", fault.remedy) from None


def _effect(row: dict[str, str]) -> tuple[float, float]:
    if all(row.get(name) for name in RATIO):
        ratio, low, high = (parse_number(row[name]) for name in RATIO)
        if not 0.0 < low < high or not low <= ratio <= high:
            raise ImportFault(
                f"A ratio of {ratio:g} with {low:g} to {high:g} is no ratio with its interval.",
                "Give the ratio between a lower and an upper end above zero.",
            )
        if abs(math.log(ratio) - 0.5 * math.log(low * high)) > OFF_CENTRE * math.log(high / low):
            raise ImportFault(
                f"A ratio of {ratio:g} lies far from the middle of {low:g} to {high:g}.",
                "Give the interval that belongs to the ratio; of one that was made on another scale give means and spread.",
            )
        return math.log(ratio), ((math.log(high) - math.log(low)) / (2 * 1.959963984540054)) ** 2
    if all(row.get(name) for name in MEANS):
        values = [parse_number(row[name]) for name in MEANS]
        return ratio_of_means(values[0], values[1], _count(row, "brews"), values[3], values[4], _count(row, "brews_against"))
    raise ImportFault(
        "The line has neither a ratio with its interval nor two means with their spread.",
        f"Fill {', '.join(RATIO)} or {', '.join(MEANS)}.",
    )


def _count(row: dict[str, str], name: str) -> int:
    if not row.get(name):
        return 0
    value = parse_number(row[name])
    if value != int(value) or not 0 <= value <= 1_000_000:
        raise ImportFault(f"'{row[name]}' is no number of brews.", "Write a whole number.")
    return int(value)


def _yes(cell: str) -> bool | None:
    words: dict[str, bool | None] = {"": None, "yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
    if cell.lower() not in words:
        raise ImportFault(f"'{cell}' is neither yes nor no.", "Write yes, no, or leave it empty.")
    return words[cell.lower()]


def _short(cell: str) -> str:
    if len(cell) > 120:
        raise ImportFault(f"'{cell[:40]}...' is longer than a name.", "Use at most 120 characters.")
    return cell
