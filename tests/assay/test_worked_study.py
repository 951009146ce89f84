"""The invented study holds the truth that its words tell: means over many of its seeds, within four standard errors."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.assay import Study, StudyReading, invented_study

FIRST_BENCH = math.exp(0.05) * math.exp(0.04) * 1.02  # lot A, day 1, the first person


@cache
def studies() -> tuple[Study, ...]:
    return tuple(invented_study(seed=seed) for seed in range(40))


def read(wanted: Callable[[StudyReading], bool]) -> np.ndarray:
    return np.array([item.signal for study in studies() for item in study.readings if wanted(item)])


def near(found: np.ndarray, mean: float, sd: float) -> None:
    size = math.sqrt(found.size)
    assert found.mean() == approx(mean, abs=4.0 * sd / size + 0.05)
    assert found.std(ddof=1) == approx(sd, rel=4.0 / math.sqrt(2.0 * found.size) + 0.02)


def scatter(net: float) -> float:
    return math.sqrt(4.0**2 + (0.10 * net) ** 2 + 1.0 / 12.0)  # and rounding to whole numbers


def test_the_study_is_as_large_as_its_words_say() -> None:
    study = studies()[0]
    counts = {role: len(study.of(role)) for role in ("water blank", "filtered blank", "killed control", "colourant", "spike")}
    assert counts == {"water blank": 8, "filtered blank": 8, "killed control": 8, "colourant": 24, "spike": 6}
    teas = study.of("sample")
    assert len(teas) == 2 * 2 * 2 * 2 * 2 * 2 + 4 * 3 and len({item.sample for item in teas} - {""}) == 16
    assert (study.scale_low, study.scale_high, study.price) == (3.0, 600.0, 4.0)
    assert sorted({item.dilution for item in teas}) == [1.0, 2.0, 4.0, 8.0, 16.0]
    assert invented_study() == invented_study(seed=7)


def test_blanks_below_the_lowest_mark_are_marked() -> None:
    # scipy: eight and a normal error of four, rounded; under three it reads "below 3".
    marks = np.arange(-30, 60)
    chance = np.diff(stats.norm.cdf(np.arange(-30.5, 60.0), 8.0, 4.0))
    blanks = read(lambda item: item.role == "water blank")
    assert blanks.mean() == approx(float((np.maximum(marks, 3) * chance).sum()), abs=4.0 * 4.0 / math.sqrt(blanks.size))
    below = [item.below_detection for study in studies() for item in study.of("water blank")]
    assert np.mean(below) == approx(float(chance[marks < 3].sum()), abs=4.0 * math.sqrt(0.08 / len(below)))
    assert all(item.signal == 3.0 for study in studies() for item in study.readings if item.below_detection)


@pytest.mark.parametrize(("what", "colour", "slope"), [("leaf-mould brew", 0.40, 45.0), ("worm-cast brew", 0.25, 25.0)])
def test_controls_read_the_background_and_their_colour(what: str, colour: float, slope: float) -> None:
    controls = read(lambda item: item.role in ("filtered blank", "killed control") and item.what == what)
    near(controls, 8.0 + slope * colour, scatter(slope * colour))
    assert {item.colour for item in studies()[0].of("killed control") if item.what == what} == {colour}


@pytest.mark.parametrize(("what", "slope"), [("humic extract", 60.0), ("molasses", 30.0), ("dark compost", 50.0)])
def test_coloured_things_read_by_their_slopes(what: str, slope: float) -> None:
    for colour in (0.1, 0.2, 0.4, 0.8):
        found = read(
            lambda item, colour=colour: item.role == "colourant" and item.what == what and item.colour == colour  # type: ignore[misc]
        )
        assert found.size == 80
        if slope * colour > 10.0:  # above the lowest mark
            near(found, 8.0 + slope * colour, scatter(slope * colour))


def test_spikes_and_dilutions_are_read_at_the_first_bench() -> None:
    net = (120.0 + 150.0) * FIRST_BENCH + 45.0 * 0.40
    near(read(lambda item: item.role == "spike"), 8.0 + net, scatter(net))
    assert {item.added for item in studies()[0].of("spike")} == {150.0}
    for dilution in (2.0, 4.0, 8.0, 16.0):
        net = (310.0 * FIRST_BENCH + 25.0 * 0.25) / dilution
        near(read(lambda item, d=dilution: item.role == "sample" and item.dilution == d), 8.0 + net, scatter(net))  # type: ignore[misc]


@pytest.mark.parametrize(("what", "biomass", "signal"), [("leaf-mould brew", 120.0, 18.0), ("worm-cast brew", 310.0, 6.25)])
def test_lots_days_people_and_samples_add_their_shares(what: str, biomass: float, signal: float) -> None:
    teas = [
        item for study in studies() for item in study.of("sample") if item.what == what and item.dilution == 1.0 and item.sample
    ]
    net = np.array([item.signal - 8.0 - signal for item in teas])
    assert len(net) == 40 * 32 and net.mean() == approx(biomass, rel=0.02)
    for ratio, name, first in ((0.10, "kit_lot", "A"), (0.08, "day", "1"), (math.log(1.02 / 0.98), "operator", "Ansa")):
        mark = np.array([getattr(item, name) == first for item in teas])
        assert mark.mean() == 0.5 and math.log(net[mark].mean() / net[~mark].mean()) == approx(ratio, abs=0.025)
    # On paper: two tests of a sample differ by the test alone; their mean scatters by the sample and half of that.
    pairs = np.log(np.maximum(net, 1.0)).reshape(-1, 2)
    test = float(np.var(pairs[:, 0] - pairs[:, 1]) / 2.0)
    bench = np.array([[item.kit_lot == "A", item.day == "1", item.operator == "Ansa"] for item in teas[::2]]) @ np.array(
        [0.10, 0.08, math.log(1.02 / 0.98)]
    )
    assert math.sqrt(max(float(np.var(pairs.mean(axis=1) - bench)) - test / 2.0, 0.0)) == approx(0.05, abs=0.012)
