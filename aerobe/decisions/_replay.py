"""What the call would have been at each past hour."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from aerobe.decisions._advice import Advice, advise
from aerobe.inference import BrewStory, Effort, Measurement, Past, infer_brew
from aerobe.records import AimChoice, Costs
from aerobe.safety import Gate


def replay(
    story: BrewStory,
    hours: Sequence[float],
    *,
    aim: AimChoice | None = None,
    costs: Costs | None = None,
    tests_left_at: Callable[[float], int] = lambda hour: 0,
    kit: Measurement | None = None,
    gates_at: Callable[[float], tuple[Gate, ...]] = lambda hour: (),
    past: list[Past] | None = None,
    seed: int = 1,
    effort: Effort | None = None,
    progress: Callable[[float], None] = lambda share: None,
) -> list[Advice]:
    """The advice at each hour, from what was known then and no later.

    Parameters
    ----------
    story
        The whole brew.
    hours
        When to ask, since aeration began. [h]
    tests_left_at
        How many tests were free to be spent at an hour [h]; at least those that the story holds later, since they were taken.
    gates_at
        Gates as they stood at an hour. [h]
    """
    out = []
    for place, hour in enumerate(hours):
        seen = story.until(hour)
        posterior = infer_brew(seen, seed=seed, past=past, effort=effort)
        later = sum(item.elapsed_h > hour for item in story.measurements)
        left, gates = max(tests_left_at(hour), later), gates_at(hour)
        out.append(advise(posterior, now_h=hour, aim=aim, costs=costs, tests_left=left, kit=kit, gates=gates, seed=seed))
        progress((place + 1) / len(hours))
    return out
