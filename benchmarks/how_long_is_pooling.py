"""How long does it take, and how much memory, to pool thousands of brews in one hierarchical model?

    python benchmarks/how_long_is_pooling.py                 # processor, with a peer at 600 brews
    python benchmarks/how_long_is_pooling.py --gpu           # the same code through cupy, beside the processor

Each size runs in a process of its own, so that peak memory is its own. The brews are invented: trials of eight brews,
two of six recipes each, with a moderator. The peer fits the same model by restricted maximum likelihood with a general
library (statsmodels MixedLM); it gives a point estimate where ours gives the posterior.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import resource
import subprocess
import sys
import time

import numpy as np

from aerobe.evidence import ManyBrews, array_module, pool_brews

RECIPES = 6


def invented(brews: int, seed: int = 1) -> tuple[np.ndarray, ManyBrews]:
    """Brews drawn from the model, with the true effects of the recipes."""
    rng = np.random.default_rng(seed)
    trials = brews // 8
    effects = np.concatenate([[0.0], rng.normal(0.0, 0.3, RECIPES - 1)])
    trial = np.repeat(np.arange(trials), 8)
    arms = np.array([rng.choice(RECIPES, 2, replace=False) for _ in range(trials)])
    recipe = arms[trial, np.tile([0, 1], 4 * trials)]
    level, cell = rng.normal(4.0, 0.8, trials), rng.normal(0.0, 0.25 / math.sqrt(2.0), (trials, RECIPES))
    warm, v = rng.uniform(15.0, 28.0, len(trial)), rng.uniform(0.01, 0.05, len(trial))
    y = level[trial] + effects[recipe] + cell[trial, recipe] + 0.02 * (warm - 20.0) + rng.normal(0.0, np.sqrt(0.09 + v))
    names = [f"r{item}" for item in recipe]
    return effects, ManyBrews(
        outcome=y, variance=v, trial=[f"t{item}" for item in trial], recipe=names, moderators={"temperature_degc": warm}
    )


def one(brews: int, device: str) -> dict[str, float]:
    """Pool once cold and once warm in this process."""
    effects, data = invented(brews)
    xp = array_module(device)
    times = []
    for _ in range(2):
        began = time.perf_counter()
        found = pool_brews(data, reference="r0", xp=xp)
        times.append(time.perf_counter() - began)
    inside = np.mean([item.effect.low <= effects[int(item.recipe[1:])] <= item.effect.high for item in found.recipes])
    answer = {
        "brews": len(data.outcome),
        "cold_s": times[0],
        "warm_s": times[1],
        "lattice": found.lattice_points,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3,
        "inside_90": float(inside),
        "effect_r1": found.recipes[0].effect.mean,
        "sd_r1": found.recipes[0].effect.sd,
    }
    if device != "numpy":
        answer["gpu_pool_mb"] = xp.get_default_memory_pool().total_bytes() / 1e6
    return answer


def peer(brews: int) -> dict[str, float]:
    """The same model by a general mixed-model library."""
    import pandas
    import statsmodels.formula.api as smf

    _, data = invented(brews)
    frame = pandas.DataFrame(
        {"y": data.outcome, "trial": data.trial, "recipe": data.recipe, "warm": data.moderators["temperature_degc"]}
    )
    began = time.perf_counter()
    fit = smf.mixedlm("y ~ recipe + warm", frame, groups="trial", re_formula="1", vc_formula={"cell": "0 + C(recipe)"}).fit()
    return {
        "brews": brews,
        "cold_s": time.perf_counter() - began,
        "effect_r1": float(fit.params["recipe[T.r1]"]),
        "sd_r1": float(fit.bse["recipe[T.r1]"]),
    }


def apart(what: str, brews: int, device: str) -> dict[str, float]:
    """Run one measurement in a process of its own."""
    answer = subprocess.run(
        [sys.executable, __file__, "--one", what, "--brews", str(brews), "--device", device],
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(answer.stdout.splitlines()[-1])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--gpu", action="store_true")
    parser.add_argument("--one", default="")
    parser.add_argument("--brews", type=int, default=10_000)
    parser.add_argument("--device", default="numpy")
    parser.add_argument("--sizes", type=int, nargs="*", default=[1_000, 10_000, 100_000])
    given = parser.parse_args()
    if given.one:
        print(json.dumps(peer(given.brews) if given.one == "peer" else one(given.brews, given.device)))
        return
    print(f"{platform.platform()}, {os.cpu_count()} cores, Python {platform.python_version()}, numpy {np.__version__}")
    plain = {}
    for device in ["numpy", "cupy"] if given.gpu else ["numpy"]:
        for brews in given.sizes:
            found = apart("pool", brews, device)
            plain[device, brews] = found
            ratio = plain["numpy", brews]["warm_s"] / found["warm_s"]
            print(
                f"{device:6} {found['brews']:7} brews: cold {found['cold_s']:7.2f} s, warm {found['warm_s']:7.2f} s, peak "
                f"{found['peak_mb']:6.0f} MB, {found['lattice']} lattice points, recipe 1 {found['effect_r1']:.6f} "
                f"(sd {found['sd_r1']:.6f}); {ratio:.1f} times the processor's speed",
                flush=True,
            )
    if not given.gpu:
        ours, theirs = apart("pool", 600, "numpy"), apart("peer", 600, "numpy")
        print(
            f"peer statsmodels MixedLM, 600 brews: {theirs['cold_s']:.2f} s for a point estimate ({theirs['effect_r1']:.3f}, "
            f"se {theirs['sd_r1']:.3f}); ours {ours['cold_s']:.2f} s for the posterior ({ours['effect_r1']:.3f}, sd "
            f"{ours['sd_r1']:.3f}): {theirs['cold_s'] / ours['cold_s']:.0f} times faster"
        )


if __name__ == "__main__":
    main()
