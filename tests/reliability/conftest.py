"""One app over the invented yard for the tests that only ask it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.reliability.world import World, open_world


@pytest.fixture
def world(tmp_path: Path) -> Iterator[World]:
    """An app over a copy of the invented yard."""
    with open_world(tmp_path / "world") as made:
        yield made
