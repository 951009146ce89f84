"""From the notebook to the gates of oxygen, air and spray: what was noted, when, and what was left empty."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from aerobe import usecases
from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Brew, Harvest, SensorLog
from aerobe.safety import NOTHING_AGAINST
from tests.safety.garden import LETTUCE, NOW, START, notebook  # noqa: F401  (a fixture)


def brew_with(book: Notebook, oxygen: dict[float, float], *, until: float, temperature: bool = True) -> str:
    book.add(Brew(key="one", name="One", recipe="plain", vessel="bin", started_at=START), at=START)
    now, times = START + timedelta(hours=until), tuple(sorted(oxygen))
    if times:
        values = tuple(oxygen[at] for at in times)
        book.append_log(SensorLog(brew="one", channel="oxygen", elapsed_h=times, values=values), at=now)
    if temperature:
        book.append_log(SensorLog(brew="one", channel="temperature", elapsed_h=(0.0, until), values=(20.0, 21.0)), at=now)
    usecases.safety.note_smell(book, "one", "earthy", now=now)
    return "one"


def state(book: Notebook, name: str, *, at: float, brew: str = "one") -> str:
    gates = usecases.safety.gates_of_brew(book, brew, now=START + timedelta(hours=at), risk=0.01)
    return next(gate.state for gate in gates if gate.name == name)


def course(until: float, low: tuple[float, float] = (99.0, 99.0), start: float = 0.0) -> dict[float, float]:
    times = [start + 0.5 * step for step in range(int((until - start) * 2) + 1)]
    return {at: 0.05 if low[0] <= at <= low[1] else 8.1 - 0.1 * (step % 3) for step, at in enumerate(times)}


def test_no_oxygen_from_1_to_7_5_h_holds_the_harvest_at_14_h(notebook: Notebook) -> None:  # noqa: F811
    brew_with(notebook, course(14.0, (1.0, 7.5)), until=14.0)
    assert state(notebook, "oxygen measured", at=14.0) == "open"  # the last six hours look well
    assert state(notebook, "oxygen over the brew", at=14.0) == "closed"
    assert (
        usecases.safety.ask_use(notebook, replace(LETTUCE, brew="one"), now=START + timedelta(hours=14)).call != NOTHING_AGAINST
    )


def test_without_a_log_nothing_opens_and_an_expected_temperature_is_no_measurement(notebook: Notebook) -> None:  # noqa: F811
    brew_with(notebook, {}, until=14.0, temperature=False)
    usecases.safety.note_air(notebook, "one", now=START + timedelta(hours=14), unbroken=True)
    shut = {name: state(notebook, name, at=14.0) for name in ("oxygen measured", "oxygen over the brew", "temperature")}
    assert set(shut.values()) == {"not shown"}


def test_percent_in_place_of_mg_per_l_is_not_believed(notebook: Notebook) -> None:  # noqa: F811
    brew_with(notebook, {at: 11 * value for at, value in course(14.0).items()}, until=14.0)
    assert state(notebook, "oxygen over the brew", at=14.0) == "not shown"


def test_an_answer_on_the_air_speaks_for_the_time_before_it(notebook: Notebook) -> None:  # noqa: F811
    """A log that starts at 6 h; a yes at 3 h says nothing of what came after, a no is not undone by a later yes."""
    brew_with(notebook, course(14.0, start=6.0), until=14.0)
    assert state(notebook, "oxygen over the brew", at=14.0) == "not shown"
    usecases.safety.note_air(notebook, "one", now=START + timedelta(hours=3), unbroken=True)
    assert state(notebook, "oxygen over the brew", at=14.0) == "not shown"
    usecases.safety.note_air(notebook, "one", now=START + timedelta(hours=14), unbroken=True)
    assert state(notebook, "oxygen over the brew", at=14.0) == "open"
    usecases.safety.note_air(notebook, "one", now=START + timedelta(hours=14), unbroken=False)
    usecases.safety.note_air(notebook, "one", now=START + timedelta(hours=14), unbroken=True)
    assert state(notebook, "oxygen over the brew", at=14.0) == "closed"


def test_a_tea_held_too_long_opens_after_air_and_a_smell(notebook: Notebook) -> None:  # noqa: F811
    """Off at 14 h, on again at 16 h: nobody measured how long the oxygen lasted, so six hours of air and a smell are asked."""
    brew_with(notebook, course(14.0), until=14.0)
    notebook.add(Harvest(brew="one", elapsed_h=14.0, smell="earthy"), at=START + timedelta(hours=14))
    assert state(notebook, "time without air", at=16.0) == "not shown"
    with pytest.raises(UnusableRecord):
        usecases.safety.note_air(notebook, "one", now=START + timedelta(hours=16), restarted="13 h")
    usecases.safety.note_air(notebook, "one", now=START + timedelta(hours=16), restarted="16 h")
    again = tuple(16.0 + 0.5 * step for step in range(13))
    for channel, values in (("oxygen", tuple(7.0 + 0.1 * (step % 4) for step in range(13))), ("temperature", (20.0,) * 13)):
        log = SensorLog(brew="one", channel=channel, elapsed_h=again, values=values)
        notebook.append_log(log, at=START + timedelta(hours=22))
    assert state(notebook, "time without air", at=20.0) == "not shown"
    assert state(notebook, "time without air", at=22.0) == "not shown"  # smelt at the harvest, not since
    usecases.safety.note_smell(notebook, "one", "earthy", now=START + timedelta(hours=22))
    assert state(notebook, "time without air", at=22.0) == "open"
    assert state(notebook, "oxygen over the brew", at=22.0) == "open"


def test_a_tea_without_air_for_hours_stays_shut(notebook: Notebook) -> None:  # noqa: F811
    brew_with(notebook, course(14.0), until=14.0)
    notebook.add(Harvest(brew="one", elapsed_h=14.0, smell="earthy"), at=START + timedelta(hours=14))
    assert state(notebook, "time without air", at=18.0) == "closed"
    usecases.safety.note_air(notebook, "one", now=START + timedelta(hours=19), restarted="19 h")
    assert state(notebook, "time without air", at=40.0) == "closed"


SPRAY = (
    "spray_place",
    "wind",
    "inversion",
    "coarse",
    "clear",
    "water_clear",
    "neighbours_clear",
    "people_away",
    "animals_away",
    "mask",
)


@pytest.mark.parametrize("field", SPRAY)
@pytest.mark.parametrize("left", ["", " ", "not known"])
def test_each_field_of_a_spray_left_empty_holds_it_back(notebook: Notebook, field: str, left: str) -> None:  # noqa: F811
    typed = replace(LETTUCE, drops="")
    assert usecases.safety.ask_use(notebook, typed, now=NOW).call == NOTHING_AGAINST
    if left == "not known" and field in ("spray_place", "wind", "clear"):
        return  # these are no yes or no
    assert usecases.safety.ask_use(notebook, replace(typed, **{field: left}), now=NOW).call != NOTHING_AGAINST


@pytest.mark.parametrize(
    "method", ["can mounted fogger", "watering by drone", "not sprayed", "drench with a boom", "", "knapsack", "can be fogged"]
)
def test_a_way_that_is_not_wholly_known_counts_as_a_spray(notebook: Notebook, method: str) -> None:  # noqa: F811
    assert usecases.safety.ask_use(notebook, replace(LETTUCE, method=method, mask=""), now=NOW).call != NOTHING_AGAINST
