"""Fewer courses and fewer simulated trials, for tests that ask whether a command, a key or a page is there and not what it says.

What the brew model and a plan say is held by their own rooms, and by the guide word for word at night.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from aerobe.inference import _clouds, _infer
from aerobe.trials import _checked, plan_trial

COURSES = 256
SIMULATED, JUDGED = 500, {1: 20, 2: 6}


@contextmanager
def fewer_courses() -> Iterator[None]:
    """Clouds of 256 courses instead of 2,048, and the number that must count lowered alike, so that the same ways are gone."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(_infer, "LEAST_COURSES", _infer.LEAST_COURSES * COURSES / _clouds.CLOUD)
        patch.setitem(_clouds.prior_courses.__kwdefaults__, "count", COURSES)
        for module in (_clouds, _infer):
            patch.setattr(module, "CLOUD", COURSES)
        yield


@contextmanager
def fewer_trials() -> Iterator[None]:
    """Plans of 500 simulated trials a design instead of 4,000, a tenth of them judged whole."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(plan_trial.__kwdefaults__, "simulations", SIMULATED)
        patch.setattr(_checked, "TRIALS", JUDGED)
        yield
