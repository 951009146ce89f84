"""People who brew one recipe six times: is the call better for what it learned, and what would a clock of their own reach?

The person's own best fixed hour is known in hindsight only, over the very brews that are judged; no call can count on it.
"""

from __future__ import annotations

import time
from dataclasses import asdict
from functools import lru_cache

import numpy as np

from aerobe.worlds import WORLDS, World, make_people
from benchmarks.elsewhere import aerobe_plays

PEOPLE, BREWS = 48, 6
JUDGED_FROM = 2  # the third brew
SPARSE_FROM = 4  # the fifth brew
# Tests in each brew, and whether the earlier brews are given to the call.
WAYS = {
    "alone": ((3,) * BREWS, False),
    "past": ((3,) * BREWS, True),
    "sparse": ((3,) * SPARSE_FROM + (1,) * (BREWS - SPARSE_FROM), True),
}


@lru_cache(maxsize=2)
def people_of(key: str, seed: int) -> World:
    """The brews of all people of a world."""
    return make_people(WORLDS[key], PEOPLE, BREWS, seed)


def play_person(job: tuple[str, int, int, str, bool]) -> list[dict[str, object]]:
    """All brews of one person, in order: lines of the results."""
    from aerobe.inference import learn_from

    key, seed, person, way, on_gpu = job
    world, (tests, learns) = people_of(key, seed), WAYS[way]
    lines, pasts = [], []
    for nth in range(BREWS):
        brew, began = person * BREWS + nth, time.perf_counter()
        given = list(pasts) if learns else []
        went, posterior = aerobe_plays.play(world, brew, tests[nth], False, seed, past=given or None, on_gpu=on_gpu)
        shared = {"same_compost": True, "same_recipe": True, "same_vessel": True}
        if learns:
            pasts.append(posterior.as_past(**shared, shift=learn_from(given)))
        line = {"world": key, "seed": seed, "brew": brew, "person": person, "nth": nth, "way": f"people-{way}"}
        line |= {"lost": world.forgone(brew, went.hour), **asdict(went), "seconds": round(time.perf_counter() - began, 2)}
        lines.append(line)
    return lines


def own_best_hour(world: World, person: int, from_nth: int) -> np.ndarray:
    """What the person's brews from the nth on lose at the one hour that is best for them, in hindsight."""
    rows = np.arange(person * BREWS + from_nth, (person + 1) * BREWS)
    lost = 1.0 - world.biomass[rows] / world.biomass[rows].max(axis=1, keepdims=True)
    return lost[:, lost.mean(axis=0).argmin()]


def _mean(values: list[float]) -> str:
    each = 100.0 * np.array(values)
    error = each.std(ddof=1) / np.sqrt(len(each)) if len(each) > 1 else np.nan
    return f"{each.mean():5.1f} +- {error:.1f}"


def show_people(rows: list[dict], worlds: list[str], seed: int) -> None:
    """Print what people lose from the third brew on and, with one test a brew, from the fifth on; errors are over people."""
    print("# lost in per cent; from: the first brew that is judged; sparse: one test a brew from the fifth on")
    heads = " ".join(f"{name:>12s}" for name in ("own hour", *WAYS, "past - alone"))
    print(f"{'world':10s} {'from':>5s} {'people':>6s} {heads}")
    for key in worlds:
        here = [r for r in rows if r["world"] == key and r["seed"] == seed and str(r["way"]).startswith("people-")]
        for first in (JUDGED_FROM, SPARSE_FROM) if here else ():
            lost = {way: _by_person(here, way, first) for way in WAYS}
            people = sorted(set().union(*lost.values()))
            own = {p: float(own_best_hour(people_of(key, seed), p, first).mean()) for p in people}
            cells = [_mean([lost[way][p] for p in people if p in lost[way]]) if lost[way] else "" for way in WAYS]
            both = [p for p in people if p in lost["past"] and p in lost["alone"]]
            gain = _mean([lost["past"][p] - lost["alone"][p] for p in both]) if both else ""
            print(
                f"{key:10s} {first + 1:5d} {len(people):6d} {_mean(list(own.values())):>12s} "
                + " ".join(f"{cell:>12s}" for cell in cells)
                + f" {gain:>12s}",
                flush=True,
            )


def _by_person(rows: list[dict], way: str, first: int) -> dict[int, float]:
    people: dict[int, list[float]] = {}
    for r in rows:
        if r["way"] == f"people-{way}" and r["nth"] >= first:
            people.setdefault(r["person"], []).append(float(r["lost"]))
    return {person: float(np.mean(lost)) for person, lost in people.items()}
