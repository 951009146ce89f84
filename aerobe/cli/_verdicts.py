"""Commands that judge: a trial, two recipes afterwards, a table; and what to ask next. `_trials` takes them into its group."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import OWN, Where, now, progress, say
from aerobe.errors import ImportFault, UnusableRecord
from aerobe.records import Arm, Trial, as_json
from aerobe.units import numbers_of_table

if TYPE_CHECKING:
    from aerobe.usecases.trials import Verdict


def verdict(
    key: str,
    /,
    *,
    outcome: str = "",
    assay: str = "",
    at_h: float | None = None,
    margin: float | None = None,
    also: tuple[str, ...] = (),
    where: Where = OWN,
) -> int:
    """Judge a trial. Exit code 4: nothing can be told yet.

    Parameters
    ----------
    key
        Key of the trial.
    outcome
        Judged by; what the trial was planned for if left out.
    assay
        Key of the assay whose readings are judged; the one that measured the most brews if left out.
    at_h
        Hour to compare at; the last planned hour that every arm has reached if left out. [h]
    margin
        Ratio worth having, if not that of the plan.
    also
        Comparisons nobody planned, as first/second; they are marked.
    """
    from aerobe.usecases.trials import JudgedBy, keep_verdict, rests_on, verdict_of_trial

    pairs = [_pair(item) for item in also]
    with where.open() as notebook:
        with progress("judging"):
            found = verdict_of_trial(
                notebook, key, by=JudgedBy(outcome=outcome, assay=assay, at_h=at_h, margin=margin), also=pairs, now=now()
            )
        keep_verdict(notebook, key, found, now=now())
        basis = rests_on(notebook, key, outcome_key=outcome, assay=assay).words
    return _say_verdict(found, where.json, basis)


def next_one(key: str, /, *, where: Where = OWN) -> None:
    """What to ask next, from what this trial showed.

    Parameters
    ----------
    key
        Key of the trial.
    """
    from aerobe.usecases.trials import next_trial

    with where.open(create=False) as notebook:
        found = next_trial(notebook, key, now=now())
    lines = list(found.because)
    if found.trial is not None:
        lines.append(
            f"Next: {found.trial.question} with {', '.join(arm.key for arm in found.trial.arms)}"
            + (f", {found.brews_per_arm} brews of each arm in all." if found.brews_per_arm and not found.brews_of else ".")
        )
    if found.brews_of:
        lines.append("Next round: " + ", ".join(f"{count} of {arm}" for arm, count in found.brews_of) + ".")
    say(found, as_json=where.json, text=lines)


def compare(
    first: str, second: str, /, *, outcome: str = "biomass", at_h: float | None = None, margin: float = 1.25, where: Where = OWN
) -> int:
    """Two recipes by all their brews, planned or not; the answer is marked as unplanned. Exit code 4: it cannot be told yet.

    Parameters
    ----------
    first
        Key of one recipe.
    second
        Key of the recipe it is compared with.
    outcome
        Judged by: biomass, area under the curve, count, ratio, peak time, cost per biomass, oxygen ...
    at_h
        Hour to compare at; each brew's last sample if left out. [h]
    margin
        Ratio worth having.
    """
    from aerobe.usecases.trials import compare_recipes

    with where.open(create=False) as notebook:
        found = compare_recipes(notebook, first, second, outcome=outcome, at_h=at_h, margin=margin, now=now())
    return _say_verdict(found, where.json)


def judge_file(
    file: Path,
    /,
    *,
    standard: str = "",
    question: str = "several against a standard",
    outcome: str = "biomass",
    margin: float = 1.25,
    where: Where = OWN,
) -> int:
    """Judge a CSV file with the columns arm, value, unit (brew, pot or bed), and if there are any block and source_brew.

    What was asked of the table is written into the notebook; further questions about it must hold at a stricter level.

    Parameters
    ----------
    file
        The table.
    standard
        Arm that the others are compared with; the first in the file if left out.
    question
        As in `aerobe trial plan`.
    outcome
        biomass, count, yield, score ...
    margin
        Ratio worth having (difference, for a score).
    """
    from aerobe.usecases.trials import judge_table

    rows, separator = _rows_of(file)
    names = list(dict.fromkeys(row.get("arm", "") for row in rows if row.get("arm")))
    if not names:
        raise UnusableRecord("The table names no arm.", "Give the columns arm, value and unit (brew, pot or bed).")
    arms = tuple(Arm(key=name, recipe=name, is_standard=name == (standard or names[0])) for name in names)
    asked = Trial(key="table", name=file.stem, question=question, outcome=outcome, arms=arms)
    with where.open() as notebook, numbers_of_table(separator):
        found = judge_table(notebook, asked, rows, margin=margin, now=now())
    return _say_verdict(found, where.json)


def _pair(text: str) -> tuple[str, str]:
    first, slash, second = text.partition("/")
    if not slash or not first or not second:
        raise UnusableRecord(f"'{text}' is no comparison.", "Write it as first/second, for example kelp/plain.")
    return first, second


def _say_verdict(found: Verdict, for_programs: bool, basis: str = "") -> int:
    from aerobe.usecases.trials import verdict_lines

    answer = {**as_json(found), "assumes": found.assumes, **({"rests_on": basis} if basis else {})}
    say(answer, as_json=for_programs, text=[*verdict_lines(found), *filter(None, [basis])])
    return NOT_SETTLED if all(item.call == "can't tell yet" for item in found.comparisons) else 0


def _rows_of(file: Path) -> tuple[list[dict[str, str]], str]:
    """Rows of a table by the names of its columns, and what parts these: comma, semicolon or tab."""
    try:
        with file.open(newline="", encoding="utf-8-sig") as stream:
            separator = max(",;\t", key=stream.readline().count)
            stream.seek(0)
            rows = csv.DictReader(stream, delimiter=separator)
            return [{key.strip(): str(value or "").strip() for key, value in row.items() if key} for row in rows], separator
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise ImportFault(f"{file} is no table: {fault}.", "Check the path; save the table as CSV in UTF-8.") from None
