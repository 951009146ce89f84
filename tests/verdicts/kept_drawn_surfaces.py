"""Kept answers on drawn surfaces: brews that died, that are alike, labels that go along with a factor, and what is claimed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from aerobe.verdicts import LostBrew, Verdict, _judge_surface, _surface_brews, judge
from aerobe.verdicts._surface_design import FittedDesign, Surface, critical_of, flat_of, misfit_of, told_of
from tests.kept_answers import numbers_in, short
from tests.verdicts.kept_inputs import CORNERS, results, surface_trial, surface_values

AT = np.array(CORNERS, dtype=float)
CUBE = np.array([[a, b, c] for a in (-1.0, 1.0) for b in (-1.0, 1.0) for c in (-1.0, 1.0)])
STARS = np.vstack([np.eye(3), -np.eye(3), np.zeros((4, 3))])

to_four = partial(short, digits=4)  # a search ends a little elsewhere on another machine


def drawn_surfaces() -> dict[str, Callable[[], object]]:
    return {
        "forty drawn surfaces: the farthest brew, misfit, flatness, what is told": _designs,
        "brews of one point that are alike, and labels along a factor, sixty times": _labels,
        "verdicts on twelve drawn surfaces": lambda: [_told(_verdict(place)) for place in range(12)],
        "the bar of the best point": lambda: [
            to_four(critical_of(_design(which).unit, 5, _design(which).gains, 0.1)) for which in (0, 2)
        ],
    }


def _design(which: int) -> FittedDesign:
    coded = AT if which < 2 else np.vstack([CUBE, STARS])
    blocks = tuple(f"d{i % 2 if which % 2 else 0}" for i in range(len(coded)))
    return FittedDesign(Surface(coded, blocks, -np.ones(coded.shape[1])), 0.1)


def _designs() -> object:
    rng, found = np.random.default_rng(21), []
    designs = [_design(which) for which in range(4)]
    for place in range(40):
        design = designs[place % 4]
        coded = design.surface.coded
        y = float(rng.choice([0.0, 0.3, 1.0])) * (coded @ rng.normal(0.0, 1.0, coded.shape[1]) - (coded**2).sum(axis=1))
        y = y + rng.normal(0.0, 0.15, len(y))
        y[int(rng.integers(len(y)))] -= float(rng.choice([0.0, 1.0, 3.0]))
        rss = float(((y - design.matrix @ (design.inverse @ y)) ** 2).sum())
        far = _surface_brews.farthest_brew(design, y)
        misfit = misfit_of(design, y, np.array(rss))
        told = told_of(design, np.array([y, y[::-1]])).tolist()
        flat = flat_of(design, y, np.array(rss))
        found.append(to_four([*far, _surface_brews.odd_brew(design, y), None if misfit is None else misfit, flat, told]))
    return found


def _labels() -> object:
    rng, found = np.random.default_rng(22), []
    codes = sorted(set(CORNERS))
    for place in range(60):
        along = float(rng.choice([0.0, 0.4, 0.8]))
        labels = [f"L{int(at[place % 2] > 0) if rng.random() < along else int(rng.integers(2 + place % 3))}" for at in CORNERS]
        values = surface_values(noise=float(10.0 ** rng.uniform(-3.0, 0.5)))
        values[8:] = np.round(values[8:], int(rng.integers(1, 5)))
        values[9] = values[8] if place % 3 == 0 else values[9]
        values[8:] = values[8] if place % 7 == 0 else values[8:]
        made = results(values.tolist(), [codes.index(code) for code in CORNERS], [f"p{i}" for i in range(len(codes))])
        alike = _surface_brews.alike_at_points(made, values, are_logs=True)
        once = _surface_brews.standard_once(made[place % 12 :], "p0", stands_without=place % 5 == 0)
        found.append([_judge_surface._go_together(AT, labels), None if alike is None else alike.name, once is not None])
    return found


def _verdict(place: int) -> Verdict:
    rng = np.random.default_rng([23, place])
    outcome = ("biomass", "cost per biomass", "score")[place % 3]
    trial, made = surface_trial((float(rng.uniform(-0.6, 1.2)), float(rng.uniform(-1.0, 1.0))), outcome)
    noise = np.exp(rng.normal(0.0, float(rng.choice([0.02, 0.2])), len(made)))
    made = [replace(one, value=one.value * float(by)) for one, by in zip(made, noise, strict=True)]
    if place % 4 == 1:
        made[9] = replace(made[9], value=0.02 * made[9].value)  # one of four in the middle
    if place % 4 == 3:
        made[5] = replace(made[5], value=0.02 * made[5].value)  # alone at its point
    if place % 5 == 2:
        made = [replace(one, elapsed_h=24.0 + 0.3 * i, confounders={"lot": f"L{i % 3}"}) for i, one in enumerate(made)]
    if place % 6 == 5:
        made = [replace(one, colour_sensitive=True, bias_log_sd=0.02 * (i % 3)) for i, one in enumerate(made)]
    lost = [LostBrew(arm="p4")] * (place % 7)
    return judge(trial, made, margin=0.7 if outcome == "score" else 1.1 + 0.1 * (place % 2), lost=lost)


def _told(verdict: Verdict) -> object:
    one = verdict.comparisons[0]
    seen = [one.effect, one.error, one.df, one.family_low, one.family_high, one.probability_above, one.probability_same]
    calls = [one.call, one.signal_call, one.held_by, one.worthwhile, verdict.left_out, len(verdict.with_all)]
    figures = [numbers_in(text) for text in (verdict.headline, one.because)]
    kind = "" if verdict.surface is None else verdict.surface.kind
    return to_four(
        [seen, calls, [verdict.brew_sd_low, verdict.brew_sd_high], [rival.name for rival in verdict.rivals], kind, figures]
    )
