"""What gates ask and a brewer notes: place, indicator tests, water tests; and the plain look-ups of safe use."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from aerobe.errors import AerobeError, NotFound, UnusableReading, UnusableRecord
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Brew, Compost, HeatLog, Recipe, from_plain
from aerobe.safety import (
    E_COLI,
    ENTEROCOCCI,
    FAILS,
    NOT_SHOWN,
    SHOWN,
    Finding,
    judge_count,
    judge_water,
    rule_places,
)
from aerobe.units import TEMPERATURE, parse_number

GERMS = {"E. coli": E_COLI, "enterococci": ENTEROCOCCI}
PER_100_ML = 100.0


# -- notes that are kept -----------------------------------------------------------------------------------------------


def choose_place(notebook: Notebook, place: str, *, now: datetime, who: str = "") -> str:
    """Whose rules to hold this notebook's teas against; the person chooses, nothing is guessed from language or clock.

    Raises
    ------
    NotFound
        If no rules are on file for it.
    """
    if place not in rule_places():
        raise NotFound(
            f"No rules are on file for '{place}'.",
            f"Choose one of: {', '.join(rule_places())}. Elsewhere ask the authority: local codes and licensed practice decide.",
        )
    notebook.set_setting("safety place", place, at=now, who=who)
    return place


def place_of(notebook: Notebook) -> str:
    """Whose rules were chosen; empty for none."""
    return str(notebook.setting("safety place", ""))


def note_pieces(
    notebook: Notebook, compost: str, largest_piece_mm: float, *, now: datetime, who: str = "", token: str = ""
) -> Receipt:
    """Keep the size of the largest pieces that a compost had while it was hot. [mm]

    Raises
    ------
    UnusableRecord
        If it is no size of a piece.
    """
    notebook.get(Compost, compost)
    if not 0.0 < largest_piece_mm < 1e4:
        raise UnusableRecord(f"{largest_piece_mm:g} mm is no size of a piece.", "Give millimetres.")
    return notebook.keep("compost pieces", compost, {"mm": largest_piece_mm}, at=now, who=who, token=token)


def pieces_of(notebook: Notebook, compost: str) -> float | None:
    """The size noted last. [mm]"""
    kept = notebook.latest("compost pieces", compost)
    return float(kept.payload["mm"]) if kept is not None else None


def note_compost_history(
    notebook: Notebook,
    compost: str,
    *,
    now: datetime,
    process: str = "",
    log: str = "",
    unit: str = "",
    ratio: str = "",
    who: str = "",
) -> Compost:
    """Add to a compost what is known of its heating; what was there before stays in the audit trail.

    Parameters
    ----------
    notebook
        The open notebook.
    compost
        Key of the compost.
    now
        Time of the entry.
    process
        windrow, in-vessel, static aerated, worm or unknown; empty leaves it.
    log
        One line a reading: day, temperature, and "turned" where it was turned. Empty leaves it.
    unit
        Unit of the temperatures: degC or degF.
    ratio
        Starting C:N; empty leaves it.
    who
        Who enters it.

    Raises
    ------
    AerobeError
        If a line cannot be read, with its number; then nothing is written.
    """
    record = notebook.get(Compost, compost)
    changes: dict[str, Any] = {}
    if process.strip():
        changes["process"] = process.strip()
    if ratio.strip():
        changes["carbon_to_nitrogen"] = parse_number(ratio.split(":")[0])
    if log.strip():
        changes["heat"] = _heat_log(log, unit)
    record = replace(record, **changes)
    notebook.change(record, at=now, who=who, why="history of the compost")
    return record


def _heat_log(text: str, unit: str) -> HeatLog:
    days, temperatures, turned = [], [], []
    for place, line in enumerate(text.splitlines(), start=1):
        words = line.replace(";", " ").split()
        if not words:
            continue
        try:
            day, temperature = parse_number(words[0]), TEMPERATURE.convert(parse_number(words[1]), unit)
        except IndexError:
            raise UnusableRecord(f"Line {place} has no temperature.", "Write day and temperature: 3 61.5 turned.") from None
        except AerobeError as fault:
            raise UnusableRecord(f"Line {place}: {fault.problem}", fault.remedy) from None
        if len(words) > 2 and words[2].lower() != "turned":
            raise UnusableRecord(f"Line {place}: '{words[2]}' is not understood.", "Write 'turned' or nothing there.")
        days.append(day)
        temperatures.append(temperature)
        if len(words) > 2:
            turned.append(day)
    return HeatLog(days=tuple(days), temperatures_degc=tuple(temperatures), turned_on_days=tuple(turned))


def note_water_test(
    notebook: Notebook, recipe: str, *, e_coli_found: bool, now: datetime, who: str = "", token: str = ""
) -> Receipt:
    """Keep whether E. coli was found in 100 mL of a recipe's water."""
    notebook.get(Recipe, recipe)
    return notebook.keep("water test", recipe, {"e_coli_found": bool(e_coli_found)}, at=now, who=who, token=token)


def water_finding(notebook: Notebook, recipe: Recipe) -> Finding:
    """What is shown of a recipe's water."""
    kept = notebook.latest("water test", recipe.key)
    found = None if kept is None else bool(kept.payload["e_coli_found"])
    return judge_water("" if recipe.water == "unknown" else recipe.water, e_coli_found=found)


@dataclass(frozen=True, slots=True, kw_only=True)
class IndicatorTest:
    """Tubes or plates of one germ. For tubes give amounts, tubes and positives; for plates amounts and colonies."""

    brew: str
    germ: str  # of GERMS
    amounts_ml: tuple[float, ...]  # undiluted tea in each tube of a set, or on each plate [mL]
    tubes: tuple[int, ...] = ()
    positives: tuple[int, ...] = ()
    colonies: tuple[int, ...] = ()  # one count a plate


def note_indicator_test(notebook: Notebook, test: IndicatorTest, *, now: datetime, who: str = "", token: str = "") -> Finding:
    """Keep an indicator test of a brew as counted, and say what it shows.

    Raises
    ------
    UnusableReading
        If the outcome is impossible; then nothing is kept.
    """
    notebook.get(Brew, test.brew)
    finding = judge_indicator(test)
    notebook.keep("indicator test", test.brew, test, at=now, who=who, token=token)
    return finding


def judge_indicator(test: IndicatorTest) -> Finding:
    """What tubes or plates show of the limit for a tea."""
    if test.germ not in GERMS:
        raise UnusableReading(f"There is no limit for '{test.germ}'.", f"Use one of: {', '.join(GERMS)}.")
    point, low, high = _per_100_ml(test)
    known = point if 0.0 < point < math.inf else None
    return judge_count(GERMS[test.germ], point=known, low=low, high=high)


def _per_100_ml(test: IndicatorTest) -> tuple[float, float, float]:
    from aerobe.assay import Plate, crowded_plates, most_probable_number

    if bool(test.colonies) == bool(test.tubes):
        raise UnusableReading("It is not clear whether tubes or plates were counted.", "Give tubes and positives, or colonies.")
    if test.colonies:
        if len(test.colonies) != len(test.amounts_ml):
            raise UnusableReading("Amounts and colonies differ in number.", "Give one of each a plate.")
        plates = [Plate(sample_ml=amount, colonies=count) for amount, count in zip(test.amounts_ml, test.colonies, strict=True)]
        count = crowded_plates(plates)
        return count.value * PER_100_ML, count.low * PER_100_ML, count.high * PER_100_ML
    number = most_probable_number(test.amounts_ml, test.tubes, test.positives)
    return number.value * PER_100_ML, number.low * PER_100_ML, number.high * PER_100_ML


def indicator_findings(notebook: Notebook, brew: str, *, not_before: datetime | None = None) -> tuple[str, str]:
    """What the tests of a brew show for E. coli and enterococci. One failed test is not undone by another that passes.

    A test that was entered before food or water went in (`not_before`) speaks of another tea: it can fail, but shows nothing.
    """
    found: dict[str, list[str]] = {germ: [] for germ in GERMS}
    for kept in notebook.kept("indicator test", brew):
        test = from_plain(IndicatorTest, kept.payload)
        state = judge_indicator(test).state
        old = not_before is not None and kept.at < not_before
        found[test.germ].append(NOT_SHOWN if old and state == SHOWN else state)
    return _worst(found["E. coli"]), _worst(found["enterococci"])


def _worst(states: Sequence[str]) -> str:
    if FAILS in states:
        return FAILS
    return SHOWN if SHOWN in states else NOT_SHOWN
