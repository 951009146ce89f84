"""The foreign worlds: brews that look like brews, a solver that is right, and nothing of the model inside."""

from __future__ import annotations

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import aerobe.worlds as worlds
from aerobe.sources import all_sources
from aerobe.worlds import END_H, HELD_OUT, TUNING, WORLDS, World, ensemble, make_people, make_world, with_pump_stop
from aerobe.worlds._march import march, outside, saturation

ROOM = Path(worlds.__file__).parent
BREWS = 24


@cache
def some(key: str) -> World:
    """A few brews of a world."""
    return make_world(WORLDS[key], BREWS, 1)


@pytest.mark.parametrize("key", WORLDS)
def test_a_world_brews(key: str) -> None:
    world = some(key)
    for course in (world.courses.bacteria, world.courses.fungi, world.courses.oxygen, world.probe):
        assert np.isfinite(course).all() and (course >= 0.0).all()
    assert (world.courses.oxygen <= saturation(world.temperature).max() + 0.5).all()
    peak = world.times_h[world.biomass.argmax(axis=1)]
    assert 14.0 <= np.median(peak) <= 34.0 and np.mean((peak >= 6.0) & (peak <= 66.0)) >= 0.8
    assert 3.0 <= np.median(world.biomass.max(axis=1) / world.biomass[:, 0]) <= 30.0
    # Most fall visibly before the end: a world in which waiting never hurts would teach nothing.
    assert np.mean(world.biomass[:, -1] < 0.85 * world.biomass.max(axis=1)) >= 0.6


@pytest.mark.parametrize("key", WORLDS)
def test_no_more_living_carbon_than_the_foods_hold(key: str) -> None:
    known, world = some(key).known, some(key)
    # All carbon of what was put in, compost at most 60 mg C/g that could ever dissolve or live.
    most = 250.0 * known.molasses_g_per_l + 250.0 * known.kelp_g_per_l + 150.0 * known.fish_g_per_l + 60.0 * known.compost_g_per_l
    assert (world.biomass.max(axis=1) < most + 250.0 * known.feed_g_per_l).all()


@pytest.mark.parametrize("key", WORLDS)
def test_the_steps_are_short_enough(key: str) -> None:
    world = some(key)
    known, scores = world.known.rows(np.arange(4)), world.scores[:4]
    coarse, fine = (march(world.law, known, scores, every_h=0.5, step_h=step) for step in (0.05, 0.025))
    assert np.abs(coarse.biomass / fine.biomass - 1.0).max() < 0.03


def test_the_solver_agrees_with_a_reference_library() -> None:
    """The same slopes through scipy's stiff solver (LSODA) at a tight tolerance."""
    world = some("guilds")
    law, known = world.law, world.known.rows(np.arange(1))
    terms = law.terms(world.scores[:1])

    def slopes(t: float, y: np.ndarray) -> np.ndarray:
        made, lost = np.zeros((len(y), 1)), np.zeros((len(y), 1))
        law.rates(t, np.maximum(y, 0.0)[:, None], terms, outside(known, terms, t), made, lost)
        return (made - lost)[:, 0]

    start = law.begin(known, terms)[:, 0]
    right = solve_ivp(slopes, (0.0, END_H), start, method="LSODA", rtol=1e-7, atol=1e-7, t_eval=np.arange(0.0, END_H, 6.0))
    ours = march(law, known, world.scores[:1], every_h=0.1, step_h=0.02)
    biomass = right.y[:3].sum(axis=0)
    assert np.allclose(np.interp(right.t, ours.times_h, ours.biomass[0]), biomass, rtol=0.01)


def test_a_seed_stands_for_the_same_brews_and_another_for_others() -> None:
    law = next(iter(TUNING.values()))
    one, same, other = make_world(law, 3, 5), make_world(law, 3, 5), make_world(law, 3, 6)
    assert np.array_equal(one.biomass, same.biomass) and np.array_equal(one.probe, same.probe)
    assert not np.allclose(one.biomass, other.biomass)


def test_a_person_keeps_the_recipe_and_part_of_what_is_hidden() -> None:
    law = next(iter(TUNING.values()))
    world = make_people(law, 20, 6, 1, own=0.6)
    assert (world.known.compost_g_per_l.reshape(20, 6).std(axis=1) < 1e-9).all()
    groups = world.scores.reshape(20, 6, -1)
    between = (groups.mean(axis=1).var(axis=0, ddof=1) - groups.var(axis=1, ddof=1).mean(axis=0) / 6.0).mean()
    assert 0.45 < between < 0.75


def test_a_pump_stop_takes_the_oxygen_and_it_comes_back() -> None:
    world = some("guilds")
    stopped = with_pump_stop(world, 9.0, 4.0, 1)
    at = np.searchsorted(world.times_h, 13.0 - 1e-9)
    assert (stopped.courses.oxygen[:, at] < world.courses.oxygen[:, at] - 0.5).mean() > 0.5
    assert np.allclose(stopped.courses.oxygen[:, :90], world.courses.oxygen[:, :90])


def test_tests_err_as_they_say() -> None:
    world, rng = some("guilds"), np.random.default_rng(2)
    shown = np.array([world.test(3, 24.0, rng) for _ in range(2000)])
    expected = world.assay_gain[3] * world.biomass_at(3, 24.0)
    assert np.median(shown) == pytest.approx(expected, rel=0.02) and np.log(shown).std() == pytest.approx(0.12, abs=0.015)


def test_an_ensemble_has_the_recipe_but_not_the_terms() -> None:
    world = some("crowded")
    courses, scores = ensemble(world, 2, 50, 9)
    assert courses.biomass.shape == (50, 145) and scores.std() > 0.9
    assert courses.biomass[:, -1].std() > 0.0


def test_halves_are_apart_and_many() -> None:
    assert not TUNING.keys() & HELD_OUT.keys() and TUNING.keys() | HELD_OUT.keys() == WORLDS.keys()
    assert all(key == law.key for key, law in WORLDS.items())


@pytest.mark.parametrize("path", sorted(ROOM.glob("_[a-z]*.py")), ids=lambda path: path.stem)
def test_a_law_names_its_sources_and_uses_nothing_of_the_model(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert not {name for name in names if name.startswith("aerobe") and not name.startswith("aerobe.worlds")}
    if any(isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "LAW" for node in tree.body):
        text = ast.get_docstring(tree) or ""
        keys = [
            word.strip(" ,()") for word in text.split("------")[1].replace("\n", " ").split() if word.strip(" ,()")[-4:].isdigit()
        ]
        assert len(keys) >= 3 and set(keys) <= all_sources().keys()


def test_the_room_loads_without_the_model() -> None:
    code = (
        "import sys, aerobe.worlds; "
        "print([m for m in sys.modules if m.startswith(('aerobe.kinetics', 'aerobe.inference', 'numba'))])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_a_new_lot_of_tests_has_another_scale() -> None:
    world, rng = make_world(WORLDS["dormant"], 40, 4), np.random.default_rng(5)
    assert np.isinf(some("guilds").lot_at_h).all() and np.isfinite(world.lot_at_h).all()
    assert np.log(world.lot_factor).std() == pytest.approx(world.lots, rel=0.3)
    brew = int(np.abs(np.log(world.lot_factor)).argmax())
    before, after = world.lot_at_h[brew] - 1e-6, world.lot_at_h[brew] + 1e-6
    shown = [np.median([world.test(brew, float(hour), rng) for _ in range(800)]) for hour in (before, after)]
    assert shown[1] / shown[0] == pytest.approx(world.lot_factor[brew], rel=0.05)
