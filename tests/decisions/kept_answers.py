"""Answers of the room of decisions for uneven brews, kept so that no number changes unseen: see tests/kept_answers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from unittest.mock import patch

import numpy as np

from aerobe.decisions import (
    Advice,
    advise,
    attainment,
    best_in_hindsight,
    forecast_of,
    losses,
    missed_by,
    oxygen_outlook,
    replay,
    value_of_looking,
    value_of_test,
)
from aerobe.decisions import _replay as replaying
from aerobe.decisions._caution import disagreement_of
from aerobe.decisions._plan import window_of
from aerobe.decisions._trend import clear_fall, hours_without_oxygen
from aerobe.inference import BrewStory, Measurement, Posterior, story_of
from aerobe.records import AimChoice, AssayError, Costs
from aerobe.safety import Gate
from tests.decisions.made import made_posterior
from tests.kept_answers import numbers_in

KIT = AssayError(constant_sd=3.0, proportional_cv=0.17, gain_log_sd=0.2)
CLOSED = Gate(name="smell", is_open=False, why="It smells of eggs.", how_it_opens="Aerate until it smells earthy.", sources=())
COSTS = Costs(test=1.3, brew=17.0, worth_of_full_brew=90.0, hour_of_waiting=0.21)
RATIO = AimChoice(aim="fungal to bacterial target", ratio_target=0.45)
ENOUGH = AimChoice(aim="enough biomass with oxygen", biomass_at_least=90.0, oxygen_floor_mg_per_l=5.7)
PER_COST = AimChoice(aim="most per cost", oxygen_floor_mg_per_l=5.0)


def brew(draws: int = 230, hours: float = 36.0, step: float = 1.5) -> Posterior:
    """Three kinds of course, none alike, with fungi, oxygen that dips and comes back, and a log until 12.2 h."""
    times = np.concatenate([np.arange(0.0, 24.0, step), np.arange(24.0, hours + 0.1, 2.0 * step)])
    i = np.arange(draws)[:, None]
    peak = 9.0 + 7.0 * (i % 3) + 0.9 * np.sin(0.37 * i)
    height = 60.0 + 15.0 * (i % 5)
    bacteria = height * np.exp(-(((times - peak) / (5.0 + 0.3 * (i % 4))) ** 2)) + 2.0 + 0.1 * times
    fungi = (9.0 + 0.4 * (i % 7)) * (1.0 + times / 20.0)
    dip = (1.8 + 0.8 * (i % 3)) * np.exp(-(((times - peak + 2.0) / 4.0) ** 2)) * (1.0 + 0.1 * np.cos(i))
    post = made_posterior(times, bacteria, oxygen=8.8 - 1.5 * dip)
    return replace(
        post,
        fungi=fungi,
        oxygen_uptake=4.0 + 3.0 * dip,
        structure=(i[:, 0] // 2) % 3,
        structures=("a", "b", "c"),
        shares=(0.4, 0.3, 0.3),
        logged_until_h=12.2,
    )


def told(advice: Advice) -> list[object]:
    """An advice without its words: the figures in them, and all numbers beside."""
    return [
        advice.call,
        [advice.at_h, advice.now_h, advice.expected_loss_now, advice.expected_loss],
        [numbers_in(advice.because), numbers_in(advice.as_text()), [numbers_in(line) for line in advice.would_change]],
        [advice.window, advice.next_test, advice.oxygen, len(advice.held_back_by), len(advice.notes)],
        [advice.times_h, advice.loss_by_time, advice.test_times_h, advice.test_loss_by_time],
        [advice.settled, advice.seed],
    ]


def advised(post: Posterior, now_h: float, **asked: object) -> list[object]:
    return told(advise(post, now_h=now_h, costs=COSTS, **asked))  # type: ignore[arg-type]


def _readings(*pairs: tuple[float, float], assay: str = "kit") -> tuple[Measurement, ...]:
    return tuple(Measurement(elapsed_h=h, value=v, error=KIT, assay=assay) for h, v in pairs)


def answers() -> dict[str, Callable[[], object]]:
    """Each by what it holds."""
    kit = Measurement(elapsed_h=0.0, value=0.0, error=KIT, quantity="bacteria")
    late, quiet = brew(hours=96.0), replace(brew(), logged_until_h=None)
    falling = _readings((3.0, 90.0), (6.0, 71.0), (9.0, 52.0))
    cases: dict[str, Callable[[], object]] = {
        f"what each course attains and loses: {aim.aim}": partial(_aim, aim) for aim in (AimChoice(), RATIO, ENOUGH, PER_COST)
    }
    return cases | {
        "a window, its best hour and its probability": _window,
        "where structures disagree": partial(_apart, brew()),
        "a test valued on every other of 2000 courses": partial(_tested, brew(2000), kit),
        "a test valued soon after another": partial(_tested, replace(brew(), last_result_h=9.4), kit),
        "a log looked at again, on every other of 2000 courses": partial(_looked, brew(2000)),
        "oxygen now and ahead": partial(oxygen_outlook, brew(), 10.7, 4.9),
        "oxygen within a day ahead of four": partial(oxygen_outlook, late, 3.2, 5.6),
        "oxygen of the last hours": partial(oxygen_outlook, brew(), 40.0, 4.9, within_h=3.0),
        "bands of biomass, ratio and oxygen": partial(forecast_of, brew(60)),
        "what a harvest missed, and when it was best": lambda: [
            [missed_by(brew(), hour, aim, COSTS) for hour, aim in ((7.3, AimChoice()), (19.0, RATIO), (30.0, PER_COST))],
            best_in_hindsight(brew(), AimChoice(), COSTS),
        ],
        "falls of readings": _falls,
        "hours without oxygen": _starved,
        "a wait while a log runs": lambda: advised(brew(), 5.2),
        "a look at the log again": lambda: advised(brew(), 12.1, aim=AimChoice()),
        "a test": lambda: advised(quiet, 5.2, tests_left=2, kit=kit),
        "a test of four days' course, no more than two days ahead": lambda: advised(
            replace(late, logged_until_h=None), 5.2, tests_left=1
        ),
        "a test too dear, and a fit that is not settled": lambda: told(
            advise(replace(quiet, settled=False), now_h=4.1, tests_left=1, kit=kit, costs=replace(COSTS, test=95.0))
        ),
        "structures that disagree, with tests left": lambda: told(
            advise(quiet, now_h=2.0, tests_left=1, kit=kit, costs=replace(COSTS, test=95.0))
        ),
        "a harvest, and one held back": lambda: [advised(quiet, 30.0, gates=gates) for gates in ((), (CLOSED,))],
        "readings that fall": lambda: advised(replace(quiet, measurements=falling, last_result_h=9.0), 9.0, seed=3),
        "a reading far off": lambda: advised(replace(quiet, last_tail=0.002, last_result_h=8.0), 9.0, tests_left=1, kit=kit),
        "air that stands still": lambda: advised(replace(quiet, air_off_since_h=8.4), 9.0),
        "a brew long without oxygen": lambda: advised(replace(brew(), oxygen=0.04 * brew().oxygen), 9.0),
        "other aims": lambda: [advised(brew(), 8.0, aim=aim, tests_left=1, kit=kit) for aim in (RATIO, ENOUGH, PER_COST)],
        "a replay of three hours": _replayed,
    }


def _aim(aim: AimChoice) -> object:
    few = brew(7, hours=30.0, step=4.0)
    free, priceless = replace(COSTS, hour_of_waiting=0.0), replace(COSTS, worth_of_full_brew=0.0)
    return [attainment(few, aim, COSTS), *(losses(few, aim, costs) for costs in (COSTS, free, priceless))]


def _window() -> object:
    post = brew()
    loss = losses(post, AimChoice(), COSTS)
    return [window_of(post.times_h, part, part.mean(axis=0)) for part in (loss, loss[::3], loss[1::3], loss[::3] * 0.1)]


def _apart(post: Posterior) -> object:
    loss = losses(post, AimChoice(), COSTS)
    uneven = replace(post, structure=np.where(np.arange(len(loss)) % 9 == 0, 2, np.arange(len(loss)) % 2))
    return [disagreement_of(item, post.times_h, loss, hour) for item in (post, uneven) for hour in (8.9, 21.4)]


def _tested(post: Posterior, kit: Measurement) -> object:
    loss = losses(post, AimChoice(), COSTS)
    return [value_of_test(post, loss, now, kit, until_h=until, seed=5) for now, until in ((10.0, 17.1), (4.5, 8.0), (36.0, 40.0))]


def _looked(post: Posterior) -> object:
    loss = losses(post, AimChoice(), COSTS)
    thin = replace(post, oxygen=0.05 * post.oxygen)
    return [value_of_looking(item, loss, now, seed=5) for item in (post, thin) for now in (4.5, 12.7, 14.3)]


def _falls() -> object:
    post = brew(3)
    other = _readings((2.0, 99.0), assay="another")
    rows = [
        _readings((3.0, 90.0), (6.0, 71.0), (9.0, 52.0)),
        _readings((3.0, 90.0), (6.0, 80.0), (9.0, 68.0)),
        _readings((9.0, 3.1), (3.0, 9.0), (6.0, 5.0)),
        (*other, *_readings((1.0, 60.0), (3.0, 90.0), (6.0, 71.0), (9.0, 52.0))),
        (*other, *_readings((6.0, 71.0), (9.0, 52.0))),
    ]
    return [clear_fall(replace(post, measurements=row, feeds_h=fed)) for row in rows for fed in ((), (4.0,), (2.9,))]


def _starved() -> object:
    post = replace(brew(), oxygen=0.061 * brew().oxygen)
    still = np.where((post.times_h > 6.0) & (post.times_h < 17.0), 0.15, 0.6)
    return [
        hours_without_oxygen(replace(item, air=air), now)
        for item in (post, replace(post, logged_until_h=None), replace(post, logged_until_h=13.5))
        for air in (None, still)
        for now in (9.0, 20.0)
    ]


def _replayed() -> object:
    """What is known at each hour is stood in for by one brew whose log ends then."""
    shares: list[float] = []

    def known(story: BrewStory, *, seed: int, past: object, effort: object) -> Posterior:
        return replace(brew(150), measurements=story.measurements, logged_until_h=None, seed=seed)

    story = story_of(compost_g_per_l=30.0, measurements=_readings((4.0, 30.0), (9.0, 60.0), (15.0, 80.0)))
    with patch.object(replaying, "infer_brew", known):
        found = replay(
            story,
            [3.0, 9.0, 20.0],
            aim=AimChoice(),
            costs=COSTS,
            tests_left_at={3.0: 0, 9.0: 0, 20.0: 0}.__getitem__,
            kit=Measurement(elapsed_h=0.0, value=0.0, error=KIT),
            gates_at=lambda hour: (CLOSED,) if hour > 10.0 else (),
            seed=4,
            progress=shares.append,
        )
    return [[told(item) for item in found], shares]
