"""The call plays brews of a world, and what is noted of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aerobe.inference import BrewStory
from aerobe.practice import Played, call_at, call_plays, kit_for, story_for
from aerobe.records import BrewEvent
from aerobe.worlds import END_H, World


def play(
    world: World, brew: int, tests: int, with_log: bool, seed: int, *, past=None, on_gpu: bool = False, bare=None
) -> tuple[Played, object]:
    """A brew harvested as the call says, asked again every two hours where there is a log; and the last posterior."""
    rng, seen = np.random.default_rng([seed, brew, 5]), []

    def test(hour: float):
        seen.append(kit_for(hour, world.test(brew, hour, rng)))
        return seen

    went = call_plays(world, brew, tests, with_log=with_log, test=test, bare=bare, past=past, on_gpu=on_gpu)
    said = {"noticed": float(any(speaks_of_a_stop(advice) for advice in went.advices))} if with_log else {}
    expected = went.advices[-1].expected_loss_now if went.harvested else float("nan")
    inside = held(went.posterior, world, brew)
    return Played(hour=went.hour, tests=went.tests, expected=expected, **said, **inside), went.posterior


def story_with_stop(world: World, brew: int, off_h: float, hours: float) -> BrewStory:
    """What a person enters who sees the air stop at an hour and brings it back so many hours later. [h]"""
    off = BrewEvent(key="off", brew="brew", what="air off", elapsed_h=off_h)
    on = BrewEvent(key="on", brew="brew", what="air on", elapsed_h=off_h + hours)
    return replace(story_for(world, brew), events=(off, on))


def with_recipe_withheld(world: World, brew: int):
    """The story of a brew of which nobody says what went in."""
    story = story_for(world, brew)
    return replace(story, recipe=replace(story.recipe, compost_g_per_l=0.0, foods=()))


def speaks_of_a_stop(advice) -> bool:
    """Whether a call's notes say that the log looks as if the air stood still."""
    return any("stood still" in note for note in advice.notes)


def play_dense(world: World, brew: int, every_h: float, seed: int, *, on_gpu: bool = False) -> Played:
    """A reading every so many hours, whatever the call says, and a harvest when it says so."""
    rng = np.random.default_rng([seed, brew, 6])
    bare, seen = story_for(world, brew), ()
    for hour in np.arange(every_h, END_H + 1e-9, every_h):
        seen = (*seen, kit_for(float(hour), world.test(brew, float(hour), rng)))
        posterior, advice = call_at(replace(bare, measurements=seen), float(hour), 1, on_gpu=on_gpu)  # the next one comes anyway
        if advice.call == "harvest now":
            return Played(hour=float(hour), tests=len(seen), expected=advice.expected_loss_now, **held(posterior, world, brew))
        if advice.call != "test at" and advice.at_h < hour + every_h:  # it would harvest before the next reading
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
