"""Can a verdict be fooled? Whole trials of known truth go through the verdict itself, honest ones and traps.

For every kind of trial: how often "better" or "worse" was claimed against the truth, how often "same" where the truth lies on
the margin, how often the 90 % interval of the first comparison held it, and how many trials were refused with a reason. At 300
trials the standard error of a rate near 5 % is 1.3 points, of one near 90 % 1.7.

Run: nice -n 15 python -m benchmarks.how_honest_is_a_verdict [trials] [--jobs N] [--only TEXT]
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, field

import numpy as np
from scipy import stats

from aerobe.records import Arm, Trial
from aerobe.verdicts import FULL, Standing, Verdict, allowance_now, judge
from benchmarks import kinds_of_trial, nuisances_of_trial
from benchmarks.kinds_of_trial import Case, honest
from benchmarks.side_by_side import arguments, chunks, side_by_side

CASES = (*kinds_of_trial.CASES, *nuisances_of_trial.CASES)
MARGIN = 1.25
EDGE = math.log(MARGIN)
PIECE = 100  # trials that one process runs in one go


@dataclass
class Counted:
    """What came out of many trials of a case."""

    differences: list[bool] = field(default_factory=list)
    sames: list[bool] = field(default_factory=list)
    inside: list[bool] = field(default_factory=list)
    told: list[bool] = field(default_factory=list)
    refused: int = 0

    def add(self, other: Counted) -> None:
        """Put what another process counted beside it."""
        for name in ("differences", "sames", "inside", "told"):
            getattr(self, name).extend(getattr(other, name))
        self.refused += other.refused


def trial_of(case: Case) -> Trial:
    """The question of a case."""
    arms = tuple(Arm(key=f"r{i}", recipe=f"r{i}", is_standard=i == 0) for i in range(len(case.brews)))
    question = "two recipes" if len(arms) == 2 else case.question
    return Trial(key="t", name="t", question=question, arms=arms, margin_ratio=MARGIN, outcome=case.outcome)


def verdicts_of(case: Case, rng: np.random.Generator, true: float) -> list[Verdict]:
    """The verdict of one trial, or one for each look at it."""
    rows, lost = case.spoil(rng, honest(case, rng, true))
    if not case.looks:
        return [judge(trial_of(case), rows, lost=lost, extent="comparisons")]
    found = []
    for place, brews in enumerate(case.looks):
        allowance = allowance_now(case.looks[: place + 1], case.looks[-1]) if case.looks else FULL
        found.append(judge(trial_of(case), rows[:brews], standing=Standing(allowance=allowance), extent="comparisons"))
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


def line(name: str, counted: Counted) -> str:
    """One row of the table."""
    trials = len(counted.told)
    share = 100.0 / trials
    inside = f"{100 * np.mean(counted.inside):5.1f}" if len(counted.inside) >= trials / 10 else "    -"
    return (
        f"{name:36s} {share * sum(counted.differences):6.1f} {share * sum(counted.sames):6.1f} {inside} "
        f"{share * sum(counted.told):6.1f} {share * counted.refused:6.1f}"
    )


def _piece(asked: tuple[int, int, int]) -> Counted:
    place, trials, seed = asked
    return count(CASES[place], trials, seed)


def main() -> None:
    """Print the table, and the power lost where all is fair."""
    given = arguments(__doc__, "trials", 300)
    start = time.perf_counter()
    chosen = [place for place, case in enumerate(CASES) if given.only in case.name]
    pieces = [(place, size, 1 + turn) for place in chosen for turn, size in enumerate(chunks(given.trials, PIECE))]
    print(f"{given.trials} trials a kind\n{'kind':36s}  wrong   same  90 %   told refused   [% of trials]")
    counted = {place: Counted() for place in chosen}
    for (place, *_), made in zip(pieces, side_by_side(_piece, pieces, given.jobs), strict=True):
        counted[place].add(made)
        if len(counted[place].told) == given.trials:
            print(line(CASES[place].name, counted[place]), flush=True)
    if not given.only:
        print("\npower where both arms scatter alike: brews, verdict, Welch, one scatter [%]")
        for brews in (2, 3, 4, 6, 12):
            print(brews, *(f"{100 * share:.1f}" for share in power_lost(brews)))
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
