"""An ended brew looked back at: band, best hours and what was forgone; worked out once and kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from aerobe import usecases
from aerobe.notebook import Notebook
from aerobe.records import Assay, AssayError, Harvest
from aerobe.usecases.brews import _hindsight
from tests.notebook.conftest import NOW, furnish, reading

# Rises threefold, stands at its height about 20 h, and halves until 44 h: invented.
COURSE = ((0.0, 30.0), (8.0, 60.0), (14.0, 95.0), (20.0, 110.0), (26.0, 100.0), (34.0, 75.0), (44.0, 50.0))
LATER = NOW + timedelta(days=9)


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Notebook]:
    path: Path = tmp_path_factory.mktemp("hindsight")
    with usecases.notebook.open_notebook(path / "tea.notebook", at=NOW) as notebook:
        furnish(notebook)
        error = AssayError(constant_sd=2.0, proportional_cv=0.05, gain_log_sd=0.1)
        notebook.change(replace(notebook.get(Assay, "card"), error=error), at=NOW)
        for place, (hour, signal) in enumerate(COURSE):
            notebook.add(reading(f"r{place}", hour=hour, signal=signal), at=NOW)
        notebook.add(Harvest(brew="b1", elapsed_h=8.0, smell="earthy"), at=NOW)
        yield notebook


@pytest.fixture(scope="module")
def early(book: Notebook) -> usecases.brews.Hindsight:
    return usecases.brews.look_back_at(book, "b1", LATER)


def test_a_harvest_before_the_height_has_forgone_what_the_readings_say(early: usecases.brews.Hindsight) -> None:
    """From the readings alone: 60 at harvest of 110 at the height, so about 45 % was forgone."""
    assert early.settled and early.harvested and early.measured
    assert early.forgone is not None and early.forgone_low is not None and early.forgone_high is not None
    assert early.forgone == approx(1.0 - 60.0 / 110.0, abs=0.08)
    assert early.forgone_low <= early.forgone <= early.forgone_high
    assert 14.0 <= early.window.start_h <= early.window.best_h <= early.window.end_h <= 28.0
    assert early.says.startswith("Harvested at 8 h. The model's best time in hindsight was ") and "was missed" in early.says
    assert "call" not in early.says.lower()


def test_the_band_is_that_of_the_model_and_ends_with_what_is_known(book: Notebook, early: usecases.brews.Hindsight) -> None:
    posterior = usecases.brews.infer_history(book, usecases.notebook.brew_history(book, "b1"), now=LATER, reach_h=8.0)
    bands = early.forecast
    assert len(bands.times_h) <= 161 and bands.times_h[-1] == approx(44.0, abs=0.5)
    low, high = (np.quantile(posterior.biomass, share, axis=0) for share in (0.05, 0.95))
    for kept, whole in ((bands.biomass[0], low), (bands.biomass[2], high)):
        assert kept == approx(np.interp(bands.times_h, posterior.times_h, whole), rel=1e-3)


def test_it_is_worked_out_once_and_anew_when_a_reading_is_mended(
    book: Notebook, early: usecases.brews.Hindsight, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_fit(*_: object, **__: object) -> None:
        raise RuntimeError("a fit")

    with monkeypatch.context() as patched:
        patched.setattr(_hindsight, "infer_history", no_fit)
        again = usecases.brews.look_back_at(book, "b1", LATER + timedelta(days=3))
        assert again.says == early.says and again.window == early.window
        assert again.forecast.biomass[1] == approx(early.forecast.biomass[1], rel=1e-4)
        book.change(replace(usecases.notebook.brew_history(book, "b1").harvest, elapsed_h=20.0), at=LATER)  # type: ignore[type-var]
        with pytest.raises(RuntimeError, match="a fit"):
            usecases.brews.look_back_at(book, "b1", LATER)
    before = usecases.brews.brew_version(book, "b1")
    at_the_height = usecases.brews.look_back_at(book, "b1", LATER)
    assert at_the_height.forgone is not None and early.forgone is not None and at_the_height.forgone < 0.3 * early.forgone
    # What is kept of it is no change of the brew: else each look would call for the next.
    assert len(book.kept("hindsight", "b1")) == 2 and usecases.brews.brew_version(book, "b1") == before


def test_a_brew_never_closed_and_a_brew_never_measured_say_so(tmp_path: Path) -> None:
    with usecases.notebook.open_notebook(tmp_path / "tea.notebook", at=NOW) as notebook:
        furnish(notebook)
        unseen = usecases.brews.look_back_at(notebook, "b1", LATER)
        assert not unseen.measured and "not what was seen" in unseen.says and "was missed" not in unseen.says
        notebook.add(reading("r1", hour=10.0, signal=80.0), at=NOW)
        left = usecases.brews.look_back_at(notebook, "b1", LATER)
        assert left.forgone is None and (not left.settled or left.says.endswith("It was never closed."))


def test_a_brew_of_unknown_recipe_has_a_hindsight_of_its_readings(tmp_path: Path) -> None:
    content = b"treatment,bottle,hours,biomass (ug C/mL)\na,1,0,30\na,1,12,90\na,1,24,200\na,1,40,60\n"
    with usecases.notebook.open_notebook(tmp_path / "tea.notebook", at=NOW) as notebook:
        brew = usecases.exchange.take_in(notebook, content, "two.csv", now=NOW).brews[0]
        for _ in range(2):  # as worked out, and as kept
            found = usecases.brews.look_back_at(notebook, brew, LATER)
            assert 16.0 < found.window.best_h < 34.0 and found.forecast.oxygen is None
            assert any("readings alone" in note for note in found.notes)
