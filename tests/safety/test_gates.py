"""Gates of harvest and use: a fact against it closes one, a missing fact keeps it shut, and nothing opens by accident."""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aerobe.errors import UnusableRecord
from aerobe.safety import (
    FAILS,
    HOLD_BACK,
    LOCAL,
    NOT_SHOWN,
    NOTHING_AGAINST,
    SHOWN,
    SLUDGE_A,
    STATES,
    TREATED,
    TREATED_A,
    UNKNOWN,
    BrewFacts,
    Gate,
    RuleCell,
    Table,
    UseAdvice,
    UseFacts,
    advise_use,
    clearances,
    closed,
    harvest_gates,
    oxygen_history,
    smell_of,
    use_gates,
)
from aerobe.sources import all_sources
from tests.safety.use_cases import CROPS, MATERIALS, WAYS, rows, use_of

# A day with a reading an hour, none under 6.0 mg/L.
HOURS = tuple(map(float, range(25)))
SEEN = oxygen_history([(HOURS, [6.0 + 0.1 * (hour % 7) for hour in HOURS])], until_h=24.0, floor_mg_per_l=2.0, most_mg_per_l=12.0)
GOOD_BREW = BrewFacts(
    oxygen_floor_mg_per_l=2.0,
    oxygen=SEEN,
    lowest_recent_oxygen_mg_per_l=6.0,
    probability_below_floor=0.01,
    smell="earthy",
    smell_at_h=24.0,
    hours_since_air_stopped=0.0,
    temperature_degc=20.0,
    compost=SHOWN,
    compost_why="Heat log meets the rule.",
)
# The one case that may touch lettuce: treated, nothing added, rules chosen, poured.
# The one case that may be sprayed on lettuce: treated to 112.55(a), nothing added, drinking water, every question answered.
ON_LETTUCE = use_of("US", "a", "lettuce", "spray", "30")


def states(gates: tuple[Gate, ...]) -> dict[str, str]:
    return {gate.name: gate.state for gate in gates}


def test_all_known_and_good_opens_every_gate() -> None:
    assert closed(harvest_gates(GOOD_BREW)) == ()
    advice = advise_use(GOOD_BREW, ON_LETTUCE)
    assert advice.may_go_ahead and advice.call == NOTHING_AGAINST
    assert LOCAL in advice.sentence.lower() and "no statement that it is safe or allowed" in advice.sentence


def test_nothing_known_opens_no_harvest_gate() -> None:
    assert set(states(harvest_gates(BrewFacts())).values()) == {"not shown"}
    assert advise_use(BrewFacts(), UseFacts()).call == HOLD_BACK


@pytest.mark.parametrize(
    ("change", "gate", "state"),
    [
        ({"lowest_recent_oxygen_mg_per_l": 2.0}, "oxygen measured", "open"),
        ({"lowest_recent_oxygen_mg_per_l": 1.99}, "oxygen measured", "closed"),
        ({"probability_below_floor": 0.10}, "oxygen forecast", "open"),
        ({"probability_below_floor": 0.101}, "oxygen forecast", "closed"),
        ({"probability_below_floor": None}, "oxygen forecast", "not shown"),
        ({"probability_below_floor": 1.5}, "oxygen forecast", "closed"),
        ({"probability_below_floor": -0.1}, "oxygen forecast", "closed"),
        ({"lowest_recent_oxygen_mg_per_l": None}, "oxygen measured", "not shown"),  # no forecast stands in for a reading
        ({"oxygen": None}, "oxygen over the brew", "not shown"),
        ({"lowest_recent_oxygen_mg_per_l": None, "probability_below_floor": None}, "oxygen measured", "not shown"),
        ({"lowest_recent_oxygen_mg_per_l": None, "probability_below_floor": 0.5}, "oxygen measured", "not shown"),
        ({"smell": "Sulphurous!"}, "smell", "closed"),
        ({"smell": "earthy, a bit sour"}, "smell", "closed"),
        ({"smell": None}, "smell", "not shown"),
        ({"smell": "not noted"}, "smell", "not shown"),
        ({"smell": "like Tuesday"}, "smell", "not shown"),
        ({"smell": "earthy but odd"}, "smell", "not shown"),
        ({"smell": "sweet and sickly"}, "smell", "closed"),
        ({"smell": "like forest soil after rain"}, "smell", "open"),
        ({"smell": "not earthy"}, "smell", "not shown"),
        ({"smell": "no smell"}, "smell", "open"),
        ({"smell": "rotten eggs"}, "smell", "closed"),
        ({"temperature_degc": 30.0}, "temperature", "open"),
        ({"temperature_degc": 30.1}, "temperature", "closed"),
        ({"temperature_degc": None}, "temperature", "not shown"),
        ({"compost": FAILS}, "compost history", "closed"),
        ({"compost": NOT_SHOWN}, "compost history", "not shown"),
        ({"hours_since_air_stopped": None}, "time without air", "not shown"),
        ({"hours_since_air_stopped": 0.1}, "time without air", "not shown"),
        ({"hours_since_air_stopped": -1.0}, "time without air", "not shown"),
    ],
)
def test_each_harvest_gate_at_its_edge(change: dict[str, Any], gate: str, state: str) -> None:
    assert states(harvest_gates(replace(GOOD_BREW, **change)))[gate] == state


def test_time_without_air_follows_the_measured_uptake() -> None:
    # DO 7 mg/L and uptake 10 mg/L/h: 0.5 h to a floor of 2 (arithmetic), 42 min to zero.
    stopped = replace(GOOD_BREW, oxygen_when_air_stopped_mg_per_l=7.0, uptake_mg_per_l_per_h=10.0, held_degc=20.0)
    assert states(harvest_gates(replace(stopped, hours_since_air_stopped=0.5)))["time without air"] == "open"
    assert states(harvest_gates(replace(stopped, hours_since_air_stopped=0.501)))["time without air"] == "closed"
    slow = replace(stopped, uptake_mg_per_l_per_h=0.1)
    assert states(harvest_gates(replace(slow, hours_since_air_stopped=4.0)))["time without air"] == "open"
    assert states(harvest_gates(replace(slow, hours_since_air_stopped=4.01)))["time without air"] == "closed"


@pytest.mark.parametrize("name", [field.name for field in dataclasses.fields(BrewFacts) if "float" in str(field.type)])
def test_a_value_that_is_no_number_is_refused(name: str) -> None:
    with pytest.raises(UnusableRecord):
        replace(GOOD_BREW, **{name: math.nan})


@pytest.mark.parametrize(
    "change",
    [
        {"lowest_recent_oxygen_mg_per_l": 1.0},
        {"probability_below_floor": 0.5},
        {"smell": "sour"},
        {"smell": None},
        {"hours_since_air_stopped": 5.0},
        {"hours_since_air_stopped": None},
        {"temperature_degc": 38.0},
        {"temperature_degc": None},
        {"compost": FAILS},
    ],
)
def test_a_brew_that_violates_a_gate_does_not_go_on_lettuce(change: dict[str, Any]) -> None:
    advice = advise_use(replace(GOOD_BREW, **change), ON_LETTUCE)
    assert advice.call == HOLD_BACK and not advice.may_go_ahead


@pytest.mark.parametrize(
    ("change", "gate", "state"),
    [
        # 21 CFR 112.51(b)(5): a tea with an additive is untreated and may not touch produce (112.56).
        ({"has_additives": True, "animal_additive": False}, "eaten", "closed"),
        ({"has_additives": True, "animal_additive": False, "e_coli": SHOWN}, "eaten", "closed"),
        ({"tea": TREATED}, "eaten", "closed"),  # 112.56(a)(2): contact is to be kept to the least
        ({"tea": UNKNOWN}, "eaten", "not shown"),
        ({"made_of": ()}, "eaten", "not shown"),
        ({"touches_edible_part": None}, "eaten", "open"),  # in any manner: the answer does not matter
        ({"edible": None}, "eaten", "open"),
        ({"edible": False}, "answers", "not shown"),
        ({"jurisdiction": ""}, "rules chosen", "not shown"),
        ({"jurisdiction": "Atlantis"}, "rules chosen", "not shown"),
        ({"jurisdiction": "Atlantis"}, "eaten", "closed"),
        ({"seedling": True}, "eaten", "closed"),
        ({"seedling": None}, "eaten", "not shown"),
        ({"crop": "Brussels sprouts"}, "answers", "open"),
        ({"crop": "cress"}, "answers", "not shown"),
        ({"crop": "cress", "names_checked": True}, "answers", "open"),
        ({"e_coli": FAILS}, "eaten", "closed"),
        ({"enterococci": FAILS, "e_coli": SHOWN}, "eaten", "closed"),
        ({"salmonella": FAILS, "e_coli": SHOWN}, "disease germs", "closed"),
        ({"own_test": True}, "own rule", "not shown"),
        ({"own_days": 31.0}, "eaten", "closed"),
        ({"own_days": 30.0}, "eaten", "open"),
        ({"days_to_harvest": -1.0}, "eaten", "closed"),
        ({"sprayed": False, "people_away": False}, "spray drift", "open"),
    ],
)
def test_each_use_gate(change: dict[str, Any], gate: str, state: str) -> None:
    assert states(use_gates(GOOD_BREW, replace(ON_LETTUCE, **change)))[gate] == state


def test_a_number_of_days_that_is_none_opens_nothing() -> None:
    soil = use_of("US", "raw", "carrots", "pour", "130", "there=no")
    assert advise_use(GOOD_BREW, soil).may_go_ahead
    assert not advise_use(GOOD_BREW, replace(soil, days_to_harvest=math.nan)).may_go_ahead


@pytest.mark.parametrize("crop", ["lettuce", "Salad greens", "cherry", "Brussels sprouts", "tomatoes", "okra", "hops", "pasture"])
def test_a_name_against_the_answers_is_asked_again(crop: str) -> None:
    nothing = replace(use_of("US", "raw", "roses", "pour", ""), crop=crop)
    assert "answers" in {gate.name for gate in advise_use(GOOD_BREW, nothing).held_back_by}


def test_a_compost_that_fails_is_untreated_whatever_is_said() -> None:
    failed = replace(GOOD_BREW, compost=FAILS)
    assert not advise_use(failed, ON_LETTUCE).may_go_ahead
    assert not advise_use(failed, use_of("US", "b", "lettuce", "pour", "0")).may_go_ahead


def test_a_silent_gate_never_stands_alone() -> None:
    """A use that every table is silent on is closed."""
    silent = Table(
        key="s",
        title="S",
        places=("*", "US"),
        cells=(RuleCell(table="s", id="all", when={}, answer="silent", says="-", rule="cfr-21-112", paragraph="-"),),
    )
    place = replace(silent, places=("US",))
    assert {found.state for found in clearances(ON_LETTUCE, (place, silent))} == {"closed"}


def test_a_use_that_no_cell_covers_is_closed() -> None:
    empty = Table(key="s", title="S", places=("US",), cells=())
    [found] = clearances(ON_LETTUCE, (empty,))
    assert found.state == "closed" and found.deciding.cell is None


MAYBE = [True, False, None]
BREWS = st.builds(
    BrewFacts,
    oxygen=st.sampled_from([None, SEEN]),
    smell_at_h=st.sampled_from([None, 24.0]),
    held_degc=st.sampled_from([None, 20.0, 26.0]),
    lowest_recent_oxygen_mg_per_l=st.sampled_from([None, 1.9, 2.0, 8.0]),
    probability_below_floor=st.sampled_from([None, 0.1, 0.2]),
    smell=st.sampled_from([None, "earthy", "sour"]),
    hours_since_air_stopped=st.sampled_from([None, 0.0, 1.0, 9.0]),
    oxygen_when_air_stopped_mg_per_l=st.sampled_from([None, 7.0]),
    uptake_mg_per_l_per_h=st.sampled_from([None, 1.0, 30.0]),
    temperature_degc=st.sampled_from([None, 20.0, 35.0]),
    compost=st.sampled_from(STATES),
)
USES = st.builds(
    use_of,
    st.sampled_from(["", "US", "US organic", "EU", "Germany", "England", "Canada", "elsewhere"]),
    st.sampled_from([*MATERIALS, "b+molasses", "plants+fish", "a+unanswered"]),
    st.sampled_from(list(CROPS)),
    st.sampled_from(list(WAYS)),
    st.sampled_from(["", "0", "95", "130", "400"]),
)


@settings(max_examples=300, deadline=None)
@given(BREWS, USES)
def test_what_touches_food_is_treated_known_and_good_in_every_point(brew: BrewFacts, use: UseFacts) -> None:
    """Written from the rules anew, not from the gates: whatever goes ahead onto food has passed all of them."""
    if not advise_use(brew, use).may_go_ahead:
        return
    assert brew.smell == "earthy" and brew.temperature_degc == 20.0 and brew.hours_since_air_stopped in (0.0, 1.0)
    assert brew.probability_below_floor == 0.1 and brew.lowest_recent_oxygen_mg_per_l in (2.0, 8.0)
    assert brew.oxygen == SEEN and not (brew.held_degc == 26.0 and brew.hours_since_air_stopped)
    assert use.made_of and "human waste" not in use.made_of and use.seedling is not True
    if use.touches_edible_part and use.edible:
        clean = use.has_additives is False and use.water == SHOWN and brew.compost != FAILS and use.jurisdiction.startswith("US")
        assert use.made_of == ("plants",) or use.rarely_raw or (clean and use.tea in (TREATED_A, SLUDGE_A))


@settings(max_examples=150, deadline=None)
@given(BREWS, USES)
def test_forgetting_a_fact_never_opens_the_way(brew: BrewFacts, use: UseFacts) -> None:
    # "Nothing eaten" beside "tea touches what is eaten" is held as food; without the second answer the first stands.
    against_itself = use.edible is False and use.touches_edible_part is True
    if advise_use(brew, use).may_go_ahead or against_itself:
        return
    for name in (
        "oxygen",
        "lowest_recent_oxygen_mg_per_l",
        "probability_below_floor",
        "smell",
        "hours_since_air_stopped",
        "uptake_mg_per_l_per_h",
        "temperature_degc",
    ):
        assert not advise_use(replace(brew, **{name: None}), use).may_go_ahead
    for name in ("edible", "touches_edible_part", "edible_part_touches_soil", "days_to_harvest", "has_additives", "sprayed"):
        assert not advise_use(brew, replace(use, **{name: None})).may_go_ahead


def test_answers_against_each_other_are_taken_for_food() -> None:
    use = use_of("US", "b", "roses", "spray", "")
    assert (use.edible, use.touches_edible_part) == (False, True)
    assert not advise_use(GOOD_BREW, use).may_go_ahead
    assert advise_use(GOOD_BREW, replace(use, touches_edible_part=None)).may_go_ahead  # nothing there is eaten


def test_every_gate_says_why_and_how_it_opens_with_sources_on_file() -> None:
    brews = [BrewFacts(), GOOD_BREW, replace(GOOD_BREW, smell="sour", temperature_degc=40.0, hours_since_air_stopped=9.0)]
    uses = [UseFacts(), ON_LETTUCE, *(row.use for row in rows("use_cases.csv")[::9])]
    for brew, use in itertools.product(brews, uses):  # every ninth row of the table
        for gate in use_gates(brew, use):
            assert gate.why.endswith(".") and gate.sources and set(gate.sources) <= set(all_sources())
            assert bool(gate.how_it_opens) is not gate.is_open
            assert gate.shown or not gate.is_open


def test_advice_without_gates_is_no_leave() -> None:
    assert not UseAdvice(gates=(), cautions=()).may_go_ahead


def test_advice_brings_its_cautions() -> None:
    keys = {item.key for item in advise_use(GOOD_BREW, ON_LETTUCE).cautions}
    assert {"drops-in-the-air", "legionella", "weak-immunity", "children", "animals", "food"} <= keys
    poured = {item.key for item in advise_use(GOOD_BREW, use_of("US", "raw", "carrots", "pour", "130")).cautions}
    assert "drops-in-the-air" not in poured and {"food", "weak-immunity", "children", "animals"} <= poured


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("", NOT_SHOWN),
        ("EARTHY", SHOWN),
        ("forest soil", SHOWN),
        ("not sour", FAILS),
        ("ammonia", FAILS),
        ("hardly earthy", NOT_SHOWN),
        ("None", SHOWN),
    ],
)
def test_smell_is_read_the_careful_way(text: str, state: str) -> None:
    assert smell_of(text) == state
