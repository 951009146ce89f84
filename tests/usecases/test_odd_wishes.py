"""What a plan is asked for may be odd: it is refused in words that say what to write instead, never by a fault of ours."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from aerobe.errors import AerobeError
from aerobe.notebook import Notebook, open_notebook
from aerobe.trials import Budget, Scatter
from aerobe.usecases.trials import TrialWish
from tests.usecases.test_judging import START, furnish

PLAIN = {"name": "n", "arms": "plain, kelp", "question": "two recipes", "scatter": "0.3"}
FACTORS = {"question": "factors", "arms": "molasses: 0 / 2; kelp: 0 / 1"}


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "one.notebook", at=START) as notebook:
        furnish(notebook, ("plain", "kelp"))
        yield notebook


def asked(book: Notebook, typed: dict[str, str]) -> tuple[int, Budget, Scatter]:
    """All that a plan reads of a wish before anything is simulated: arms, budget and scatter."""
    wish = TrialWish.from_form({**PLAIN, **typed})
    trial = wish.to_trial(book, planned_at=START)
    wish.to_circumstances(book)
    wish.vessel_keys(book)
    wish.seed_number()
    return len(trial.arms), wish.to_budget(), wish.to_scatter(book, now=START)


REFUSED = [
    ({"question": "vessels", "of_recipe": "plain", "arms": "v, barrel"}, "no vessel 'barrel'"),
    ({"question": "vessels", "of_recipe": "nobody", "arms": "v"}, "no recipe 'nobody'"),
    ({**FACTORS, "arms": "molasses: -1 / 2; kelp: 0 / 1"}, "-1 of molasses cannot be brewed"),
    ({**FACTORS, "arms": "molasses: 0 / 2; kelp: 0 / -3"}, "-3 of kelp cannot be brewed"),
    ({**FACTORS, "arms": "kelp: 0 / 2; kelp: 0 / 1"}, "stands there twice"),
    ({**FACTORS, "arms": "kelp: 1 / 1; molasses: 0 / 1"}, "kelp"),
    ({"question": "dose series", "arms": "-1, 1"}, "cannot be weighed"),
    ({"seed": "-1"}, "0 or more"),
    ({"tests": "-1"}, "0 or more"),
    ({"vessels": "-2"}, "0 or more"),
    ({"vessels": "1.5"}, "no whole number"),
    ({"scatter_brews": "0"}, "show no scatter"),
    ({"scatter_brews": "-4"}, "show no scatter"),
    ({"margin": "0.5"}, "outside 1 to 1000"),
    ({"arms": "plain, plain"}, "share a key"),
    ({"arms": ";;"}, "no arms"),
    ({"lost": "1.5"}, "lost"),
]


@pytest.mark.parametrize(("typed", "said"), REFUSED, ids=[f"{list(typed.values())}" for typed, _ in REFUSED])
def test_what_cannot_be_planned_is_refused_with_its_reason(book: Notebook, typed: dict[str, str], said: str) -> None:
    with pytest.raises(AerobeError) as refused:
        asked(book, typed)
    assert said in refused.value.problem and refused.value.remedy


ODD = ("0", "-1", "1", "1e9", "1e300", "nan", "inf", "-inf", "", "x", "1e-9", "0.5", "1,5", "½", "1e", "0x10", "٣")
FIELDS = ("margin", "money", "test_price", "brew_price", "tests", "vessels", "days", "days_per_round", "scatter", "test_scatter")
MORE = (
    "scatter_brews",
    "colour",
    "lost",
    "seed",
    "sample_at",
    "arms",
    "runs",
    "question",
    "outcome",
    "of_recipe",
    "vessel_names",
)
SHAPES: dict[str, dict[str, str]] = {
    "recipes": {},
    "factors": FACTORS,
    "doses": {"question": "dose series", "arms": "0, 1, 2"},
}


@pytest.mark.parametrize("shape", SHAPES)
def test_every_field_takes_odd_words_without_a_fault(book: Notebook, shape: str) -> None:
    taken = 0
    for field in (*FIELDS, *MORE):
        for odd in ODD:
            try:
                arms, budget, scatter = asked(book, {**SHAPES[shape], field: odd})
            except AerobeError as refused:
                assert refused.problem and refused.remedy, (field, odd)
                continue
            taken += 1
            assert arms >= 1 and all(map(math.isfinite, (budget.money, budget.days, budget.costs.test, scatter.brew_log_sd))), (
                field
            )
            assert min(budget.money, budget.tests, budget.costs.brew, scatter.brew_log_sd, scatter.test_log_sd) >= 0.0, (
                field,
                odd,
            )
    assert taken > 60
