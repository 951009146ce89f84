"""A spray of living mist: every question asked, every empty answer shut, still air as bad as strong wind.

Wind of 3 and 10 mph: spray labels (extension and farm press). 25 ft: 40 CFR 170.405(a)(1)(ii), for pesticides. Signs of a
still layer: guidance of grower councils. Mask, low pressure and people away: WorkSafe Queensland on compost. The rest is
common practice, no source.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import replace
from typing import Any

import pytest

from aerobe.errors import UnusableRecord
from aerobe.safety import LOCAL, MistFacts, advise_use, closed, mist_gates, threshold
from tests.safety.test_gates import GOOD_BREW, ON_LETTUCE

OUTDOORS = MistFacts(
    sprayed=True,
    spray_place="outdoors",
    wind_m_per_s=2.0,
    inversion=False,
    coarse_drops=True,
    clear_m=10.0,
    water_clear=True,
    neighbours_clear=True,
    people_away=True,
    animals_away=True,
    breathing_protection=True,
)
GLASS = MistFacts(
    sprayed=True,
    spray_place="greenhouse",
    coarse_drops=True,
    people_away=True,
    animals_away=True,
    breathing_protection=True,
    aired=True,
)
MPH, FT = 0.44704, 0.3048  # exact by definition


def test_limits_are_those_of_the_sources() -> None:
    assert threshold("spray-wind-least").value == pytest.approx(3 * MPH, abs=0.05)
    assert threshold("spray-wind-most").value == pytest.approx(10 * MPH, abs=0.05)
    assert threshold("spray-band").value == pytest.approx(25 * FT, abs=0.05)


@pytest.mark.parametrize("scene", [OUTDOORS, GLASS], ids=["outdoors", "under glass"])
def test_all_known_and_good_is_open(scene: MistFacts) -> None:
    assert len(mist_gates(scene)) == 3 and closed(mist_gates(scene)) == ()


@pytest.mark.parametrize(
    ("change", "gate", "state"),
    [
        ({"wind_m_per_s": 0.2}, "wind and still air", "closed"),
        ({"wind_m_per_s": 0.0}, "wind and still air", "closed"),
        ({"wind_m_per_s": 1.2}, "wind and still air", "closed"),
        ({"wind_m_per_s": 1.3}, "wind and still air", "open"),
        ({"wind_m_per_s": 4.5}, "wind and still air", "open"),
        ({"wind_m_per_s": 4.6}, "wind and still air", "closed"),
        ({"wind_m_per_s": -2.0}, "wind and still air", "closed"),
        ({"wind_m_per_s": math.nan}, "wind and still air", "closed"),
        ({"wind_m_per_s": math.inf}, "wind and still air", "closed"),
        ({"inversion": True}, "wind and still air", "closed"),
        ({"spray_place": "room"}, "wind and still air", "closed"),
        ({"spray_place": "room", "aired": True, "wind_m_per_s": 2.0}, "wind and still air", "closed"),
        ({"spray_place": "greenhouse", "wind_m_per_s": 0.0}, "wind and still air", "not shown"),
        ({"spray_place": "greenhouse", "wind_m_per_s": 2.0}, "wind and still air", "not shown"),
        ({"spray_place": "greenhouse", "aired": False}, "wind and still air", "closed"),
        ({"coarse_drops": False}, "spray drift", "closed"),
        ({"clear_m": 7.5}, "spray drift", "closed"),
        ({"clear_m": 7.6}, "spray drift", "open"),
        ({"clear_m": math.nan}, "spray drift", "closed"),
        ({"water_clear": False}, "spray drift", "closed"),
        ({"neighbours_clear": False}, "spray drift", "closed"),
        ({"people_away": False}, "people and breathing", "closed"),
        ({"people_away": False, "breathing_protection": None}, "people and breathing", "closed"),
        ({"animals_away": False}, "people and breathing", "closed"),
        ({"breathing_protection": False}, "people and breathing", "closed"),
    ],
)
def test_each_answer(change: dict[str, Any], gate: str, state: str) -> None:
    found = {item.name: item.state for item in mist_gates(replace(OUTDOORS, **change))}
    assert found[gate] == state


# The house has walls and no wind: what is asked outdoors only.
NOT_ASKED = {"under glass": {"wind_m_per_s", "inversion", "clear_m", "water_clear", "neighbours_clear"}, "outdoors": {"aired"}}


@pytest.mark.parametrize(("name", "scene"), [("outdoors", OUTDOORS), ("under glass", GLASS)])
@pytest.mark.parametrize("field", dataclasses.fields(MistFacts), ids=lambda field: field.name)
def test_every_question_left_empty_shuts_a_gate(name: str, scene: MistFacts, field: dataclasses.Field[object]) -> None:
    """Made from the fields: a new question is asked here without anybody writing a case."""
    left_empty = replace(scene, **{field.name: field.default})
    if field.name in NOT_ASKED[name] or field.name == "sprayed":
        assert closed(mist_gates(left_empty)) == ()  # not knowing whether it is sprayed counts as sprayed
    else:
        shut = closed(mist_gates(left_empty))
        assert len(shut) == 1 and not shut[0].shown and shut[0].how_it_opens


@pytest.mark.parametrize("pair", list(itertools.combinations([field.name for field in dataclasses.fields(MistFacts)], 2)))
def test_no_empty_answer_opens_what_another_shut(pair: tuple[str, str]) -> None:
    defaults = {field.name: field.default for field in dataclasses.fields(MistFacts)}
    for scene in (OUTDOORS, GLASS):
        once = replace(scene, **{pair[0]: defaults[pair[0]]})
        twice = replace(once, **{pair[1]: defaults[pair[1]]})
        assert bool(closed(mist_gates(once))) <= bool(closed(mist_gates(twice)))


def test_poured_asks_nothing_of_the_air() -> None:
    [gate] = mist_gates(MistFacts(sprayed=False))
    assert gate.is_open and "poured" in gate.why


def test_a_place_that_is_none_is_refused() -> None:
    with pytest.raises(UnusableRecord):
        MistFacts(spray_place="indoors")


@pytest.mark.parametrize(
    "field", [field.name for field in dataclasses.fields(MistFacts) if field.name not in ("sprayed", "aired")]
)
def test_flowers_and_food_alike_ask_for_the_mist(field: str) -> None:
    defaults = {item.name: item.default for item in dataclasses.fields(MistFacts)}
    for use in (ON_LETTUCE, replace(ON_LETTUCE, crop="roses", edible=False, touches_edible_part=False)):
        assert not advise_use(GOOD_BREW, replace(use, **{field: defaults[field]})).may_go_ahead


def test_every_gate_of_a_spray_says_who_decides_or_what_is_missing() -> None:
    for values in itertools.product((True, False, None), repeat=3):
        scene = replace(OUTDOORS, people_away=values[0], inversion=values[1], coarse_drops=values[2])
        for gate in mist_gates(scene):
            assert gate.why.endswith(".") and gate.sources
            assert LOCAL in f"{gate.why} {gate.how_it_opens}".lower() or gate.state == "not shown"
