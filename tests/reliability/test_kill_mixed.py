"""Kill -9 in the midst of everything at once: two people, a probe over HTTP, a broker, and a report that is being made."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest

from tests.reliability.mixed import MOSQUITTO, kill_under_load

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill -9")


def tried(folder: Path, kills: int) -> None:
    tally = kill_under_load(folder, kills=kills, seed=1)
    wanted = {"reading", "oxygen", *(("temperature",) if MOSQUITTO else ())}
    assert tally.kills == kills and wanted <= set(tally.acknowledged)


def test_a_mixed_load_that_is_killed_loses_and_doubles_nothing(tmp_path: Path) -> None:
    tried(tmp_path, 1)


@pytest.mark.night
def test_a_hundred_kills_of_a_mixed_load_lose_and_double_nothing(tmp_path: Path) -> None:
    tried(tmp_path, 100)
