"""Fewer courses and fewer simulated trials, for tests that ask whether a command, a key or a page is there and not what it says.

What the brew model and a plan say is held by their own rooms, and by the guide word for word at night.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from aerobe.inference import _clouds, _infer
from aerobe.inference._sampler import Effort
from aerobe.trials import _checked, plan_trial
from aerobe.usecases.brews import _beliefs

COURSES, ALONE = 256, 1024
EFFORT = {"cloud": 256, "enough": 120.0, "draws": 500}  # of 512, 300 and 1,000 of the sampler; 100 must count
_WORKED_OUT: dict[object, dict[str, object]] = {}
SIMULATED, JUDGED = 500, {1: 20, 2: 6}


@contextmanager
def fewer_courses() -> Iterator[None]:
    """Clouds of 256 courses in the place of 2,048, of 1,024 in that of 8,192 where the recipe is not known, and less sampling.

    The number that must count is lowered alike, so that the same ways are gone.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(_infer, "LEAST_COURSES", _infer.LEAST_COURSES * COURSES / _clouds.CLOUD)
        patch.setitem(_clouds.prior_courses.__kwdefaults__, "count", COURSES)
        patch.setattr(_infer, "CLOUD_ALONE", ALONE)
        for module in (_clouds, _infer):
            patch.setattr(module, "CLOUD", COURSES)
        for name, least in EFFORT.items():
            patch.setitem(Effort.__init__.__kwdefaults__, name, least)
        patch.setattr(_beliefs, "_WORKED_OUT", _WORKED_OUT)  # what few courses taught is for those who ask for few
        yield


@contextmanager
def fewer_trials() -> Iterator[None]:
    """Plans of 500 simulated trials a design instead of 4,000, a tenth of them judged whole."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(plan_trial.__kwdefaults__, "simulations", SIMULATED)
        patch.setattr(_checked, "TRIALS", JUDGED)
        yield
