"""What a simulated trial counts as where its verdict cannot be given, and how far ways of losing brews differ."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from aerobe.errors import NotEnoughData
from aerobe.trials import CLEAR, Circumstances, plots_of
from aerobe.trials import _checked as checked
from aerobe.trials._power import _averaged
from tests.trials.kept_inputs import SPREAD, asked
from tests.trials.kept_plans import _POWER


def test_a_trial_without_a_verdict_is_told_by_neither(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(*_: object, **__: object) -> None:
        raise NotEnoughData("Nothing is known.", "Brew more.")

    monkeypatch.setattr(checked, "judge", refuses)
    rng = np.random.default_rng(1)
    assert checked._one_trial(asked(margin=50.0), plots_of(2, 4, 8), SPREAD, 1, CLEAR, rng) == (False, False)
    # Nor where all brews of an arm are lost: of two brews with four in five lost, nearly always.
    lost = [checked._one_trial(asked(), plots_of(2, 1, 2), SPREAD, 1, Circumstances(lost=0.8), rng) for _ in range(20)]
    assert set(lost) == {(False, False)}


def test_ways_of_losing_brews_have_the_error_of_their_mean() -> None:
    # On paper: 0.2, 0.5 and 0.8 about 0.5: root of 0.18 / 2 is 0.3, over the root of three; never nought.
    parts = [replace(_POWER, told=told, detectable_ratio=ratio) for told, ratio in ((0.2, 3.0), (0.5, 1.6), (0.8, 1.9))]
    found = _averaged(parts)
    assert (found.told, found.assurance, found.detectable_ratio) == approx((0.5, 0.5, 1.9))
    assert found.standard_error == approx(0.3 / math.sqrt(3.0)) and found.simulations == 180
    assert _averaged([_POWER, _POWER]).standard_error == approx(1e-6)
