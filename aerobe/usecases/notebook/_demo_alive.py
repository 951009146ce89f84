"""The invented brew that still bubbles: its probe goes on reading while somebody looks."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from aerobe.notebook import Notebook
from aerobe.records import Brew, Harvest
from aerobe.usecases.notebook._demo import demo_logs, live_course
from aerobe.usecases.notebook._demo_shelf import INVENTED, PROBE_NAME
from aerobe.usecases.notebook._demo_trials import LIVE, demo_runs

EVERY_H = 0.1  # a longer gap is filled up, to the minute [h]
LIVES_H = 72.0  # what is left without a harvest for longer is left alone [h]


def keep_demo_alive(notebook: Notebook, *, now: datetime) -> int:
    """Log what the demo's probe would have read since its last point; gives the number of new points.

    Nothing happens in a notebook that is no demo, once its brew is harvested, or after three days. The readings continue the
    very course that the demo was made from.

    Parameters
    ----------
    now
        The present.
    """
    made = notebook.setting("demo")
    if not isinstance(made, dict) or "made_at" not in made:
        return 0
    seed, runs = int(str(made["seed"])), demo_runs(datetime.fromisoformat(str(made["made_at"])))
    run = next(run for run in runs if run.key == LIVE)
    brews = [brew for brew in notebook.find(Brew) if brew.key == run.key and brew.notes == INVENTED]
    if not brews or any(item.brew == run.key for item in notebook.find(Harvest)):
        return 0
    now_h = brews[0].hours_at(now)
    times, _ = notebook.log(run.key, "oxygen", probe=PROBE_NAME, from_h=now_h - LIVES_H)
    last_h = float(times[-1]) if len(times) else now_h
    if now_h > LIVES_H or now_h - last_h < EVERY_H:
        return 0
    course = live_course(run, seed=seed)
    # Another gap gets other noise, and the same gap the same.
    rng = np.random.default_rng([seed, round(60.0 * last_h)])
    points = 0
    for log in demo_logs(replace(run, until_h=now_h), course, rng, from_h=last_h + 1.0 / 60.0):
        points += notebook.append_log(log, at=now).points
    return points
