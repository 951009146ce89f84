"""Counts of indicator germs held against limits. A point value under a limit is no pass if its interval reaches over it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from aerobe.errors import NotFound, UnusableReading
from aerobe.safety._findings import FAILS, NOT_SHOWN, SHOWN, Finding, finding
from aerobe.safety._thresholds import Threshold, tables, threshold

E_COLI, ENTEROCOCCI = "tea-e-coli", "tea-enterococci"


def judge_count(limit: str, *, point: float | None, low: float, high: float) -> Finding:
    """Whether a count with its interval shows that a limit is kept.

    Parameters
    ----------
    limit
        Key of the limit, for example `tea-e-coli`.
    point
        Point value; None when all tubes were negative or all positive. [unit of the limit]
    low
        Lower end of its 95 % interval. [unit of the limit]
    high
        Upper end; infinite when all tubes were positive. [unit of the limit]

    Returns
    -------
    Finding
        `fails` if the point value, or the lower end, is over the limit; `shown to pass` only if the upper end keeps it too;
        else `not shown to pass`.

    Raises
    ------
    UnusableReading
        If the three are not in order.
    NotFound
        If no such limit is on file.

    Source
    ------
    nosb-2004, cfr-21-112, aerobe-cautious-choice

    Examples
    --------
    >>> judge_count("tea-e-coli", point=75.0, low=17.0, high=200.0).state
    'not shown to pass'
    """
    rule = threshold(limit)
    if rule.detects:
        raise NotFound(f"The limit '{limit}' asks for presence or absence, not for a count.", "Give whether it was detected.")
    # All tubes positive: the count lies above what the tubes could show, however low the lower end reaches.
    middle = (low if low == 0.0 or math.isfinite(high) else high) if point is None else point
    if any(math.isnan(value) for value in (low, middle, high)) or not 0.0 <= low <= middle <= high:
        raise UnusableReading(
            "The count does not lie inside its own interval.", "Give point value, lower and upper limit, as printed."
        )
    counted = "No point value" if point is None else f"Counted {point:.3g}"
    text = f"{rule.says} {counted} ({low:.3g} to {high:.3g}) {rule.unit}. "
    source = rule.source
    if _breaks(middle, rule):
        return finding(limit, FAILS, text + "That is over the limit.", "Do not use this batch where anything is eaten.", source)
    if _breaks(high, rule):
        return finding(
            limit,
            NOT_SHOWN,
            text + "The upper end is over the limit, so the count does not show that it is kept.",
            "Repeat with more tubes or plates of more volume, until the upper end is under the limit.",
            source,
        )
    return finding(limit, SHOWN, text + "The upper end keeps the limit too.", "It speaks for this sample only.", source)


def judge_absence(limit: str, *, detected: bool | None, method_finds: float | None) -> Finding:
    """Whether a test for presence shows that a germ is absent as the limit asks.

    Parameters
    ----------
    limit
        Key of the limit, for example `compost-salmonella`.
    detected
        Whether it was found; None for not tested.
    method_finds
        The least amount that the method can find; None when not known. [unit of the limit]

    Returns
    -------
    Finding
        `shown to pass` only if nothing was found by a method that is sharp enough.

    Raises
    ------
    NotFound
        If no such limit is on file.

    Source
    ------
    cfr-21-112
    """
    rule = threshold(limit)
    if not rule.detects:
        raise NotFound(f"The limit '{limit}' asks for a count.", "Give the count with its interval.")
    source = rule.source
    if detected:
        return finding(limit, FAILS, f"{rule.says} It was detected.", "Do not use it where anything is eaten.", source)
    if detected is None or method_finds is None or not method_finds <= rule.value:
        why = "It was not tested." if detected is None else "The method is not known to find so little."
        return finding(
            limit,
            NOT_SHOWN,
            f"{rule.says} {why}",
            f"Have it tested by a method that finds {rule.value:g} {rule.unit}.",
            source,
        )
    return finding(limit, SHOWN, f"{rule.says} It was not detected.", "It speaks for this sample only.", source)


def judge_portions(limit: str, counts: Sequence[float]) -> Finding:
    """Whether the counts of several portions keep a plan with two limits m and M.

    Parameters
    ----------
    limit
        Key of the plan, for example `compost-eu-e-coli`.
    counts
        One count a portion, shape (portions,). [unit of the limit]

    Returns
    -------
    Finding
        `fails` with a portion above M or too many above m; `not shown to pass` with too few portions.

    Raises
    ------
    NotFound
        If no such plan is on file.
    UnusableReading
        If there is no count, or one below zero.

    Source
    ------
    eu-142-2011
    """
    plan = tables("indicators").get(limit, {})
    if "n" not in plan:
        raise NotFound(f"There is no plan '{limit}'.", "Use compost-eu-e-coli or compost-eu-salmonella.")
    if any(not count >= 0.0 for count in counts):
        raise UnusableReading("A count below zero, or none, is no count.", "Give one count a portion; 0 for none.")
    source = str(plan["source"])
    between = sum(plan["m"] < count <= plan["M"] for count in counts)
    if any(count > plan["M"] for count in counts) or between > plan["c"]:
        return finding(limit, FAILS, str(plan["says"]), "Do not use this compost for tea.", source)
    if len(counts) < plan["n"]:
        return finding(
            limit,
            NOT_SHOWN,
            f"{plan['says']} Only {len(counts)} portions were tested.",
            f"Test {plan['n']} portions of the batch.",
            source,
        )
    return finding(limit, SHOWN, str(plan["says"]), "It speaks for this batch only.", source)


def _breaks(value: float, rule: Threshold) -> bool:
    """A strict limit is broken by the limit itself; a value that is no number breaks every limit."""
    return not (value < rule.value if rule.strict else value <= rule.value)
