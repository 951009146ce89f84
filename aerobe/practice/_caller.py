"""The call plays brews of a world: only what a person would know goes in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from aerobe.decisions import Advice, advise
from aerobe.inference import BrewStory, Effort, Log, Measurement, Past, Posterior, infer_brew, story_of
from aerobe.practice._players import ASK_AGAIN_H
from aerobe.records import AssayError, Costs
from aerobe.worlds import END_H, TEST_CONSTANT, TEST_ERROR, TEST_SCALE, World

PRICE = 0.2  # of a test, where a full brew is worth 100
NOT_TWICE_H = 0.25  # a call that waits for a moment that has come is asked again this much later
KIT = AssayError(constant_sd=TEST_CONSTANT, proportional_cv=TEST_ERROR, gain_log_sd=TEST_SCALE)


@dataclass(frozen=True, slots=True, kw_only=True)
class CallPlayed:
    """A brew that the call steered.

    Parameters
    ----------
    hour
        Of the harvest. [h]
    harvested
        Whether the call said so; False: the watch ended.
    tests
        How many were taken.
    advices
        Every call on the way, in order.
    posterior
        What was believed at the end.
    """

    hour: float
    harvested: bool
    tests: int
    advices: tuple[Advice, ...]
    posterior: Posterior


def story_for(world: World, brew: int) -> BrewStory:
    """What a person enters at the start; a feed midway is planned and entered with its hour."""
    known = world.known.rows(np.array([brew]))
    doses = {"molasses": known.molasses_g_per_l, "kelp-powder": known.kelp_g_per_l, "fish-hydrolysate": known.fish_g_per_l}
    foods: list[dict[str, object]] = [{"food": key, "g_per_l": float(dose[0])} for key, dose in doses.items() if dose[0] > 0.0]
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


def kit_for(elapsed_h: float, value: float, error: AssayError = KIT) -> Measurement:
    """A result [ug C/mL] of a test whose error the person knows from its characterisation."""
    return Measurement(elapsed_h=elapsed_h, value=max(value, 0.0), error=error, assay="kit")


def with_log_until(story: BrewStory, world: World, brew: int, now_h: float) -> BrewStory:
    """The story with what the probe and the thermometer have logged so far."""
    seen = (world.times_h <= now_h) & (world.times_h > 0.0)
    if not seen.any():
        return story
    hours = world.times_h[seen]
    return replace(
        story,
        oxygen=Log(elapsed_h=hours, values=world.probe[brew, seen]),
        temperature=Log(elapsed_h=hours, values=world.thermometer[brew, seen]),
    )


def call_at(
    story: BrewStory,
    now_h: float,
    tests_left: int,
    *,
    past: list[Past] | None = None,
    on_gpu: bool = False,
    price: float = PRICE,
    kit: Measurement | None = None,
    effort: Effort | None = None,
) -> tuple[Posterior, Advice]:
    """Posterior and advice as a brewer is given them.

    Parameters
    ----------
    story
        What is known.
    price
        Of a test, where a full brew is worth 100. [-]
    kit
        The next test; the plain one if left out.
    """
    posterior = infer_brew(story, seed=1, past=past, on_gpu=on_gpu, effort=effort)
    kit = kit or kit_for(0.0, 1.0)
    return posterior, advise(posterior, now_h=now_h, costs=Costs(test=price), tests_left=tests_left, kit=kit, seed=1)


def call_plays(
    world: World,
    brew: int,
    tests: int,
    *,
    with_log: bool,
    test: Callable[[float], Sequence[Measurement]],
    bare: BrewStory | None = None,
    first_kit: Measurement | None = None,
    past: list[Past] | None = None,
    on_gpu: bool = False,
    price: float = PRICE,
    ask_again_h: float = ASK_AGAIN_H,
    effort: Effort | None = None,
) -> CallPlayed:
    """A brew harvested as the call says, asked again every so many hours where there is a log.

    Parameters
    ----------
    world, brew
        What is played.
    tests
        How many may be taken.
    with_log
        Whether probe and thermometer are read.
    test
        All results once a test is taken at an hour [h]: those so far with the new one, their errors as known by then.
    bare
        What is known at the start, if it is not what the world says.
    first_kit
        What the first test is believed to be like; later ones are like the last.
    price
        Of a test, where a full brew is worth 100. [-]
    """
    end = float(world.times_h[-1])
    bare = story_for(world, brew) if bare is None else bare
    now, left, seen = 0.0, tests, tuple[Measurement, ...]()
    advices: list[Advice] = []
    while True:
        story = replace(bare.until(now), measurements=seen)  # what will happen is entered when it happens
        story = with_log_until(story, world, brew, now) if with_log else story
        kit = seen[-1] if seen else first_kit
        posterior, advice = call_at(story, now, left, past=past, on_gpu=on_gpu, price=price, kit=kit, effort=effort)
        advices.append(advice)
        done = advice.call == "harvest now"
        if not done:
            if with_log and advice.at_h > now + ask_again_h:
                now += ask_again_h
            else:
                now = max(advice.at_h, now)
                if advice.call == "test at":
                    seen, left = tuple(test(now)), left - 1
                else:
                    now = max(now, advice.now_h + NOT_TWICE_H)
        if done or now >= end - 0.5:
            hour = now if done else end
            return CallPlayed(hour=hour, harvested=done, tests=tests - left, advices=tuple(advices), posterior=posterior)
