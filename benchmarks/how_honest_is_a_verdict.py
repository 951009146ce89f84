"""Can a verdict be fooled? Whole trials of known truth go through the verdict itself, honest ones and traps.

For every case: how often "better" or "worse" was claimed against the truth, how often "same" where the truth lies on the
margin, how often the 90 % interval of the first comparison held it, and how many trials were refused with a reason. At 300
trials the standard error of a rate near 5 % is 1.3 points, of one near 90 % 1.7.

Run: nice -n 15 python benchmarks/how_honest_is_a_verdict.py [trials]
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from aerobe.records import Arm, Trial
from aerobe.verdicts import FULL, BrewResult, LostBrew, Verdict, allowance_now, judge

Array = NDArray[np.float64]
MARGIN = 1.25
EDGE = math.log(MARGIN)


@dataclass(frozen=True, kw_only=True)
class Case:
    """One kind of trial: `spoil` turns honest results into what the trap makes of them."""

    name: str
    brews: tuple[int, ...] = (6, 6)
    sds: tuple[float, ...] = (0.3, 0.3)
    blocks: bool = False
    draw: Callable[[np.random.Generator, int], Array] = lambda rng, n: rng.normal(size=n)
    spoil: Callable[[np.random.Generator, list[BrewResult]], tuple[list[BrewResult], list[LostBrew]]] = lambda _, rows: (rows, [])
    true: float = 0.0  # log ratio of the second arm to the first; other arms do not differ from the first
    question: str = "several against a standard"
    looks: tuple[int, ...] = ()  # brews at which the trial is looked at, of those planned


@dataclass
class Counted:
    """What came out of many trials of a case."""

    differences: list[bool] = field(default_factory=list)
    sames: list[bool] = field(default_factory=list)
    inside: list[bool] = field(default_factory=list)
    told: list[bool] = field(default_factory=list)
    refused: int = 0


def honest(case: Case, rng: np.random.Generator, true: float) -> list[BrewResult]:
    """Results of one trial before anything goes wrong, brews of the arms in turn."""
    day = rng.normal(0.0, 0.5, max(case.brews))
    rows = []
    for i in range(max(case.brews)):
        for arm, count in enumerate(case.brews):
            if i < count:
                level = math.log(40.0) + (true if arm == 1 else 0.0) + (day[i] if case.blocks else 0.0)
                value = math.exp(level + case.sds[arm] * float(case.draw(rng, 1)[0]))
                rows.append(BrewResult(brew=f"{arm}-{i}", arm=f"r{arm}", value=value, block=f"d{i}" if case.blocks else ""))
    return rows


def trial_of(case: Case) -> Trial:
    """The question of a case."""
    arms = tuple(Arm(key=f"r{i}", recipe=f"r{i}", is_standard=i == 0) for i in range(len(case.brews)))
    question = "two recipes" if len(arms) == 2 else case.question
    return Trial(key="t", name="t", question=question, arms=arms, margin_ratio=MARGIN)


def verdicts_of(case: Case, rng: np.random.Generator, true: float) -> list[Verdict]:
    """The verdict of one trial, or one for each look at it."""
    rows, lost = case.spoil(rng, honest(case, rng, true))
    if not case.looks:
        return [judge(trial_of(case), rows, lost=lost, only_comparisons=True)]
    found = []
    for place, brews in enumerate(case.looks):
        allowance = allowance_now(case.looks[: place + 1], case.looks[-1]) if case.looks else FULL
        found.append(judge(trial_of(case), rows[:brews], allowance=allowance, only_comparisons=True))
    return found


def count(case: Case, trials: int, seed: int = 1) -> Counted:
    """Run a case: at its own truth, and with the second arm on the margin for "same"."""
    rng, counted = np.random.default_rng(seed), Counted()
    for _ in range(trials):
        verdicts = verdicts_of(case, rng, case.true)
        last = verdicts[-1].comparisons
        counted.refused += all(c.held_by or c.effect is None for c in last)
        claimed = [c for verdict in verdicts for c in verdict.comparisons if c.call in ("better", "worse")]
        counted.differences.append(any(_is_wrong(c.call, c.first, c.second, case.true) for c in claimed))
        counted.told.append(any(c.call == "better" and c.first == "r1" for c in claimed))
        for c in last:
            if c.first == "r1" and c.second == "r0" and c.low is not None and c.high is not None and not c.held_by:
                counted.inside.append(c.low < case.true < c.high)
        edge = verdicts_of(case, rng, EDGE)
        counted.sames.append(any(c.call.startswith("same") and "r1" in (c.first, c.second) for v in edge for c in v.comparisons))
    return counted


def _is_wrong(call: str, first: str, second: str, true: float) -> bool:
    effect = true * (first == "r1") - true * (second == "r1")
    return effect == 0.0 or (call == "better") != (effect > 0.0)


def _all(**more: object) -> Callable[[np.random.Generator, list[BrewResult]], tuple[list[BrewResult], list[LostBrew]]]:
    return lambda _, rows: ([replace(row, **more) for row in rows], [])  # type: ignore[arg-type]


def _aliased(name: str, share: float):  # type: ignore[no-untyped-def]
    """A label that adds half again to its brews, carried by this share of the second arm and the rest of the first."""

    def spoil(rng: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
        made = []
        for i, row in enumerate(rows):
            own = (i // 2) < round(share * len(rows) / 2)
            label = "b" if own == (row.arm == "r1") else "a"
            shifted = replace(row, value=row.value * (1.5 if label == "b" else 1.0))
            made.append(replace(shifted, column=label) if name == "vessel" else replace(shifted, confounders={name: label}))
        return made, []

    return spoil


def _limited(low: float | None, high: float | None):  # type: ignore[no-untyped-def]
    def spoil(_: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
        made = []
        for row in rows:
            if low is not None and row.value < low:
                made.append(replace(row, value=low, at_limit=True))
            elif high is not None and row.value > high:
                made.append(replace(row, value=high, above_range=True))
            else:
                made.append(row)
        return made, []

    return spoil


def _darker(checked: bool):  # type: ignore[no-untyped-def]
    def spoil(_: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
        dark = 60.0 if not checked else 0.0
        return [
            replace(r, value=r.value + dark * (r.arm == "r1"), colour_sensitive=True, colour_checked=checked) for r in rows
        ], []

    return spoil


def _bad_batch(rng: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
    bad = int(rng.integers(len(rows)))
    return [replace(row, value=row.value * (0.05 if i == bad else 1.0)) for i, row in enumerate(rows)], []


def _contaminated(rng: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
    return [replace(row, value=row.value * (4.0 if rng.random() < 0.1 else 1.0)) for row in rows], []


def _dropped(rng: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
    """The lowest brew of the second arm is thrown away before it is tested."""
    worst = min((row for row in rows if row.arm == "r1"), key=lambda row: row.value)
    return [row for row in rows if row is not worst], [LostBrew(arm="r1", block=worst.block)]


def _drift(rng: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
    return [replace(row, value=row.value * math.exp(0.05 * i), began_h=24.0 * (i // 2)) for i, row in enumerate(rows)], []


def _drift_in_order(rng: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
    ordered = sorted(rows, key=lambda row: row.arm)
    return [replace(row, value=row.value * math.exp(0.1 * i), began_h=24.0 * i) for i, row in enumerate(ordered)], []


def _hours(rng: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
    late = {"r0": (1.0, 20.0), "r1": (1.9, 36.0)}
    return [replace(row, value=row.value * late[row.arm][0], elapsed_h=late[row.arm][1]) for row in rows], []


def _tests(rng: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
    made = []
    for row in rows:
        tests = 1 if row.arm == "r0" else 6
        made.append(replace(row, value=row.value * math.exp(rng.normal(0, 0.6) / math.sqrt(tests)), tests=tests))
    return made, []


def _one_feeds_all(rng: np.random.Generator, rows: list[BrewResult]) -> tuple[list[BrewResult], list[LostBrew]]:
    luck = math.exp(rng.normal(0, 0.4))
    return [replace(r, value=r.value * luck, source_brew="one") if r.arm == "r1" else r for r in rows], []


CASES = (
    *(Case(name=f"fair, {n} brews", brews=(n, n)) for n in (2, 3, 4, 6, 12)),
    Case(name="fair, 4 days, 3 arms", brews=(4, 4, 4), sds=(0.3,) * 3, blocks=True),
    Case(name="fair, 7 arms of 4", brews=(4,) * 7, sds=(0.3,) * 7),
    Case(name="fair, true 1.6", true=math.log(1.6)),
    Case(name="8 against 3, noisy", brews=(8, 3), sds=(0.3, 1.2)),
    Case(name="10 against 2, noisy", brews=(10, 2), sds=(0.3, 1.2)),
    Case(name="2 against 4, noisy", brews=(4, 2), sds=(0.3, 1.2)),
    Case(name="5 arms, noisy standard", brews=(4,) * 5, sds=(0.9, 0.3, 0.3, 0.3, 0.3)),
    Case(name="5 arms in days, noisy standard", brews=(4,) * 5, sds=(0.9, 0.3, 0.3, 0.3, 0.3), blocks=True),
    Case(name="all pairs of 7", brews=(4,) * 7, sds=(0.3,) * 7, question="vessels"),
    Case(name="3 times, 8 in 10 below limit", true=math.log(3.0), spoil=_limited(134.0, None)),
    Case(name="3 in 10 below limit", spoil=_limited(34.0, None)),
    Case(name="3 in 10 above range", spoil=_limited(None, 47.0)),
    Case(name="all above range", sds=(0.01, 0.01), spoil=_limited(None, 20.0)),
    Case(name="60 darker, no control of its hour", spoil=_darker(False)),
    Case(name="kit lot with arm", spoil=_aliased("kit lot", 1.0)),
    Case(name="reader partly with arm", brews=(8, 8), spoil=_aliased("reader", 0.75)),
    Case(name="vessel with arm", spoil=_aliased("vessel", 1.0)),
    Case(name="one bad batch", brews=(8, 8), spoil=_bad_batch),
    Case(name="one bad batch, true 2", brews=(8, 8), spoil=_bad_batch, true=math.log(2.0)),
    Case(name="contamination 1 in 10", spoil=_contaminated),
    Case(name="heavy tails", draw=lambda rng, n: stats.t.rvs(3, size=n, random_state=rng)),
    Case(name="skewed", draw=lambda rng, n: rng.exponential(size=n) - 1.0),
    Case(name="lowest brew dropped", spoil=_dropped),
    Case(name="operator drift, mixed", spoil=_drift),
    Case(name="operator drift, in order", spoil=_drift_in_order),
    Case(name="unequal tests", spoil=_tests),
    Case(name="hours 36 and 20", spoil=_hours),
    Case(name="one brew feeds all", spoil=_one_feeds_all),
    Case(name="five looks", brews=(10, 10), looks=(4, 8, 12, 16, 20)),
)


def power_lost(brews: int, trials: int = 20000) -> tuple[float, float, float]:
    """Share told in its direction by the verdict's comparison, by Welch's test, and by the t test with one scatter."""
    from aerobe.verdicts import call_contrasts, fit_effects, lay_out

    rng = np.random.default_rng(5)
    effect = {2: 6.0, 3: 3.0, 4: 2.4, 6: 1.8, 12: 1.2}[brews]
    y = rng.normal(size=(trials, 2 * brews)) + np.repeat([0.0, effect], brews)
    ours = call_contrasts(fit_effects(y, lay_out([0] * brews + [1] * brews), np.array([[-1.0, 1.0]])), EDGE).above.mean()
    first, second = y[:, brews:], y[:, :brews]

    def told(equal: bool) -> float:
        test = stats.ttest_ind(first, second, axis=1, equal_var=equal)
        return float(((test.pvalue < 0.05) & (test.statistic > 0)).mean())

    return float(ours), told(False), told(True)


def line(case: Case, counted: Counted, trials: int) -> str:
    """One row of the table."""
    share = 100.0 / trials
    inside = f"{100 * np.mean(counted.inside):5.1f}" if len(counted.inside) >= trials / 10 else "    -"
    return (
        f"{case.name:36s} {share * sum(counted.differences):6.1f} {share * sum(counted.sames):6.1f} {inside} "
        f"{share * sum(counted.told):6.1f} {share * counted.refused:6.1f}"
    )


def main() -> None:
    """Print the table, and the power lost where all is fair."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    start = time.perf_counter()
    print(f"{trials} trials a case\n{'case':36s}  wrong   same  90 %   told refused   [% of trials]")
    for case in CASES:
        print(line(case, count(case, trials), trials), flush=True)
    print("\npower where both arms scatter alike: brews, verdict, Welch, one scatter [%]")
    for brews in (2, 3, 4, 6, 12):
        print(brews, *(f"{100 * share:.1f}" for share in power_lost(brews)))
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
