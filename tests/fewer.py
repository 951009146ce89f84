"""A model of fewer courses, for tests that ask whether each command, key or page is there and not what the model says.

What the model says is held by its own rooms, and by the same pages word for word at night.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from aerobe.inference import _clouds, _infer

COURSES = 256


@contextmanager
def fewer_courses() -> Iterator[None]:
    """Clouds of 256 courses instead of 2,048, and the number that must count lowered alike, so that the same ways are gone."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(_infer, "LEAST_COURSES", _infer.LEAST_COURSES * COURSES / _clouds.CLOUD)
        patch.setitem(_clouds.prior_courses.__kwdefaults__, "count", COURSES)
        for module in (_clouds, _infer):
            patch.setattr(module, "CLOUD", COURSES)
        yield
