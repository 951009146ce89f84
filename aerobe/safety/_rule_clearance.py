"""What the rules say of a use: for each way in, the cells that decide, and the questions that are still open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from aerobe.errors import NotFound
from aerobe.safety._findings import FAILS
from aerobe.safety._rule_axes import BEHIND, End, axes_of, days_of, ends_of
from aerobe.safety._rule_table import (
    MAY,
    NOT,
    ONLY_SO,
    SILENT,
    RuleCell,
    RuleOutcome,
    Table,
    all_tables,
    decide,
    table_of,
    tables_for,
)
from aerobe.safety._rule_words import on_the_list
from aerobe.safety._use_facts import UNKNOWN, UseFacts

OPEN, SHUT, ASKED = "open", "closed", "not shown"


@dataclass(frozen=True, slots=True, kw_only=True)
class CellFinding:
    """One cell that decides, or may decide: what it answers to this use."""

    table: str  # title of the table
    cell: RuleCell | None  # None: no cell covers this use
    state: str  # open, closed, not shown, silent
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """What the rules say of one way in."""

    end: str
    state: str  # open, closed, not shown
    status: tuple[RuleCell, ...]  # what the tea counts as: the cells that say so
    cells: tuple[CellFinding, ...]
    asks: tuple[str, ...]  # facts to answer, the most decisive first

    @property
    def deciding(self) -> CellFinding:
        """The cell to show first: one that closes, else one that asks, else the one that opens."""
        order = (SHUT, ASKED, OPEN, SILENT)
        return min(self.cells, key=lambda found: order.index(found.state))


def clearances(use: UseFacts, tables: Sequence[Table] | None = None, status: Table | None = None) -> tuple[Clearance, ...]:
    """What the rules on file say of a use, one answer for each way in that is not ruled out.

    Parameters
    ----------
    use
        What is known of tea and place. [d]
    tables, status
        The tables to decide by; those on file if left out.

    Returns
    -------
    tuple of Clearance
        Open only if every table of the place lets it pass under every answer that is still possible, and one of them says so.

    Source
    ------
    cfr-21-112, cfr-7-205-203, nosb-2006, cfr-40-503, eu-1069-2009, eu-notice-2017, bioabfv, uk-fsa-manures, cgsb-32-310
    """
    every = tuple(tables or all_tables())
    try:
        asked = tables_for(use.jurisdiction, every)
    except NotFound:
        asked = tables_for("elsewhere", every)
    asked = tuple(table for table in asked if not (table.organic and _is_organic(use) is False))
    return tuple(_clear(use, end, asked, status or table_of("status")) for end in ends_of(use))


def _is_organic(use: UseFacts) -> bool | None:
    return True if use.jurisdiction == "US organic" else use.certified_organic


def _clear(use: UseFacts, end: End, tables: Sequence[Table], status: Table) -> Clearance:
    axes = axes_of(use, end.name)
    standing = decide(status.cells, axes)
    reached = [cell for cell in standing.cells if cell is not None]
    every = {cell.answer for cell in status.cells}
    axes["status"] = frozenset(every if None in standing.cells else (cell.answer for cell in reached))
    fact, days = days_of(use, end.name)
    found: list[CellFinding] = []
    asks: dict[str, None] = {} if end.is_sure else {end.asked_by: None}
    states, speaks = [], False
    for table in tables:
        outcome = decide(table.cells, axes)
        here = [_answer(table, cell, use, fact, days) for cell in outcome.cells]
        kinds = {item.state for item in here}
        may_not_count = table.organic and _is_organic(use) is None
        state = OPEN if kinds <= {OPEN, SILENT} else SHUT if kinds == {SHUT} and not may_not_count else ASKED
        speaks = speaks or kinds == {OPEN}
        if state != OPEN:
            asks |= dict.fromkeys(_questions(use, outcome, standing))
            if use.eaten_raw is False and use.rarely_raw is None and on_the_list(use.crop):
                asks["rarely_raw"] = None
            if may_not_count:
                asks["certified_organic"] = None
            if ASKED in kinds:
                asks[fact] = None
        found += here
        states.append(state)
    total = SHUT if SHUT in states else ASKED if ASKED in states else OPEN if speaks else SHUT
    # A way in that nobody has said is there is asked about, not taken as a fact against the use.
    return Clearance(
        end=end.name,
        state=ASKED if total == SHUT and not end.is_sure else total,
        status=tuple(reached),
        cells=tuple(found),
        asks=() if total == OPEN else tuple(asks),
    )


def _answer(table: Table, cell: RuleCell | None, use: UseFacts, fact: str, days: float | None) -> CellFinding:
    if cell is None:
        missing = table.missing or "No cell of this table covers it, and what is not on file stays closed."
        return CellFinding(table=table.title, cell=None, state=SHUT, says=missing)
    if cell.answer in (SILENT, NOT):
        return CellFinding(table=table.title, cell=cell, state=SILENT if cell.answer == SILENT else SHUT, says=cell.says)
    state, more = _waited(max(cell.days, use.own_days or 0.0), fact, days, cell.answer == ONLY_SO or bool(use.own_days))
    return CellFinding(table=table.title, cell=cell, state=state, says=f"{cell.says} {more}".strip())


def _waited(needed: float, fact: str, days: float | None, is_asked: bool) -> tuple[str, str]:
    what = {"days_to_grazing": "before grazing or cutting", "days_to_people": "before anybody is on it"}.get(
        fact, "before the harvest"
    )
    if days is None:
        return (ASKED, f"The days {what} are not noted; {needed:g} are asked.") if is_asked else (OPEN, "")
    if not days >= needed:
        return SHUT, f"{days:g} d {what}; {needed:g} d are asked."
    return OPEN, f"{days:g} d {what}; {needed:g} d are asked." if is_asked else ""


def _questions(use: UseFacts, outcome: RuleOutcome, standing: RuleOutcome) -> list[str]:
    """The facts behind the axes that tell the cells apart, as far as they are not answered."""
    axes = [axis for axis in outcome.apart if axis != "status"]
    axes += list(standing.apart) if "status" in outcome.apart else []
    facts = dict.fromkeys(fact for axis in BEHIND if axis in axes for fact in BEHIND[axis])
    return [fact for fact in facts if is_unanswered(use, fact)]


def is_unanswered(use: UseFacts, fact: str) -> bool:
    """Whether a fact was left open."""
    value = getattr(use, fact)
    return value is None or value in ("", (), UNKNOWN) or (fact == "water" and value not in (FAILS, "shown to pass"))


def decides_by(found: Sequence[Clearance]) -> tuple[Mapping[str, str], ...]:
    """The deciding cell of each way in as plain words, for pages and programs."""
    rows = []
    for item in found:
        best = item.deciding
        cell = best.cell
        rows.append(
            {
                "end": item.end,
                "state": item.state,
                "table": best.table,
                "cell": "" if cell is None else cell.id,
                "answer": "not on file" if cell is None else cell.answer if cell.answer != MAY else "may",
                "rule": "" if cell is None else cell.rule,
                "paragraph": "" if cell is None else cell.paragraph,
                "says": best.says,
            }
        )
    return tuple(rows)
