"""Do the posterior's intervals mean what they say?

    python -m benchmarks.how_honest_is_the_posterior [--brews 1000] [--other 200] [--workers 2]

1. Brews of random recipes and vessels are drawn from the whole prior, all structures and whatever strays, tested 0 to 5 times
   (dark or clear), and inferred. Without an oxygen log: with one there is no single law to draw from. Ranks of the truth among
   the draws must be uniform (simulation-based calibration, talts-2018): the largest gap of their ECDF from the diagonal is held
   against its 95 % quantile. 90 % intervals of peak time, peak biomass and the loss of harvesting at 24 h must cover 87 to 93 %.
2. The same counts with the posterior spoiled on purpose (draws pulled half way to their median) must fail.
3. Brews of the foreign worlds to tune on (`aerobe.worlds`), one world after another: coverage of peak time, share of the peak
   left at 24 h, and biomass as the test would show it at 24 h must stay above 80 %.
"""

from __future__ import annotations

import argparse
import os
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from aerobe.inference import BrewStory, SimulatedBrew
from aerobe.practice import kit_for, story_for, with_log_until
from aerobe.worlds import TUNING, make_world

NAMES = ("peak time", "peak biomass", "loss at 24 h")


def measures(times: np.ndarray, biomass: np.ndarray) -> np.ndarray:
    """Peak time, peak biomass and loss of harvesting at 24 h of courses, shape (courses, 3)."""
    from aerobe.inference import peak_times

    peak = biomass.max(axis=1)
    at = int(np.searchsorted(times, 24.0 - 1e-9))
    return np.stack([peak_times(times, biomass), peak, 1.0 - biomass[:, at] / peak], axis=1)


def one_from_the_prior(index: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, bool]:
    """Ranks (3), inside flags (3), inside flags of the spoiled posterior (3), settled."""
    from dataclasses import replace

    from aerobe.inference import Measurement, infer_brew, story_of
    from aerobe.records import AssayError

    rng = np.random.default_rng([99, index])
    foods = {"molasses": rng.uniform(0.1, 4.0)} if rng.random() < 0.7 else {}
    bare = story_of(
        compost_g_per_l=rng.uniform(10.0, 90.0),
        foods=foods,
        air_l_per_min=rng.uniform(3.0, 25.0),
        temperature_degc=rng.uniform(14.0, 28.0),
    )
    truth = one_of_all_structures(bare, 1000 + index, rng)
    until = rng.uniform(6.0, 48.0)
    error = AssayError(
        constant_sd=rng.uniform(1.0, 6.0),
        proportional_cv=rng.uniform(0.1, 0.4),
        gain_log_sd=0.3,
        bias_sd=rng.choice([0.0, 5.0]),
    )
    blanks = [
        Measurement(elapsed_h=float(t), value=0.0, error=error) for t in np.sort(rng.uniform(0.0, until, int(rng.integers(0, 6))))
    ]
    story = replace(bare, measurements=truth.measure(rng, *blanks) if blanks else ())
    posterior = infer_brew(story, seed=index)
    drawn = measures(posterior.times_h, posterior.biomass)
    true = measures(truth.times_h, truth.biomass[None])[0]
    # Ties (a peak at the very end of the horizon) get a random rank among themselves.
    below, equal = (drawn < true).sum(axis=0), (np.abs(drawn - true) < 1e-9).sum(axis=0)
    ranks = (below + rng.random(3) * equal) / len(drawn)
    low, high = np.quantile(drawn, [0.05, 0.95], axis=0)
    middle = np.median(drawn, axis=0)
    inside = (true >= low - 1e-9) & (true <= high + 1e-9)
    spoiled = (true >= middle + 0.5 * (low - middle)) & (true <= middle + 0.5 * (high - middle))
    return ranks, inside, spoiled, posterior.settled


def one_of_all_structures(bare: BrewStory, seed: int, rng: np.random.Generator) -> SimulatedBrew:
    """A course of the whole prior, with a scale and a bias of its own for each assay."""
    from aerobe.inference import infer_brew

    prior = infer_brew(bare, seed=seed)
    pick = int(rng.integers(len(prior.biomass)))
    return SimulatedBrew(
        times_h=prior.times_h,
        bacteria=prior.bacteria[pick],
        fungi=prior.fungi[pick],
        oxygen=prior.oxygen[pick],
        logged=prior.oxygen[pick],
        scores=np.concatenate([prior.scores[pick], rng.standard_normal(9)]),  # two for each of four assays, one for a probe
        story=bare,
    )


def one_of_another_world(index: int) -> np.ndarray:
    """Inside flags: peak time, loss at 24 h, result a test would show at 24 h."""
    from dataclasses import replace

    from aerobe.inference import expected_result, infer_brew

    laws = list(TUNING.values())
    world = make_world(laws[index // 8 % len(laws)], 8, 5000 + index // 8)
    brew = index % 8
    rng = np.random.default_rng([98, index])
    until = rng.uniform(8.0, 30.0)
    hours = np.sort(rng.uniform(1.0, until, 3))
    story = replace(story_for(world, brew), measurements=tuple(kit_for(float(h), world.test(brew, float(h), rng)) for h in hours))
    if index % 2:
        story = with_log_until(story, world, brew, until)
    posterior = infer_brew(story, seed=index)
    drawn = measures(posterior.times_h, posterior.biomass)
    shown = posterior.value_at(expected_result(posterior, kit_for(24.0, 1.0)), 24.0)
    drawn = np.stack([drawn[:, 0], drawn[:, 2], shown], axis=1)
    true = measures(world.times_h, world.biomass[brew][None])[0]
    at_24 = world.assay_gain[brew] * np.interp(24.0, world.times_h, world.biomass[brew])
    low, high = np.quantile(drawn, [0.05, 0.95], axis=0)
    return (np.array([true[0], true[2], at_24]) >= low) & (np.array([true[0], true[2], at_24]) <= high)


def ecdf_limit(count: int, level: float = 0.95) -> float:
    """The gap that the ECDF of so many uniform ranks stays within, with this probability (by simulation)."""
    rng = np.random.default_rng(3)
    ladder = np.arange(1, count + 1) / count
    gaps = [np.max(np.abs(np.sort(rng.random(count)) - ladder)) for _ in range(4000)]
    return float(np.quantile(gaps, level))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--brews", type=int, default=1000)
    parser.add_argument("--other", type=int, default=200)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    os.environ["NUMBA_NUM_THREADS"] = "1"
    began = time.perf_counter()
    with ProcessPoolExecutor(args.workers) as pool:
        found = list(pool.map(one_from_the_prior, range(args.brews), chunksize=4))
        other = np.array(list(pool.map(one_of_another_world, range(args.other), chunksize=8)))
    ranks, inside, spoiled = (np.array([item[i] for item in found]) for i in range(3))
    limit = ecdf_limit(args.brews)
    ladder = np.arange(1, args.brews + 1) / args.brews
    print(f"{args.brews} brews of the prior; settled {100 * np.mean([item[3] for item in found]):.1f} %")
    for i, name in enumerate(NAMES):
        gap = np.max(np.abs(np.sort(ranks[:, i]) - ladder))
        print(
            f"  {name:14s} 90 % interval covers {100 * inside[:, i].mean():5.1f} %  (spoiled {100 * spoiled[:, i].mean():5.1f} %)"
            f"  rank ECDF gap {gap:.4f}, 95 % limit {limit:.4f}: {'inside' if gap <= limit else 'OUTSIDE'}"
        )
    print(f"{args.other} brews of other worlds")
    for i, name in enumerate(("peak time", "loss at 24 h", "test at 24 h")):
        print(f"  {name:14s} 90 % interval covers {100 * other[:, i].mean():5.1f} %")
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
