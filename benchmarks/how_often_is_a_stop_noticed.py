"""How often a stop of the air is noticed in the oxygen log alone, and how often one is where none was.

Brews of the worlds to tune on:
python -m benchmarks.how_often_is_a_stop_noticed [--brews 60] [--step 0.1] [--seed 2] [--worlds NAME ...]
Counted are stops of 1, 2 and 4 h at hours 4, 9 and 14 where the brew takes up at least 2 mg/L/h and has more than 0.5 mg/L
left to lose; the log goes on for three hours after the air. In the world of the air (stuffy) one brew in four has a stop of its
own, which is the truth and counted apart.
"""

from __future__ import annotations

import argparse

import numpy as np

from aerobe.inference import AirStop, find_stops
from aerobe.oxygen import saturation_mg_per_l
from aerobe.worlds import TUNING, World, make_world, with_pump_stop

NEAR_H = 0.6  # a stop found so near to its beginning is that stop [h]


def stops_seen(world: World, brew: int, until_h: float, step_h: float = 0.1) -> tuple[AirStop, ...]:
    """What the probe of a brew shows until an hour, as a person would have it."""
    every = max(1, round(step_h / 0.1))
    seen = (world.times_h > 0.0) & (world.times_h <= until_h)
    hours, shown = world.times_h[seen][::every], world.probe[brew, seen][::every]
    most = saturation_mg_per_l(np.clip(world.thermometer[brew, seen][::every], 0.0, 40.0))
    fed = (float(world.known.feed_at_h[brew]),) if world.known.feed_g_per_l[brew] > 0.0 else ()
    return find_stops(hours, shown, most, fed)


def uptake_at(world: World, brew: int, hour: float) -> float:
    """Uptake as the true fall of the first minutes without air shows it; 0 where there is nothing left to lose. [mg/L/h]"""
    place = round(hour / 0.1)
    oxygen = world.courses.oxygen[brew]
    return float((oxygen[place] - oxygen[place + 2]) / 0.2) if oxygen[place] > 0.5 else 0.0


def stopped_by_itself(world: World, brew: int) -> bool:
    """Whether the world's own law stops the air of a brew."""
    hidden = list(world.law.hidden)
    return "stops" in hidden and bool(world.scores[brew, hidden.index("stops")] > 0.5)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--brews", type=int, default=60)
    parser.add_argument("--seed", type=int, default=2, help="1 was used to tune")
    parser.add_argument("--step", type=float, default=0.1, help="hours between values of the log")
    parser.add_argument("--worlds", nargs="*", default=sorted(TUNING))
    asked = parser.parse_args()
    print("world       false notices   stops of 1 h   of 2 h   of 4 h noticed   while off   end right")
    for name in asked.worlds:
        world = make_world(TUNING[name], asked.brews, asked.seed)
        quiet = [brew for brew in range(asked.brews) if not stopped_by_itself(world, brew)]
        wrong = sum(bool(stops_seen(world, brew, 72.0, asked.step)) for brew in quiet)
        cells, off_seen, ends, two_or_more = [], 0, 0, 0
        for hours in (1.0, 2.0, 4.0):
            count = noticed = 0
            for off in (4.0, 9.0, 14.0):
                stopped = with_pump_stop(world, off, hours, 3)
                for brew in quiet:
                    if uptake_at(stopped, brew, off) < 2.0:
                        continue
                    count += 1
                    near = [s for s in stops_seen(stopped, brew, off + hours + 3.0, asked.step) if abs(s.off_h - off) < NEAR_H]
                    noticed += bool(near)
                    if hours >= 2.0:
                        two_or_more += 1
                        ends += bool(near) and near[0].on_h is not None and abs(near[0].on_h - off - hours) < 0.5
                        now = stops_seen(stopped, brew, off + hours - 0.05, asked.step)
                        off_seen += any(abs(s.off_h - off) < NEAR_H and s.on_h is None for s in now)
            cells.append(f"{noticed}/{count}")
        print(
            f"{name:<11} {wrong}/{len(quiet):<13} {'   '.join(cells)}   {off_seen}/{two_or_more}   {ends}/{two_or_more}",
            flush=True,
        )


if __name__ == "__main__":
    main()
