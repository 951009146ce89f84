"""Pictures of practice and lessons: the word is on every one, the headline says what was computed and nothing of any recipe."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from aerobe.charts import SIZES, Poster, poster_png, poster_svg
from aerobe.errors import NotAllowed
from aerobe.practice import LESSONS, PracticeChoices, begun, moved, outcome_of, waited
from aerobe.usecases.practice import learn, poster_of_lesson, poster_of_practice
from aerobe.usecases.practice._posters import poster_of_outcome
from tests.reports.test_showing import texts

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
VERDICTS = ("better", "worse", "best", "proves", "works", "safe")


def marked(poster: Poster) -> None:
    for size in SIZES:
        said = texts(poster_svg(poster, size))
        assert "PRACTICE" in said and "2026-05-01" in said
        assert all(word in said for word in poster.headline.split())


def test_of_200_harvests_no_headline_claims_more_than_was_caught() -> None:
    one = moved(waited(moved(waited(begun("practice-1", 5, PracticeChoices()), 14.0), "test"), 24.0), "harvest")
    real, rng = outcome_of(one), np.random.default_rng(9)
    for _ in range(200):
        out = replace(
            real,
            harvested_h=float(rng.integers(1, 145)) / 2.0,
            caught=float(rng.uniform(0.0, 1.0)),
            tests=int(rng.integers(0, 9)),
            clock_caught=float(rng.uniform(0.0, 1.0)),
        )
        poster = poster_of_outcome(out, (), 5, NOW)
        told = [float(number) for number in re.findall(r"\d+\.?\d*", poster.headline)]
        assert told == [out.harvested_h, round(100 * out.caught)] and "simulated" in poster.headline
        assert not any(re.search(rf"\b{word}\b", f"{poster.headline} {poster.sure}") for word in VERDICTS)
        assert "One simulated brew" in poster.sure and "nothing of any recipe" in poster.sure
        assert poster.mark == "practice" and "nothing of it was measured" in poster.source
    marked(poster_of_practice(one, now=NOW))
    assert poster_png(poster_of_practice(one, now=NOW), "square", scale=0.25)[:4] == b"\x89PNG"


def test_a_brew_under_air_keeps_its_curtain_closed() -> None:
    with pytest.raises(NotAllowed, match="curtain"):
        poster_of_practice(begun("practice-1", 5, PracticeChoices()), now=NOW)


@pytest.mark.parametrize("key", [one.key for one in LESSONS])
def test_a_lesson_s_headline_is_what_was_computed(key: str) -> None:
    learnt = learn(key, None)
    poster = poster_of_lesson(learnt, now=NOW)
    assert poster.headline == learnt.found.surprise and poster.sure.startswith("Computed, not measured.")
    marked(poster)
