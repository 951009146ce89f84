"""Aerobe plays brews of a world: only what a person would know goes in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aerobe.worlds import END_H, TEST_CONSTANT, TEST_ERROR, TEST_SCALE, World
from benchmarks.elsewhere.agents import ASK_AGAIN_H, Played


def story_for(world: World, brew: int):
    """What a person enters at the start; a feed midway is planned and entered with its hour."""
    from aerobe.inference import story_of

    known = world.known.rows(np.array([brew]))
    doses = {"molasses": known.molasses_g_per_l, "kelp-powder": known.kelp_g_per_l, "fish-hydrolysate": known.fish_g_per_l}
    foods = [{"food": key, "g_per_l": float(dose[0])} for key, dose in doses.items() if dose[0] > 0.0]
    if known.feed_g_per_l[0] > 0.0:
        foods.append({"food": "molasses", "g_per_l": float(known.feed_g_per_l[0]), "at_h": float(known.feed_at_h[0])})
    return story_of(
        compost_g_per_l=float(known.compost_g_per_l[0]),
        foods=foods,
        volume_l=float(known.volume_l[0]),
        depth_m=float(known.depth_m[0]),
        air_l_per_min=float(known.air_l_per_min[0]),
        temperature_degc=float(known.temperature_degc[0]),
        horizon_h=END_H,
    )


def kit_for(hour: float, value: float, error: float = TEST_ERROR):
    """A test whose error the person knows from its characterisation."""
    from aerobe.inference import Measurement
    from aerobe.records import AssayError

    known = AssayError(constant_sd=TEST_CONSTANT, proportional_cv=error, gain_log_sd=TEST_SCALE)
    return Measurement(elapsed_h=hour, value=max(value, 0.0), error=known, assay="kit")


def with_log_until(story, world: World, brew: int, now_h: float):
    """The story with what the probe and the thermometer have logged so far."""
    from aerobe.inference import Log

    seen = (world.times_h <= now_h) & (world.times_h > 0.0)
    if not seen.any():
        return story
    hours = world.times_h[seen]
    return replace(
        story,
        oxygen=Log(elapsed_h=hours, values=world.probe[brew, seen]),
        temperature=Log(elapsed_h=hours, values=world.thermometer[brew, seen]),
    )


def call(story, now_h: float, tests_left: int, past=None, on_gpu: bool = False):
    """Posterior and advice as the product gives them."""
    from aerobe.decisions import advise
    from aerobe.inference import infer_brew
    from aerobe.records import Costs

    posterior = infer_brew(story, seed=1, past=past, on_gpu=on_gpu)
    kit = kit_for(0.0, 1.0)
    return posterior, advise(posterior, now_h=now_h, costs=Costs(test=0.2), tests_left=tests_left, kit=kit, seed=1)


def play(
    world: World, brew: int, tests: int, with_log: bool, seed: int, *, past=None, on_gpu: bool = False, bare=None
) -> tuple[Played, object]:
    """A brew harvested as the call says, asked again every two hours where there is a log; and the last posterior."""
    rng, end = np.random.default_rng([seed, brew, 5]), float(world.times_h[-1])
    bare = story_for(world, brew) if bare is None else bare
    now, left, seen, noticed = 0.0, tests, (), False
    while now < end - 0.5:
        story = replace(bare, measurements=seen)
        story = with_log_until(story, world, brew, now) if with_log else story
        posterior, advice = call(story, now, left, past, on_gpu)
        noticed = noticed or speaks_of_a_stop(advice)
        said = {"noticed": float(noticed)} if with_log else {}
        if advice.call == "harvest now":
            said |= held(posterior, world, brew)
            return Played(hour=now, tests=tests - left, expected=advice.expected_loss_now, **said), posterior
        if with_log and advice.at_h > now + ASK_AGAIN_H:
            now += ASK_AGAIN_H
            continue
        now = max(advice.at_h, now)
        if advice.call == "test at":
            seen, left = (*seen, kit_for(now, world.test(brew, now, rng))), left - 1
        else:
            now = max(now, advice.now_h + 0.25)
    return Played(hour=end, tests=tests - left, **said, **held(posterior, world, brew)), posterior


def speaks_of_a_stop(advice) -> bool:
    """Whether a call says that the air stood still."""
    said = " ".join((*advice.notes, advice.because)).lower()
    return "air" in said and any(word in said for word in ("stopped", "stood still", "was off", "pump"))


def play_dense(world: World, brew: int, every_h: float, seed: int, *, on_gpu: bool = False) -> Played:
    """A reading every so many hours, whatever the call says, and a harvest when it says so."""
    rng = np.random.default_rng([seed, brew, 6])
    bare, seen = story_for(world, brew), ()
    for hour in np.arange(every_h, END_H + 1e-9, every_h):
        seen = (*seen, kit_for(float(hour), world.test(brew, float(hour), rng)))
        posterior, advice = call(replace(bare, measurements=seen), float(hour), 0, on_gpu=on_gpu)
        if advice.call == "harvest now":
            return Played(hour=float(hour), tests=len(seen), expected=advice.expected_loss_now, **held(posterior, world, brew))
        if advice.at_h < hour + every_h:  # it would harvest before the next reading
            return Played(hour=advice.at_h, tests=len(seen), expected=advice.expected_loss, **held(posterior, world, brew))
    return Played(hour=END_H, tests=len(seen))


def held(posterior, world: World, brew: int) -> dict[str, float]:
    """Whether the posterior's 90 % intervals of peak time and biomass hold the truth."""
    truth = (world.times_h[world.biomass[brew].argmax()], world.biomass[brew].max())
    out = {}
    for name, drawn, true in zip(
        ("in_time", "in_biomass"), (posterior.peak_time_h(), posterior.peak_biomass()), truth, strict=True
    ):
        low, high = np.quantile(drawn, [0.05, 0.95])
        out[name] = float(low - 0.05 <= true <= high + 0.05)
    return out
