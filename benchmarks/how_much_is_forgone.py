"""How much biomass does the harvest call forgo, on brews of a simulator that is not its model?

    python -m benchmarks.how_much_is_forgone [--brews 200] [--seed 1] [--only tests|oxygen] [--wide]

Each brew of `other_world` is harvested five ways: at 24 h; at the single fixed hour that is best for all of them in
hindsight; by a person who tests every 4 h and stops at the first clear drop; by aerobe with at most 3 tests; and by aerobe
with at most 3 tests and an oxygen and temperature log, asked again every 2 h. Printed: mean loss as a share of the peak
that was attainable, its standard error, and the tests used. Runs in worker processes, one core each.
"""

from __future__ import annotations

import argparse
import os
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from benchmarks.other_world import World, make_world

TESTS = 3


def story_for(world: World, brew: int):
    """What a person would know at the start."""
    from aerobe.inference import story_of

    foods = {
        "molasses": world.molasses_g_per_l[brew],
        "kelp-powder": world.kelp_g_per_l[brew],
        "fish-hydrolysate": world.fish_g_per_l[brew],
    }
    return story_of(
        compost_g_per_l=world.compost_g_per_l[brew],
        foods={key: dose for key, dose in foods.items() if dose > 0.0},
        volume_l=20.0,
        depth_m=0.3,
        air_l_per_min=world.air_l_per_min[brew],
        temperature_degc=world.mean_temperature[brew],
    )


def kit_for(hour: float, value: float):
    """A test whose error the person knows from its characterisation."""
    from aerobe.inference import Measurement
    from aerobe.records import AssayError

    error = AssayError(constant_sd=2.0, proportional_cv=0.23, gain_log_sd=0.3)
    return Measurement(elapsed_h=hour, value=max(value, 0.0), error=error, assay="kit")


def play(world: World, brew: int, with_oxygen: bool, seed: int, most_tests: int = TESTS) -> tuple[float, int, float]:
    """Harvest hour, tests used and loss expected at the harvest when the call is followed."""
    from aerobe.decisions import advise
    from aerobe.inference import Log, infer_brew
    from aerobe.records import Costs

    rng = np.random.default_rng([seed, brew, 5])
    bare = story_for(world, brew)
    costs = Costs(test=0.2)
    now, left, tests = 0.0, most_tests, ()
    while now < world.times_h[-1] - 1.0:
        story = replace(bare, measurements=tests)
        if with_oxygen and now > 0.0:
            seen = (world.times_h <= now) & (world.times_h > 0.0)
            story = replace(
                story,
                oxygen=Log(elapsed_h=world.times_h[seen], values=world.probe[brew, seen]),
                temperature=Log(elapsed_h=world.times_h[seen], values=world.temperature[brew, seen]),
            )
        advice = advise(infer_brew(story, seed=1), now_h=now, costs=costs, tests_left=left, kit=kit_for(0.0, 1.0), seed=1)
        if advice.call == "harvest now":
            return now, most_tests - left, advice.expected_loss_now
        ahead = advice.at_h
        if with_oxygen and ahead > now + 2.0:
            now = now + 2.0
            continue
        now = max(ahead, now)
        if advice.call == "test at":
            tests, left = (*tests, kit_for(now, world.test(brew, now, rng))), left - 1
        else:
            now = max(now, advice.now_h + 0.25)
    return now, most_tests - left, float("nan")


def every_four_hours(world: World, brew: int, seed: int) -> tuple[float, int]:
    """A person who tests every 4 h and stops when a result falls 15 % below the one before."""
    rng = np.random.default_rng([seed, brew, 6])
    before, tests = 0.0, 0
    for hour in np.arange(4.0, 72.1, 4.0):
        value, tests = world.test(brew, float(hour), rng), tests + 1
        if value < 0.85 * before:
            return float(hour), tests
        before = max(value, 1e-9)
    return 72.0, tests


def _one(job: tuple[int, int, bool, int, bool, int]) -> tuple[float, int, float]:
    brews, seed, wide, brew, with_oxygen, most_tests = job
    return play(_world(brews, seed, wide), brew, with_oxygen, seed, most_tests)


_WORLDS: dict[tuple[int, int, bool], World] = {}


def _world(brews: int, seed: int, wide: bool) -> World:
    if (brews, seed, wide) not in _WORLDS:
        _WORLDS[brews, seed, wide] = make_world(brews, seed, wide=wide)
    return _WORLDS[brews, seed, wide]


def show(name: str, loss: np.ndarray, tests: np.ndarray) -> None:
    """One line of the table."""
    error, worst = loss.std() / np.sqrt(len(loss)), np.quantile(loss, 0.95)
    print(f"{name:55s} {100 * loss.mean():12.1f} {100 * error:6.1f} {100 * worst:10.1f} {tests.mean():6.1f}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--brews", type=int, default=200)
    parser.add_argument("--first", type=int, default=None, help="play only the first so many")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--wide", action="store_true", help="brews that differ far more")
    parser.add_argument("--only", choices=["recipe", "tests", "oxygen"])
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    os.environ["NUMBA_NUM_THREADS"] = "1"
    world = _world(args.brews, args.seed, args.wide)
    count = args.first or args.brews
    lost = 1.0 - world.biomass[:count] / world.peak[:count, None]
    rows = [("fixed 24 h", lost[:, np.searchsorted(world.times_h, 24.0 - 1e-9)], np.zeros(count))]
    best = int(lost.mean(axis=0).argmin())
    rows.append((f"best fixed hour in hindsight ({world.times_h[best]:.1f} h)", lost[:, best], np.zeros(count)))

    def loss_at(hours: np.ndarray) -> np.ndarray:
        return np.array([1.0 - np.interp(h, world.times_h, world.biomass[i]) / world.peak[i] for i, h in enumerate(hours)])

    person = np.array([every_four_hours(world, i, args.seed) for i in range(count)])
    rows.append(("a test every 4 h until a clear drop", loss_at(person[:, 0]), person[:, 1]))
    print(f"{'way':55s} {'mean loss %':>12s} {'s.e.':>6s} {'worst 5 %':>10s} {'tests':>6s}")
    for row in rows:
        show(*row)
    ways = {"recipe": (False, 0), "tests": (False, TESTS), "oxygen": (True, TESTS)}
    for name, (with_oxygen, most_tests) in ways.items():
        if args.only in (None, name):
            began = time.perf_counter()
            jobs = [(args.brews, args.seed, args.wide, i, with_oxygen, most_tests) for i in range(count)]
            with ProcessPoolExecutor(args.workers) as pool:
                got = np.array(list(pool.map(_one, jobs)))
            label = f"aerobe, at most {most_tests} tests" + (" + oxygen log" if with_oxygen else "")
            show(label, loss_at(got[:, 0]), got[:, 1])
            late = got[:, 0] - world.times_h[world.biomass[:count].argmax(axis=1)]
            spread = np.quantile(late, [0.05, 0.25, 0.5, 0.75, 0.95]).round(1)
            print(
                f"# {label}: {time.perf_counter() - began:.0f} s; loss expected at harvest {100 * np.nanmean(got[:, 2]):.1f} %;"
                f" harvest less peak time, quantiles 5 25 50 75 95 %: {spread} h",
                flush=True,
            )


if __name__ == "__main__":
    main()
