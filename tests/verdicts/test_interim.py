"""Interim analyses and questions asked beside the plan: one chance of a false claim, however often it is asked."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from aerobe.verdicts import (
    all_pairs,
    allowance_now,
    boundary_levels,
    call_contrasts,
    fit_effects,
    lay_out,
    share_of_later,
    share_of_side_question,
)


def test_the_boundary_is_that_of_lan_and_demets() -> None:
    # Five equal looks, one-sided 0.025, O'Brien-Fleming type spending: 4.877 3.357 2.680 2.290 2.031, as commonly printed
    # (from memory).
    levels = boundary_levels([0.2, 0.4, 0.6, 0.8, 1.0], 0.025)
    assert [-float(special.ndtri(level)) for level in levels] == pytest.approx([4.877, 3.357, 2.680, 2.290, 2.031], abs=6e-4)


def test_one_look_at_the_planned_end_has_all_there_is() -> None:
    assert allowance_now([12], 12).difference == 0.05 and allowance_now([12], 12).sameness == 0.05
    assert allowance_now([6], 12).difference < 0.005 and allowance_now([6, 12], 12).difference > 0.045
    assert allowance_now([12, 13], 12).difference == 0.0  # nothing is left beyond the plan


def test_what_no_plan_ends_adds_up_to_one() -> None:
    assert sum(share_of_later(look) for look in range(1, 4000)) == pytest.approx(1.0, abs=1e-3)
    assert sum(share_of_side_question(i, planned_is_told=True) for i in range(1, 4000)) == pytest.approx(1.0, abs=1e-3)
    assert share_of_side_question(1, planned_is_told=False) == pytest.approx(0.05)


@pytest.mark.parametrize("planned", [12, None])
def test_looking_after_every_pair_of_brews_claims_no_more_often(planned: int | None) -> None:
    rng = np.random.default_rng(5)
    y = rng.normal(0, 0.4, (8000, 12))
    margin, edge = 0.5, np.where(np.arange(12) % 2 == 1, 0.5, 0.0)  # the second arm lies on the margin
    claimed, same = np.zeros(8000, dtype=bool), np.zeros(8000, dtype=bool)
    for brews in (4, 6, 8, 10, 12):
        allowance = allowance_now(range(4, brews + 1, 2), planned)
        layout = lay_out([i % 2 for i in range(brews)], [str(i // 2) for i in range(brews)])
        rows = np.array([[-1.0, 1.0]])
        calls = call_contrasts(fit_effects(y[:, :brews], layout, rows), margin, allowance=allowance)
        claimed |= (calls.above | calls.below)[:, 0]
        same |= call_contrasts(fit_effects((y + edge)[:, :brews], layout, rows), margin, allowance=allowance).same[:, 0]
    assert claimed.mean() <= 0.06 and same.mean() <= 0.06


def test_every_pair_of_seven_null_recipes_holds_together() -> None:
    rng = np.random.default_rng(6)
    y = rng.normal(0, 0.4, (1500, 28))
    found = fit_effects(y, lay_out([i % 7 for i in range(28)]), all_pairs(7))
    calls = call_contrasts(found, 0.2)
    assert (calls.above | calls.below).any(axis=1).mean() <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / 1500)
