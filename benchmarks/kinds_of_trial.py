"""Kinds of trial whose truth is known: honest ones, and traps that turn honest results into what would fool a verdict."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from aerobe.verdicts import BrewResult, LostBrew

Array = NDArray[np.float64]
Spoilt = tuple[list[BrewResult], list[LostBrew]]
Spoil = Callable[[np.random.Generator, list[BrewResult]], Spoilt]


@dataclass(frozen=True, kw_only=True)
class Case:
    """One kind of trial: `spoil` turns honest results into what the trap makes of them."""

    name: str
    brews: tuple[int, ...] = (6, 6)
    sds: tuple[float, ...] = (0.3, 0.3)
    blocks: bool = False
    draw: Callable[[np.random.Generator, int], Array] = lambda rng, n: rng.normal(size=n)
    spoil: Spoil = lambda _, rows: (rows, [])
    true: float = 0.0  # log ratio of the second arm to the first; other arms do not differ from the first
    question: str = "several against a standard"
    squares: bool = False  # one vessel to each place of a round, the arms moving through them, as a Latin square does
    outcome: str = "biomass"
    looks: tuple[int, ...] = ()  # brews at which the trial is looked at, of those planned


def honest(case: Case, rng: np.random.Generator, true: float) -> list[BrewResult]:
    """Results of one trial before anything goes wrong, brews of the arms in turn."""
    day = rng.normal(0.0, 0.5, max(case.brews))
    vessel = rng.normal(0.0, 0.5, len(case.brews)) if case.squares else np.zeros(len(case.brews))
    rows = []
    for i in range(max(case.brews)):
        for arm, count in enumerate(case.brews):
            if i < count:
                level = math.log(40.0) + (true if arm == 1 else 0.0) + (day[i] if case.blocks else 0.0)
                place = (arm + i) % len(case.brews)
                value = math.exp(level + vessel[place] + case.sds[arm] * float(case.draw(rng, 1)[0]))
                block, column = f"d{i}" if case.blocks else "", f"v{place}" if case.squares else ""
                rows.append(BrewResult(brew=f"{arm}-{i}", arm=f"r{arm}", value=value, block=block, column=column))
    return rows


def _aliased(name: str, share: float):  # type: ignore[no-untyped-def]
    """A label that adds half again to its brews, carried by this share of the second arm and the rest of the first."""

    def spoil(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        made = []
        for i, row in enumerate(rows):
            own = (i // 2) < round(share * len(rows) / 2)
            label = "b" if own == (row.arm == "r1") else "a"
            shifted = replace(row, value=row.value * (1.5 if label == "b" else 1.0))
            made.append(replace(shifted, column=label) if name == "vessel" else replace(shifted, confounders={name: label}))
        return made, []

    return spoil


def _limited(low: float | None, high: float | None):  # type: ignore[no-untyped-def]
    def spoil(_: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
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
    def spoil(_: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        dark = 60.0 if not checked else 0.0
        return [
            replace(r, value=r.value + dark * (r.arm == "r1"), colour_sensitive=True, colour_checked=checked) for r in rows
        ], []

    return spoil


def _bad_batch(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    bad = int(rng.integers(len(rows)))
    return [replace(row, value=row.value * (0.05 if i == bad else 1.0)) for i, row in enumerate(rows)], []


def _contaminated(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    return [replace(row, value=row.value * (4.0 if rng.random() < 0.1 else 1.0)) for row in rows], []


def _dropped(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    """The lowest brew of the second arm is thrown away before it is tested."""
    worst = min((row for row in rows if row.arm == "r1"), key=lambda row: row.value)
    return [row for row in rows if row is not worst], [LostBrew(arm="r1", block=worst.block)]


def _drift(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    return [replace(row, value=row.value * math.exp(0.05 * i), began_h=24.0 * (i // 2)) for i, row in enumerate(rows)], []


def _drift_in_order(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    ordered = sorted(rows, key=lambda row: row.arm)
    return [replace(row, value=row.value * math.exp(0.1 * i), began_h=24.0 * i) for i, row in enumerate(ordered)], []


def _hours(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    late = {"r0": (1.0, 20.0), "r1": (1.9, 36.0)}
    return [replace(row, value=row.value * late[row.arm][0], elapsed_h=late[row.arm][1]) for row in rows], []


def _tests(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    made = []
    for row in rows:
        tests = 1 if row.arm == "r0" else 6
        made.append(replace(row, value=row.value * math.exp(rng.normal(0, 0.6) / math.sqrt(tests)), tests=tests))
    return made, []


def _one_feeds_all(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    luck = math.exp(rng.normal(0, 0.4))
    return [replace(r, value=r.value * luck, source_brew="one") if r.arm == "r1" else r for r in rows], []


def _dropped_by_result(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    """Half of the poor brews of the second arm come to nothing."""
    middle = float(np.median([row.value for row in rows]))
    poor = [row.arm == "r1" and row.value < 0.8 * middle and rng.random() < 0.5 for row in rows]
    kept = [row for row, gone in zip(rows, poor, strict=True) if not gone]
    return kept, [LostBrew(arm=row.arm, block=row.block) for row, gone in zip(rows, poor, strict=True) if gone]


def _only_second(spoil: Spoil) -> Spoil:
    """The same mishap, but only to brews of the second arm."""

    def spoilt(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        own, lost = spoil(rng, [row for row in rows if row.arm == "r1"])
        changed = {row.brew: row for row in own}
        return [changed.get(row.brew, row) for row in rows], lost

    return spoilt


def _bad_day(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    bad = rows[int(rng.integers(len(rows)))].block
    return [replace(row, value=row.value * (0.05 if row.block == bad else 1.0)) for row in rows], []


def _two_dead(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    dead = set(rng.choice(len(rows), 2, replace=False).tolist())
    return [replace(row, value=row.value * (0.05 if i in dead else 1.0)) for i, row in enumerate(rows)], []


def _typed_twice(shake: float) -> Spoil:
    """Every result entered as two brews, the second shaken by this much."""

    def spoil(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        twins = [replace(row, brew=f"{row.brew}-again", value=row.value * math.exp(rng.normal(0, shake))) for row in rows]
        return [row for pair in zip(rows, twins, strict=True) for row in pair], []

    return spoil


def _in_two_vessels(within: float) -> Spoil:
    """Every brew in two vessels, each entered as a brew of its own."""

    def spoil(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        return [
            replace(row, brew=f"{row.brew}-{vessel}", column=vessel, value=row.value * math.exp(rng.normal(0, within)))
            for row in rows
            for vessel in ("left", "right")
        ], []

    return spoil


def _copied(shake: float, *, shuffled: bool) -> Spoil:
    """The second arm is the first times 1.5, shaken by this much, in its own or in another order."""

    def spoil(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        first = [row.value for row in rows if row.arm == "r0"]
        source = iter(rng.permutation(first) if shuffled else first)
        made = [
            replace(row, value=1.5 * float(next(source)) * math.exp(rng.normal(0, shake))) if row.arm == "r1" else row
            for row in rows
        ]
        return made, []

    return spoil


def _season(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    """A tenth more every week, the second arm brewed later on the whole; the dates are recorded."""
    weeks = {"r0": iter((0, 1, 2, 3, 5, 7)), "r1": iter((2, 4, 6, 8, 9, 10))}
    dated = [(row, next(weeks[row.arm])) for row in rows]
    return [replace(row, value=row.value * math.exp(0.1 * week), began_h=168.0 * week) for row, week in dated], []


def _sorted_table(_: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    return sorted(rows, key=lambda row: (row.arm, row.value)), []


def _two_figures(_: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    return [replace(row, value=float(f"{row.value:.2g}")) for row in rows], []


def _days_luck(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    """Brews of one arm in threes on a day, whose luck they share."""
    made, luck = [], 0.0
    for arm in ("r0", "r1"):
        for i, row in enumerate(row for row in rows if row.arm == arm):
            luck = rng.normal(0.0, 0.3) if i % 3 == 0 else luck
            made.append(replace(row, value=row.value * math.exp(luck), block=f"d{i // 3}"))
    return made, []


def _luck_of_days(days: int, each: int, luck: float) -> Spoil:
    """Both arms brewed so many times on each of so many days, each arm with a luck of its own each day."""

    def spoil(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        own = {(arm, day): rng.normal(0.0, luck) for arm in ("r0", "r1") for day in range(days)}
        made = []
        for row in rows:
            day = int(row.brew.split("-")[1]) // each
            made.append(replace(row, value=row.value * math.exp(own[row.arm, day]), block=f"d{day}"))
        return made, []

    return spoil


def _then(*spoils: Spoil) -> Spoil:
    """One mishap after another."""

    def spoil(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        lost: list[LostBrew] = []
        for one in spoils:
            rows, more = one(rng, rows)
            lost += more
        return rows, lost

    return spoil


def _as_counts(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    """Events, of which the value says how many there are to be expected."""
    return [replace(row, value=float(rng.poisson(row.value / 2.0))) for row in rows], []


def _as_shares(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    """How many of 40 plants, of which the value says the share to be expected."""
    return [replace(row, value=float(rng.binomial(40, min(row.value / 160.0, 0.9))), of_n=40.0) for row in rows], []


def _one_brew_as_many(own: float, test: float) -> Spoil:
    """Tests of one brew entered as brews: they differ by `own`, and the test is certified to err by `test`."""

    def spoil(rng: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
        first = {row.arm: row.value for row in reversed(rows)}
        return [
            replace(row, value=first[row.arm] * math.exp(rng.normal(0, own)), test_log_sd=test, test_is_measured=True)
            for row in rows
        ], []

    return spoil


def _larger_vessels(_: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    """Every brew in a vessel of its own, those of the second arm in larger ones that do half again as well."""
    size = {"r0": "20 L", "r1": "200 L"}
    return [
        replace(
            row, column=f"v{i}", value=row.value * (1.5 if row.arm == "r1" else 1.0), confounders={"vessel size": size[row.arm]}
        )
        for i, row in enumerate(rows)
    ], []


def _darker_by_dose(_: np.random.Generator, rows: list[BrewResult]) -> Spoilt:
    return [replace(r, value=r.value + 12.0 * int(r.arm[1:]), colour_sensitive=True) for r in rows], []


CASES = (
    *(Case(name=f"fair, {n} brews", brews=(n, n)) for n in (2, 3, 4, 6, 12)),
    *(Case(name=f"fair, {n} brews, in days", brews=(n, n), blocks=True) for n in (2, 3, 4, 6, 12)),
    *(
        Case(name=f"fair, {arms} arms of {n}{', in days' if blocks else ''}", brews=(n,) * arms, sds=(0.3,) * arms, blocks=blocks)
        for arms in (3, 5, 7)
        for n in (2, 3, 6, 12)
        for blocks in (False, True)
    ),
    Case(name="fair, 4 days, 3 arms", brews=(4, 4, 4), sds=(0.3,) * 3, blocks=True),
    Case(name="fair, 7 arms of 4", brews=(4,) * 7, sds=(0.3,) * 7),
    Case(name="fair, true 1.6", true=math.log(1.6)),
    Case(name="true 1.15, within the margin", true=math.log(1.15)),
    Case(name="Latin square, 3 unlike vessels", brews=(3,) * 3, sds=(0.3,) * 3, blocks=True, squares=True),
    Case(name="Latin square, 4 unlike vessels", brews=(4,) * 4, sds=(0.3,) * 4, blocks=True, squares=True),
    Case(name="two vessels, unlike, 6 days", brews=(6, 6), blocks=True, squares=True),
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
    Case(name="one bad batch, in days", brews=(8, 8), blocks=True, spoil=_bad_batch),
    Case(name="one bad batch, in days, true 2", brews=(8, 8), blocks=True, spoil=_bad_batch, true=math.log(2.0)),
    Case(name="one bad batch of 3", brews=(3, 3), spoil=_bad_batch),
    Case(name="two bad batches", brews=(8, 8), spoil=_two_dead),
    Case(name="two bad batches, true 2", brews=(8, 8), spoil=_two_dead, true=math.log(2.0)),
    Case(name="one bad day", brews=(6, 6), blocks=True, spoil=_bad_day),
    Case(name="contamination 1 in 10", spoil=_contaminated),
    Case(name="contamination of one arm", spoil=_only_second(_contaminated)),
    Case(name="heavy tails", draw=lambda rng, n: stats.t.rvs(3, size=n, random_state=rng)),
    Case(name="heavy tails, 3 brews", brews=(3, 3), draw=lambda rng, n: stats.t.rvs(3, size=n, random_state=rng)),
    Case(name="heavy tails, 12 brews", brews=(12, 12), draw=lambda rng, n: stats.t.rvs(3, size=n, random_state=rng)),
    Case(name="heavier tails, in days", blocks=True, draw=lambda rng, n: stats.t.rvs(2, size=n, random_state=rng)),
    Case(name="skewed", draw=lambda rng, n: rng.exponential(size=n) - 1.0),
    Case(name="lowest brew dropped", spoil=_dropped),
    Case(name="poor brews of one arm lost", brews=(8, 8), spoil=_dropped_by_result),
    Case(name="poor brews of one arm lost, in days", brews=(8, 8), blocks=True, spoil=_dropped_by_result),
    Case(name="below the limit, one arm", spoil=_only_second(_limited(34.0, None))),
    Case(name="results typed twice", brews=(3, 3), spoil=_typed_twice(0.0)),
    Case(name="results typed twice, shaken", brews=(4, 4), spoil=_typed_twice(0.02)),
    Case(name="results typed twice, shaken more", brews=(5, 5), spoil=_typed_twice(0.04)),
    Case(name="results typed twice, shaken by 10 %", brews=(3, 3), spoil=_typed_twice(0.1)),
    Case(name="one brew in two vessels", brews=(3, 3), sds=(0.4, 0.4), spoil=_in_two_vessels(0.15)),
    Case(name="arm copied", spoil=_copied(0.0, shuffled=False)),
    Case(name="arm copied in another order", spoil=_copied(0.0, shuffled=True)),
    Case(name="arm copied, shaken by 3 %", spoil=_copied(0.03, shuffled=False)),
    Case(name="arm copied, shaken, another order", spoil=_copied(0.03, shuffled=True)),
    Case(name="arm copied day by day", blocks=True, spoil=_copied(0.0, shuffled=False)),
    Case(name="arm copied day by day, shaken by 2 %", blocks=True, spoil=_copied(0.02, shuffled=False)),
    Case(name="season partly with arm", sds=(0.25, 0.25), spoil=_season),
    Case(name="sorted table", spoil=_sorted_table),
    Case(name="read to two figures", spoil=_two_figures),
    Case(name="three brews of a day share its luck", brews=(9, 9), sds=(0.15, 0.15), spoil=_days_luck),
    *(
        Case(name=f"{each} a day on {days} days, luck {luck:g}", brews=(days * each,) * 2, spoil=_luck_of_days(days, each, luck))
        for days, each in ((2, 3), (3, 2), (3, 3), (4, 2), (6, 2))
        for luck in (0.0, 0.3, 0.6)
    ),
    *(
        Case(
            name=f"2 a day on 6 days, luck {luck:g}, at limits",
            brews=(12, 12),
            spoil=_then(_luck_of_days(6, 2, luck), _limited(30.0, 100.0)),
        )
        for luck in (0.0, 0.3, 0.6)
    ),
    *(
        Case(
            name=f"{name}, 3 a day on 4 days, luck {luck:g}",
            brews=(12, 12),
            sds=(0.0, 0.0),
            outcome=outcome,
            spoil=_then(_luck_of_days(4, 3, luck), made),
        )
        for name, outcome, made in (("counts", "growth count", _as_counts), ("shares", "plants thriving", _as_shares))
        for luck in (0.0, 0.3, 0.6)
    ),
    Case(name="3 arms in 3 days, noisy standard", brews=(3,) * 3, sds=(1.2, 0.3, 0.3), blocks=True),
    Case(name="5 arms of 2 in days, one noisy", brews=(2,) * 5, sds=(0.3, 1.2, 0.3, 0.3, 0.3), blocks=True),
    Case(name="one brew entered as six, too alike", spoil=_one_brew_as_many(0.01, 0.1)),
    Case(name="larger vessels with arm", spoil=_larger_vessels),
    Case(name="darker by dose, no control", brews=(4,) * 4, sds=(0.3,) * 4, spoil=_darker_by_dose),
    Case(name="operator drift, mixed", spoil=_drift),
    Case(name="operator drift, in order", spoil=_drift_in_order),
    Case(name="unequal tests", spoil=_tests),
    Case(name="hours 36 and 20", spoil=_hours),
    Case(name="one brew feeds all", spoil=_one_feeds_all),
    Case(name="two looks", brews=(8, 8), looks=(8, 16)),
    Case(name="five looks", brews=(10, 10), looks=(4, 8, 12, 16, 20)),
)
