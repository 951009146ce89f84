"""A script beside the data with which a stranger finds the numbers of a verdict again, without this program."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Sequence
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aerobe.records import Arm
from aerobe.reports._recompute_models import LEAST_SQUARES, NEAR, model_of
from aerobe.units import as_cell
from aerobe.verdicts import INTERVAL_LEVEL, Comparison, Verdict

Array = NDArray[np.float64]
FOLDER = "recompute"
# Of a comparison found again by least squares, beside the weights of the arms.
FITTED = ("groupings", "variance", "df")


def recompute_files(verdict: Verdict, arms: Sequence[Arm] = ()) -> dict[str, bytes]:
    """What goes into the package: brews, what the verdict says of each comparison, and a script in Python and in R.

    A surface goes with the levels of its brews (`arms` has them) and the two points that are compared.

    Pairs and two arms are the textbook's tests. Other comparisons, of several arms, uneven days and factors, are found again by
    least squares but for their degrees of freedom, which are given: where few brews lend each other their scatter they were
    counted in simulated trials. What rests on more (colour left in the interval, limits of the test, a drift taken out, lost
    brews) is named with its reason and not recomputed.

    Source
    ------
    welch-1947, satterthwaite-1946
    """
    if verdict.outcome.scale == "ratio" and any(result.value <= 0.0 for result in verdict.results):
        return {}
    rows = [_asked(verdict, item, arms) for item in verdict.comparisons if item.effect is not None]
    if not rows:
        return {}
    said = {"scale": verdict.outcome.scale, "level": INTERVAL_LEVEL, "comparisons": rows}
    levels, points = _surface(verdict, arms)
    names = tuple(f"level of {name}" for name in (verdict.surface.factors if points and verdict.surface else ()))
    brews = [[r.brew, r.arm, r.block, repr(r.value), r.column, *levels.get(r.arm, ())] for r in verdict.results]
    columns = ("label", "first", "second", "method", "effect", "low", "high", *FITTED)
    if points:
        rows[0] |= {"method": "surface", "why": ""}
    arms_seen = list(dict.fromkeys(result.arm for result in verdict.results))
    weighed = tuple(f"weight of {name}" for name in arms_seen)
    lines = [
        [
            *(row[name] for name in columns),
            verdict.outcome.scale,
            INTERVAL_LEVEL,
            *(row["weights"].get(arm, 0.0) for arm in arms_seen),
        ]
        for row in rows
    ]
    return {
        f"{FOLDER}/brews.csv": _table(("brew", "arm", "block", "value", "vessel", *names), brews),
        **({f"{FOLDER}/surface.csv": _table(("point", "critical", "rounds out", "left out", *names), points)} if points else {}),
        f"{FOLDER}/comparisons.csv": _table((*columns, "scale", "level", *weighed), lines),
        f"{FOLDER}/verdict.json": json.dumps(said, indent=1).encode(),
        **{f"{FOLDER}/{name}": _script(name) for name in ("recompute.py", "recompute.R")},
    }


def _surface(verdict: Verdict, arms: Sequence[Arm]) -> tuple[dict[str, list[float]], list[list[object]]]:
    """Levels of each point, and the best point and the standard with what the interval of their difference takes."""
    found = verdict.surface
    standard = next((arm for arm in arms if arm.key == verdict.comparisons[0].second), None)
    if found is None or standard is None:
        return {}, []
    shared = [found.critical, int(found.rounds_out), verdict.left_out]
    levels = {arm.key: [arm.levels[name] for name in found.factors] for arm in arms}
    return levels, [["best", *shared, *found.best], ["standard", *shared, *levels[standard.key]]]


def _script(name: str) -> bytes:
    return resources.files("aerobe.reports").joinpath("scripts", f"{name}.script").read_bytes()


def _asked(verdict: Verdict, item: Comparison, arms: Sequence[Arm]) -> dict[str, Any]:
    method = _method(verdict, item)
    model = None if method else model_of(verdict, item, arms)
    method = method or (LEAST_SQUARES if model else "")
    return {
        "label": item.label,
        "first": item.first,
        "second": item.second,
        "effect": item.effect,
        "low": item.low,
        "high": item.high,
        "method": method,
        "why": "" if method else _why_not(verdict, item),
        "groupings": model.groupings if model else "",
        "variance": model.variance if model else "",
        "df": item.df if model else None,
        "weights": model.weights if model else {},
    }


def _why_not(verdict: Verdict, item: Comparison) -> str:
    """Why a page of code does not find a comparison again."""
    named = {item.first, item.second}
    inside = [r for r in verdict.results if r.arm in named or not item.second]
    beyond = sum(r.at_limit or r.above_range for r in inside)
    if beyond:
        return (
            f"{beyond} of its brews lie beyond a limit of the test; its numbers are drawn from a likelihood that counts them as "
            "somewhere beyond, with 12,000 draws"
        )
    if verdict.outcome.is_counted:
        return "plants or events were counted: a generalised linear model with the scatter of each arm's own pots"
    return "more than brews, blocks and vessels is in its interval: colour, a drift taken out, brews that were lost"


def _method(verdict: Verdict, item: Comparison) -> str:
    """The textbook's method that gives this comparison, found by trying; empty where none does."""
    if item.effect is None or item.low is None or item.high is None:
        return ""
    arms = [[r for r in verdict.results if r.arm == name] for name in (item.first, item.second)]
    if min(len(arm) for arm in arms) < 2:
        return ""
    logs = [np.array([math.log(r.value) if verdict.outcome.scale == "ratio" else r.value for r in arm]) for arm in arms]
    blocks = [[r.block for r in arm] for arm in arms]
    tried = {"welch": _welch(*logs)}
    if len(set(blocks[0])) == len(blocks[0]) and sorted(blocks[0]) == sorted(blocks[1]):
        second = dict(zip(blocks[1], logs[1], strict=True))
        pairs = np.array([y - second[block] for block, y in zip(blocks[0], logs[0], strict=True)])
        tried = {"paired": _paired(pairs), **tried}
    said = (item.effect, item.low, item.high)
    for name, found in tried.items():
        if all(abs(a - b) <= NEAR * max(1.0, abs(b)) for a, b in zip(found, said, strict=True)):
            return name
    return ""


def _paired(pairs: Array) -> tuple[float, float, float]:
    from scipy.special import stdtrit

    middle, error = float(pairs.mean()), float(pairs.std(ddof=1)) / math.sqrt(len(pairs))
    reach = float(stdtrit(len(pairs) - 1, 0.5 + INTERVAL_LEVEL / 2)) * error
    return middle, middle - reach, middle + reach


def _welch(first: Array, second: Array) -> tuple[float, float, float]:
    from scipy.special import stdtrit

    a, b = float(first.var(ddof=1)) / len(first), float(second.var(ddof=1)) / len(second)
    middle, total = float(first.mean() - second.mean()), a + b
    if total <= 0.0:
        return middle, middle, middle
    df = total**2 / (a**2 / (len(first) - 1) + b**2 / (len(second) - 1))
    reach = float(stdtrit(df, 0.5 + INTERVAL_LEVEL / 2)) * math.sqrt(total)
    return middle, middle - reach, middle + reach


def _table(head: Sequence[str], rows: Sequence[Sequence[object]]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows([[as_cell(cell) for cell in row] for row in rows])
    return out.getvalue().encode()
