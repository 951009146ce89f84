"""The whole job as one test: a budget of 20 tests and eight buckets, and the question whether molasses raises biomass.

Done twice through the pages, by the same person: in a world where molasses feeds (`north`) and in one where it only colours
(`south`). The truth is that of `world.py`, which the app never sees.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from fastapi.testclient import TestClient
from scipy import stats

from aerobe import usecases
from aerobe.web import ServeSettings, create_app, open_state
from tests.fewer import fewer_courses
from tests.whole_job.browse import PlainBrowser
from tests.whole_job.job import BUCKETS, TESTS, Clock, Person, do_the_job
from tests.whole_job.world import World

SHEET_H = 24.0


def somebody(folder: Path, world: World, clock: Clock, *, name: str) -> Iterator[Person]:
    """A person before an empty notebook of their own."""
    with usecases.notebook.open_notebook(folder / "tea.notebook", at=clock()) as notebook:
        settings = ServeSettings(watching=False, burst=5000, per_s=5000)
        app = create_app(notebook, state=open_state(folder / "app.json"), clock=clock, settings=settings)
        with TestClient(app, base_url="http://localhost") as client:
            yield Person(browse=PlainBrowser(client), clock=clock, world=world, name=name)


@pytest.fixture(scope="module")
def north(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Person]:
    folder = tmp_path_factory.mktemp("north")
    for person in somebody(folder, World(feeds=1.0, seed=3), Clock(), name="Molasses or plain"):
        do_the_job(person)
        person.brew_for_the_beds()
        yield person


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Person]:
    folder = tmp_path_factory.mktemp("planned")
    for person in somebody(folder, World(feeds=1.0, seed=3), Clock(), name="Molasses or plain"):
        person.write_in()
        person.plan()
        yield person


@pytest.fixture(scope="module")
def south(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Person]:
    folder = tmp_path_factory.mktemp("south")
    for person in somebody(folder, World(feeds=0.0, seed=4), Clock(), name="Does molasses pay"):
        with fewer_courses():  # the verdict, for which this world is made, hangs on none; in the other one there are all
            do_the_job(person)
        yield person


def true_ratio(person: Person) -> float:
    """Living biomass with molasses over that without, at the hour of the sheet, of the very brews made. [-]"""
    logs = {
        recipe: [math.log(person.buckets[code].alive(SHEET_H)) for code, of in person.recipes.items() if of == recipe]
        for recipe in ("with-molasses", "plain")
    }
    return math.exp(np.mean(logs["with-molasses"]) - np.mean(logs["plain"]))


def told(verdict: str) -> tuple[float, float, float]:
    """Ratio and 90 % interval on the page of the verdict. [-]"""
    found = re.search(r"is ([\d.]+) \(([\d.]+) to ([\d.]+)\) times that of plain \(90 % interval\)", verdict)
    assert found is not None, verdict[:500]
    return float(found[1]), float(found[2]), float(found[3])


def by_hand(person: Person) -> tuple[float, float, float]:
    """The same from what was written down: Welch's t on log(sample - killed control). [-]

    Source: Welch 1947, Satterthwaite 1946 (from memory), as in any textbook of statistics; critical value from scipy.
    """
    logs = {"plain": [], "with-molasses": []}
    for code, recipe in person.recipes.items():
        logs[recipe].append(math.log(person.typed[code, "sample"][0] - person.typed[code, "killed control"][0]))
    first, second = np.array(logs["with-molasses"]), np.array(logs["plain"])
    shares = [each.var(ddof=1) / len(each) for each in (first, second)]
    free = sum(shares) ** 2 / sum(share**2 / (len(each) - 1) for share, each in zip(shares, (first, second), strict=True))
    half = stats.t.ppf(0.95, free) * math.sqrt(sum(shares))
    middle = first.mean() - second.mean()
    return math.exp(middle), math.exp(middle - half), math.exp(middle + half)


def test_the_planner_says_what_the_budget_cannot_answer_and_promises_the_power_of_the_textbook(planned: Person) -> None:
    unknown, alike, enough = planned.plans
    assert "This budget cannot answer" in unknown and "Make brews more alike first" in unknown
    assert "times instead" not in unknown  # no food is known to change biomass a thousandfold
    assert "This budget cannot answer" in alike and "Make twice as many brews" in alike
    assert "This budget can answer" in enough and f"takes 17 tests of your {TESTS}" in enough
    promised = re.search(r"a difference of ([\d.]+) times would be told (\d+) % of the time", enough)
    assert promised is not None
    # Power of a two-sided t test of four against four by the noncentral t distribution (Cohen 1988; scipy.stats.nct), with the
    # scatter between bottles that the plan names: 0.2 between brews, 0.1 of a test.
    each = BUCKETS // 2
    free = 2 * (each - 1)
    spread, edge = math.hypot(0.2, 0.1), stats.t.ppf(0.975, free)
    far = math.log(float(promised[1])) / (spread * math.sqrt(2 / each))
    power = 1 - stats.nct.cdf(edge, free, far) + stats.nct.cdf(-edge, free, far)
    assert float(promised[2]) / 100 == pytest.approx(power, abs=0.03)  # 4,000 simulated trials and the rounding of a page
    assert sorted(planned.recipes.values()) == ["plain"] * each + ["with-molasses"] * each
    assert planned.sheet.count("800 g compost, 40.0 g molasses, in 20.0 L of water") == each
    assert planned.sheet.count("800 g compost, in 20.0 L of water") == each


def test_the_run_sheet_is_kept_to_and_no_test_beyond_the_budget_is_asked_for(north: Person, south: Person) -> None:
    for person in (north, south):
        made = {
            role: sum(len(held) for (_, of), held in person.typed.items() if of == role)
            for role in ("sample", "killed control", "blank")
        }
        assert made == {"sample": BUCKETS, "killed control": BUCKETS, "blank": 1}
        assert person.spent <= TESTS


def test_a_large_true_effect_is_told(north: Person) -> None:
    ratio, low, high = told(north.verdict)
    assert "with-molasses is better than plain" in north.verdict
    assert low <= true_ratio(north) <= high
    assert (ratio, low, high) == pytest.approx(by_hand(north), rel=0.03)  # two digits stand on the page


def test_a_brown_water_is_not_taken_for_growth(south: Person) -> None:
    raw = {
        recipe: np.mean([south.typed[code, "sample"][0] for code, of in south.recipes.items() if of == recipe])
        for recipe in ("with-molasses", "plain")
    }
    assert raw["with-molasses"] > 1.5 * raw["plain"]  # what the eye, and the kit alone, would have believed
    ratio, low, high = told(south.verdict)
    assert low <= true_ratio(south) <= high
    assert (ratio, low, high) == pytest.approx(by_hand(south), rel=0.03)
    assert re.search(r"with-molasses against plain: (can't tell yet|same within the margin)", south.verdict)
    assert not re.search(r"is (better|worse|higher|lower) than", south.verdict)


def test_the_call_is_followed_to_a_good_harvest(north: Person, south: Person) -> None:
    for person in (north, south):
        assert set(person.harvested_h) == set(person.recipes)
        assert all(person.calls[code][-1].startswith("Harvest now") for code in person.recipes)
    said = north.calls["for the beds"]
    assert any(each.startswith("Test") for each in said)
    assert any(each.startswith("Hold back: settle this first") for each in said)  # and what was settled opened the way
    assert north.last is not None
    # Ours, 2026-11: the call held 99.9 % of this brew's true peak. Guards against a call that is followed in vain.
    assert north.last.alive(north.last_h) >= 0.9 * north.last.biomass.max()


def test_a_use_that_nobody_could_defend_is_held_back(north: Person, south: Person) -> None:
    for person in (north, south):
        # 21 CFR 112.51(b)(5), 112.56(a)(1): fed, so untreated; wetted soil at the leaves that are eaten is contact.
        assert re.search(r"Hold back: (time without air, )?eaten\.", person.use) and "112.56(a)(1)" in person.use, person.use[
            :900
        ]
        assert "Local codes and licensed practice decide." in person.use


def test_what_is_published_is_found_again_and_pools_in_another_notebook(north: Person, south: Person) -> None:
    report, package = north.publish()
    assert report.startswith(b"%PDF") and package.startswith(b"PK")
    assert "numbers were found again" in south.check(package)
    pooled = south.pool(package, "north garden")
    # One garden says fourfold, the other none: two trials that disagree are no finding.
    assert "2 trials: with molasses gives" in pooled and "That does not tell which gives more" in pooled
    # Two trials pool to about the middle of their logs (random effects give them nearly equal weight, DerSimonian & Laird 1986).
    middle = re.search(r"gives ([\d.]+) \(", pooled)
    assert middle is not None
    assert float(middle[1]) == pytest.approx(math.sqrt(by_hand(north)[0] * by_hand(south)[0]), rel=0.1)
    assert "Trials differ beyond their errors" in pooled


def test_the_package_gives_the_same_verdict_in_an_empty_notebook(north: Person, tmp_path: Path) -> None:
    _, package = north.publish()
    for guest in somebody(tmp_path, World(feeds=1.0, seed=9), Clock(now=north.clock()), name=north.name):
        guest.browse.open("/data")
        guest.browse.press("Look at it", file=("north.zip", package, "application/zip"))
        guest.judge()
        assert told(guest.verdict) == told(north.verdict)
