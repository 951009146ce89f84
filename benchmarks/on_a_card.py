"""The same model code on processor and graphics card: how many courses a second?

    python -m benchmarks.on_a_card [--courses 100000]

Prints courses a second of `kinetics.simulate` on all cores and on one CUDA card, their ratio, and the largest difference.
"""

from __future__ import annotations

import argparse
import time

import numpy as np


def main() -> None:
    from aerobe.inference import basis_of, decode, story_of
    from aerobe.inference._target import setting_of
    from aerobe.kinetics import simulate

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--courses", type=int, default=100_000)
    args = parser.parse_args()
    story = story_of(compost_g_per_l=50.0, foods={"molasses": 1.4, "kelp-meal": 1.0})
    setting = setting_of(story)
    z = np.random.default_rng(1).standard_normal((args.courses, 18))
    inputs = decode(z, basis_of(story.recipe, story.vessel), 20.0)
    answers, rates = {}, {}
    for on_gpu in (False, True):

        def run(count: int, on_gpu: bool = on_gpu) -> np.ndarray:
            return simulate(
                inputs.start[:count],
                inputs.parameters[:count],
                inputs.growth_minimum_degc[:count],
                setting.around,
                food_scale=inputs.food_scale[:count],
                on_gpu=on_gpu,
            )

        run(64)
        began = time.perf_counter()
        answers[on_gpu] = run(args.courses)
        rates[on_gpu] = args.courses / (time.perf_counter() - began)
        print(f"{'card' if on_gpu else 'processor':10s} {rates[on_gpu]:12.0f} courses/s")
    gap = np.abs(answers[True] - answers[False]) / np.maximum(np.abs(answers[False]), 0.05)
    print(f"ratio {rates[True] / rates[False]:.1f}, largest relative difference {np.nanmax(gap):.2e}")


if __name__ == "__main__":
    main()
