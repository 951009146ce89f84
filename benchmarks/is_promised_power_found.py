"""Is the power that the planner promises found when whole trials are run, with readings, colour and killed controls?

Run: python -m benchmarks.is_promised_power_found [trials] [--jobs N] [--only TEXT]
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from aerobe.errors import NotEnoughData
from aerobe.records import Arm, Assay, AssayError, Brew, Reading, Trial
from aerobe.trials import Circumstances, Plot, Scatter, checked_power, plots_of, power_of, randomised, scatter_of_testing
from aerobe.verdicts import LostBrew, Standing, allowance_now, brew_results, judge
from benchmarks.side_by_side import arguments, chunks, side_by_side

ERROR = AssayError(constant_sd=0.3, proportional_cv=0.1)
CARD = Assay(key="a", name="card", method="colour test", error=ERROR)
LEVEL, COLOURS = 40.0, (5.0, 12.0)  # ug C/mL: biomass, and the signal of plain and dark tea without cells
SCATTER = Scatter(
    brew_log_sd=0.25,
    test_log_sd=math.hypot(*(scatter_of_testing(ERROR, level=LEVEL, colour=c) for c in COLOURS)) / math.sqrt(2),
    day_log_sd=0.6,
)
START = datetime(2026, 5, 1, tzinfo=UTC)
PIECE = 50  # whole trials that one process runs in one go
CASES = ((2, 6, 4, 1.6), (2, 4, 2, 2.2), (2, 10, 20, 1.4), (4, 5, 4, 1.8), (3, 6, 2, 1.8))


def trial_of(arms: int, margin: float) -> Trial:
    """A question of so many arms."""
    named = tuple(Arm(key=f"r{i}", recipe=f"r{i}", is_standard=i == 0) for i in range(arms))
    question = "two recipes" if arms == 2 else "several against a standard"
    return Trial(key="t", name="t", question=question, arms=named, margin_ratio=margin)


def one_call(trial: Trial, plots, effect: float, rng: np.random.Generator) -> str:  # type: ignore[no-untyped-def]
    """Simulate the readings of one trial and judge them; only the second arm differs, and its tea is darker."""
    days = rng.normal(0, SCATTER.day_log_sd, 1 + max(plot.round for plot in plots))
    brews, readings = [], []
    for i, plot in enumerate(plots):
        shift = effect if plot.arm == 1 else 0.0
        truth = LEVEL * math.exp(shift + days[plot.round] + rng.normal(0, SCATTER.brew_log_sd))
        colour = COLOURS[plot.arm == 1]
        arm = trial.arms[plot.arm]
        brews.append(
            Brew(
                key=f"b{i}",
                name="b",
                recipe=arm.recipe,
                vessel=f"v{plot.place}",
                started_at=START,
                arm=arm.key,
                block=str(plot.round),
            )
        )
        for role, signal in (("sample", truth + colour), ("killed control", colour)):
            value = signal + rng.normal(0, math.hypot(ERROR.constant_sd, ERROR.proportional_cv * signal))
            readings.append(
                Reading(
                    key=f"r{i}{role[0]}",
                    brew=f"b{i}",
                    assay="a",
                    role=role,
                    elapsed_h=24.0,
                    signal=value,
                    unit="ug C/mL",
                    typed_as=f"{value:g}",
                )
            )
    return judge(trial, brew_results(brews, readings, {"a": CARD}), extent="comparisons").comparisons[0].call


@dataclass(frozen=True, kw_only=True)
class Case:
    """A trial that runs as trials do."""

    brews: int
    per_round: int
    margin: float
    arms: int = 2
    brew_sd: float = 0.3
    cv: float = 0.15
    day_sd: float = 0.5
    colour: float = 0.0  # signal without cells over that of the biomass [-]
    lost: float = 0.0
    df: float = math.inf  # degrees of freedom that the scatter is known from
    looks: int = 1  # evenly spread, the end included

    @property
    def scatter(self) -> Scatter:
        """As the planner is told it."""
        return Scatter(brew_log_sd=self.brew_sd, test_log_sd=self.cv, day_log_sd=self.day_sd, df=self.df)

    def promised(self, simulations: int = 20000) -> float:
        """What the planner promises: averaged over what the scatter may be, corrected by the very verdict."""
        plots = plots_of(self.arms, self.brews, self.per_round)
        given = Circumstances(colour=self.colour, lost=self.lost, looks=self.looks)
        trial = trial_of(self.arms, self.margin)
        quick = power_of(trial, plots, self.scatter, 1, given=given, simulations=simulations)
        return checked_power(trial, plots, self.scatter, 1, quick, given=given).assurance


TRAPS = {
    "clear": Case(brews=12, per_round=4, margin=1.5),
    "dark tea": Case(brews=12, per_round=4, margin=1.5, day_sd=0.2, colour=1.0),
    "dark tea, brews lost": Case(brews=14, per_round=4, margin=1.5, day_sd=0.2, colour=1.0, lost=0.15),
    "a bad test in dark tea": Case(brews=14, per_round=4, margin=1.8, cv=0.25, day_sd=0.2, colour=0.5, lost=0.15),
    "very dark tea, unlike days": Case(brews=12, per_round=4, margin=1.6, colour=2.0),
    "scatter of four brews": Case(brews=10, per_round=20, margin=1.6, df=4.0),
    "four arms, brews lost": Case(brews=8, per_round=8, margin=1.8, arms=4, lost=0.1),
    "five looks": Case(brews=10, per_round=4, margin=1.5, looks=5),
    "two brews in three vessels": Case(brews=9, per_round=3, margin=1.8, arms=3),
}


def found_power(case: Case, trials: int, *, seed: int = 23) -> float:
    """Share of whole trials, readings and all, that the verdict tells."""
    rng = np.random.default_rng(seed)
    assay = replace(CARD, error=AssayError(constant_sd=1e-6, proportional_cv=case.cv))
    trial, plots = trial_of(case.arms, case.margin), plots_of(case.arms, case.brews, case.per_round)
    return sum(_is_told(case, trial, randomised(plots, case.arms, rng), assay, rng) for _ in range(trials)) / trials


def _is_told(case: Case, trial: Trial, plots: Sequence[Plot], assay: Assay, rng: np.random.Generator) -> bool:
    sd = case.brew_sd * (math.sqrt(case.df / rng.chisquare(case.df)) if math.isfinite(case.df) else 1.0)
    days = rng.normal(0, case.day_sd, 1 + max(plot.round for plot in plots))
    brews, readings, lost, colour = [], [], [], case.colour * LEVEL
    for i, plot in enumerate(plots):
        if rng.random() < case.lost:
            lost.append(LostBrew(arm=trial.arms[plot.arm].key, block=str(plot.round)))
            continue
        shift = math.log(case.margin) if plot.arm == 1 else 0.0
        truth = LEVEL * math.exp(min(20.0, shift + days[plot.round] + rng.normal(0, sd)))
        arm = trial.arms[plot.arm].key
        brews.append(
            Brew(key=f"b{i}", name="b", recipe=arm, vessel=f"v{plot.place}", started_at=START, arm=arm, block=str(plot.round))
        )
        for role, signal in (("sample", truth + colour), ("killed control", colour)):
            value = max(0.0, signal + rng.normal(0, case.cv * signal))
            readings.append(
                Reading(
                    key=f"r{i}{role[0]}",
                    brew=f"b{i}",
                    assay="a",
                    role=role,
                    elapsed_h=24.0,
                    signal=value,
                    unit="ug C/mL",
                    typed_as=f"{value:g}",
                )
            )
    looks = sorted({round(len(plots) * (i + 1) / case.looks) for i in range(case.looks)})
    allowance = allowance_now(looks, len(plots))
    try:
        results = brew_results(brews, readings, {"a": assay})
        found = judge(trial, results, lost=lost, standing=Standing(allowance=allowance), extent="comparisons")
        return found.comparisons[0].call == "better"
    except NotEnoughData:
        return False


def clear_case(asked: tuple[int, int]) -> str:
    """A row of the plain cases: promised and found, and false claims with no difference."""
    place, trials = asked
    arms, brews, per_round, margin = CASES[place]
    trial, plots = trial_of(arms, margin), plots_of(arms, brews, per_round)
    promised = checked_power(trial, plots, SCATTER, 1, power_of(trial, plots, SCATTER, 1, simulations=20000))
    rng = np.random.default_rng(23)
    calls = [one_call(trial, randomised(plots, arms, rng), math.log(margin), rng) for _ in range(trials)]
    nulls = [one_call(trial, randomised(plots, arms, rng), 0.0, rng) for _ in range(trials)]
    found = calls.count("better") / trials
    error = 100 * math.sqrt(found * (1 - found) / trials)
    better, worse = (100 * nulls.count(call) / trials for call in ("better", "worse"))
    return (
        f"{arms} arms, {brews} brews, {per_round} a round, ratio {margin}: promised {100 * promised.told:.1f} %, "
        f"found {100 * found:.1f} % (standard error {error:.1f}); no difference: better {better:.1f} %, worse {worse:.1f} %"
    )


def trap_piece(asked: tuple[str, int, int]) -> float:
    """How many of so many whole trials are told; of none, the power promised."""
    name, trials, seed = asked
    return found_power(TRAPS[name], trials, seed=seed) * trials if trials else TRAPS[name].promised()


def main() -> None:
    """Print promised and found power of each case: the plain ones, then where trials run as trials do."""
    given = arguments(__doc__, "trials", 1000)
    if not given.only:
        for said in side_by_side(clear_case, [(place, given.trials) for place in range(len(CASES))], given.jobs):
            print(said, flush=True)
    names = [name for name in TRAPS if given.only in name]
    sizes = chunks(given.trials, PIECE)
    pieces = [(name, size, 23 + turn) for name in names for turn, size in enumerate([*sizes, 0])]
    told = dict.fromkeys(names, 0.0)
    for (name, size, _), value in zip(pieces, side_by_side(trap_piece, pieces, given.jobs), strict=True):
        if size:
            told[name] += value
            continue
        found = told[name] / given.trials
        error = math.sqrt(found * (1 - found) / given.trials)
        print(f"{name}: promised {100 * value:.1f} %, found {100 * found:.1f} % (standard error {100 * error:.1f})", flush=True)


if __name__ == "__main__":
    main()
