"""The heating of a compost, held against published rules of time and temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from aerobe.errors import NotFound, OutsideValidity
from aerobe.records import Compost, HeatLog
from aerobe.safety._findings import FAILS, NOT_SHOWN, SHOWN, STATES, Finding
from aerobe.safety._rule_editions import FROM_MEMORY, REVOKED
from aerobe.safety._rule_table import all_tables, rule_places
from aerobe.safety._thresholds import DECIDE, tables, threshold
from aerobe.units import percent

ASK = "Check your local code." + DECIDE


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRule:
    """One published rule: how hot, how long, how often turned."""

    key: str
    jurisdiction: str
    processes: tuple[str, ...]
    low_degc: float
    source: str
    date: str
    says: str
    high_degc: float = math.inf
    days: float = 0.0
    consecutive: bool = False
    turnings: int = 0
    carbon_to_nitrogen: tuple[float, float] | None = None
    curing: bool = False
    largest_piece_mm: float | None = None
    equation: bool = False  # `days` follows from the temperature
    amended: str = ""  # how far its changes are on file
    read: str = FROM_MEMORY  # day of our reading, or from memory
    standing: str = "in force"  # or revoked: then it shows nothing any more


@dataclass(frozen=True, slots=True, kw_only=True)
class CompostFinding:
    """What a compost's record shows under the rules of one place; the best rule counts, since rules are alternatives."""

    jurisdiction: str
    state: str
    why: str
    next_step: str
    rules: tuple[Finding, ...]

    @property
    def sources(self) -> tuple[str, ...]:
        """Keys of the rules looked at."""
        return tuple(dict.fromkeys(key for rule in self.rules for key in rule.sources))


@cache
def heat_rules() -> dict[str, HeatRule]:
    """Every rule on file by key."""
    found = {}
    for key, fields in tables("compost_rules").items():
        fields = {name: tuple(value) if isinstance(value, list) else value for name, value in fields.items()}
        found[key] = HeatRule(key=key, **fields)
    return found


def jurisdictions() -> tuple[str, ...]:
    """The places for which rules of heating are on file."""
    return tuple(dict.fromkeys(rule.jurisdiction for rule in heat_rules().values()))


def heat_place(place: str) -> str:
    """The name under which the rules of heating of a place are on file; "" where there are none."""
    known = jurisdictions()
    if place in known:
        return place
    return next((table.heat for table in all_tables() if place in table.places and table.heat in known), "")


def judge_compost(compost: Compost | None, jurisdiction: str, *, largest_piece_mm: float | None = None) -> CompostFinding:
    """What the record of a compost shows under the rules of a place.

    Parameters
    ----------
    compost
        Process, heat log and starting C:N; None when no compost is on record. [degC, d]
    jurisdiction
        One of `jurisdictions()`, or a place of the tables of use, chosen by the person.
    largest_piece_mm
        Size of the largest pieces while it was hot, where a rule asks for it; None when not known. [mm]

    Returns
    -------
    CompostFinding
        `shown to pass` only if one rule for this process is met by the log in every point.

    Raises
    ------
    NotFound
        If no rules are on file for that place.

    Notes
    -----
    Time counts between two readings that both lie in the range and are no further apart than the limit `log-gap`,
    so a log of daily readings needs 16 of them for 15 days. A rule met is no proof that the compost is free of germs,
    and the list of rules is not complete: local codes and licensed practice decide.

    Source
    ------
    cfr-7-205-203, cfr-21-112, cfr-40-503, eu-2019-1009, eu-142-2011, wales-2006-1293, ccme-2005
    """
    place = heat_place(jurisdiction)
    if not place and jurisdiction not in rule_places():
        raise NotFound(
            f"No compost rules are on file for '{jurisdiction}'.", f"Choose one of: {', '.join(jurisdictions())}. {ASK}"
        )
    if not place:
        return _nothing_to_judge(
            jurisdiction,
            f"No rule of heating is on file for {jurisdiction}.",
            f"Ask the local authority what it accepts, or keep a certificate of the process. {ASK}",
        )
    if compost is None:
        return _nothing_to_judge(jurisdiction, "No compost is on record.", f"Record the compost and its heat log. {ASK}")
    rules = [rule for rule in heat_rules().values() if rule.jurisdiction == place and compost.process in rule.processes]
    if not rules:
        return _nothing_to_judge(
            jurisdiction,
            f"No rule on file for {jurisdiction} covers the process '{compost.process}'.",
            f"Record how it was made, or ask the local authority what it accepts. {ASK}",
        )
    findings = tuple(_judge(rule, compost, largest_piece_mm) for rule in rules)
    # Rules of one place are alternatives: the best of them speaks.
    best = min(findings, key=lambda finding: STATES.index(finding.state))
    return CompostFinding(jurisdiction=jurisdiction, state=best.state, why=best.why, next_step=best.next_step, rules=findings)


def _nothing_to_judge(jurisdiction: str, why: str, next_step: str) -> CompostFinding:
    return CompostFinding(jurisdiction=jurisdiction, state=NOT_SHOWN, why=why, next_step=next_step, rules=())


def _judge(rule: HeatRule, compost: Compost, largest_piece_mm: float | None) -> Finding:
    """All points of one rule: one that fails makes it fail, else one that is not shown leaves it not shown."""
    points = [_ratio(rule, compost), _piece(rule, largest_piece_mm)]
    if compost.heat is None or len(compost.heat.days) < 2:
        points.append((NOT_SHOWN, "there is no heat log"))
    elif rule.equation:
        points.append(_equation(rule, compost))
    else:
        points += _heat(rule, compost.heat)
    state = next((state for state in (FAILS, NOT_SHOWN) if any(point[0] == state for point in points)), SHOWN)
    most = threshold("heap-warmth-most")
    if compost.heat is not None and max(compost.heat.temperatures_degc, default=0.0) > most.value:
        state, points = NOT_SHOWN, [*points, (NOT_SHOWN, f"the log reaches over {most.value:g} {most.unit}: are these degF?")]
    if rule.standing == REVOKED:
        state, points = NOT_SHOWN, [*points, (NOT_SHOWN, "the rule is revoked: look for the one in its place")]
    said = "; ".join(text for point, text in points if text and (point == state or state == SHOWN))
    return Finding(
        name=rule.key,
        state=state,
        why=f"{rule.says} {_capital(said)}.".replace(" .", "."),
        next_step=ASK if state == SHOWN else f"Complete the log or use another compost. {ASK}",
        sources=(rule.source,),
    )


def _heat(rule: HeatRule, log: HeatLog) -> list[tuple[str, str]]:
    stretches = hot_stretches(log, rule.low_degc, rule.high_degc, longest_gap_days=rule.days)
    if rule.consecutive:
        stretches = sorted(stretches, key=lambda stretch: stretch[1] - stretch[0])[-1:]
    days = sum(end - start for start, end in stretches)
    span = f"{rule.low_degc:g} degC or more" if math.isinf(rule.high_degc) else f"{rule.low_degc:g} to {rule.high_degc:g} degC"
    # A day of a log is typed to a few digits; a hundredth of a second is no shortfall.
    points = [(SHOWN if days >= rule.days - 1e-7 else FAILS, f"the log shows {_days(days)} at {span}")]
    if rule.turnings:
        first, last = (stretches[0][0], stretches[-1][1]) if stretches else (math.inf, -math.inf)
        turned = sum(first <= day <= last for day in log.turned_on_days)
        points.append((SHOWN if turned >= rule.turnings else FAILS, f"{turned} turnings meanwhile"))
    if rule.curing:
        cooled = log.temperatures_degc[-1] < rule.low_degc
        points.append((SHOWN, "it cooled afterwards") if cooled else (NOT_SHOWN, "no curing after the hot time is logged"))
    return points


def hot_stretches(
    log: HeatLog, low_degc: float, high_degc: float = math.inf, *, longest_gap_days: float = math.inf
) -> list[tuple[float, float]]:
    """Stretches between neighbouring readings that all lie in the range, as (first day, last day). [degC, d]

    Readings further apart than the limit `log-gap`, or than `longest_gap_days`, do not join: a rule of one hour
    is not shown by two readings a day apart.

    Source
    ------
    aerobe-cautious-choice
    """
    gap = min(threshold("log-gap").value, longest_gap_days) + 1e-9
    found: list[tuple[float, float]] = []
    readings = list(zip(log.days, log.temperatures_degc, strict=True))
    for (day, cool), (next_day, warm) in pairwise(readings):
        if not (low_degc <= min(cool, warm) and max(cool, warm) <= high_degc and next_day - day <= gap):
            continue
        if found and found[-1][1] == day:
            found[-1] = (found[-1][0], next_day)
        else:
            found.append((day, next_day))
    return found


def sludge_equation_days(temperature_degc: float, *, solids: float = 0.07) -> float:
    """The time that 40 CFR 503.32 asks for at a steady temperature.

    Parameters
    ----------
    temperature_degc
        Temperature of all of the material, 50 or more. [degC]
    solids
        Dry over wet mass. [-]

    Returns
    -------
    float
        Time needed. [d]

    Raises
    ------
    OutsideValidity
        Below 50 degC, where the equation does not hold.

    Notes
    -----
    The least times of the rule are kept: 20 minutes for 7 % solids or more, 30 minutes below.

    Source
    ------
    cfr-40-503

    Examples
    --------
    >>> round(sludge_equation_days(55.0), 2), round(sludge_equation_days(70.0) * 24 * 60)
    (2.63, 30)
    """
    if not temperature_degc >= 50.0:
        raise OutsideValidity(f"The equation holds from 50 degC on, not at {temperature_degc:g} degC.", "Use another rule.")
    thick = solids >= 0.07
    constant, least_min = (131_700_000.0, 20.0) if thick else (50_070_000.0, 30.0)
    return max(constant / 10.0 ** (0.14 * temperature_degc), least_min / 1440.0)


def _equation(rule: HeatRule, compost: Compost) -> tuple[str, str]:
    """The rule is for a steady temperature: the coolest reading of a stretch stands for all of it."""
    assert compost.heat is not None
    solids = 0.07 if compost.moisture is None else 1.0 - compost.moisture
    best = 0.0
    for floor in sorted({value for value in compost.heat.temperatures_degc if value >= rule.low_degc}):
        needed = sludge_equation_days(floor, solids=solids)
        stretches = hot_stretches(compost.heat, floor, longest_gap_days=needed)
        best = max(best, max((end - start for start, end in stretches), default=0.0) / needed)
    text = f"the log gives {percent(best)} of the time asked" if best < 10.0 else "the log gives over ten times the time asked"
    return (SHOWN if best >= 1.0 else FAILS), text


def _ratio(rule: HeatRule, compost: Compost) -> tuple[str, str]:
    if rule.carbon_to_nitrogen is None:
        return SHOWN, ""
    low, high = rule.carbon_to_nitrogen
    ratio = compost.carbon_to_nitrogen
    if ratio is None:
        return NOT_SHOWN, "the starting C:N is not recorded"
    return (SHOWN if low <= ratio <= high else FAILS), f"starting C:N {ratio:g}"


def _piece(rule: HeatRule, largest_piece_mm: float | None) -> tuple[str, str]:
    if rule.largest_piece_mm is None:
        return SHOWN, ""
    if largest_piece_mm is None:
        return NOT_SHOWN, "the size of the pieces is not recorded"
    return (SHOWN if largest_piece_mm <= rule.largest_piece_mm else FAILS), f"pieces up to {largest_piece_mm:g} mm"


def _days(days: float) -> str:
    return f"{days:.1f} d" if days >= 1.0 else f"{days * 24.0:.1f} h"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
