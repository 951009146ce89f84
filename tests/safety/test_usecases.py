"""The use cases: what the notebook holds becomes gates, and no function of it leads a held-back brew onto lettuce."""

from __future__ import annotations

import ast
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from pytest import approx

from aerobe import usecases
from aerobe.errors import AerobeError, NotFound
from aerobe.notebook import Notebook
from aerobe.records import Brew, Harvest, SensorLog, Use
from aerobe.safety import HOLD_BACK, LOCAL, NOTHING_AGAINST
from tests.safety.garden import LETTUCE, NOW, START, held_back, notebook

__all__ = ["notebook"]  # fixtures


def test_a_clean_treated_tea_without_additives_may_go_on(notebook: Notebook) -> None:
    answer = usecases.safety.ask_use(notebook, LETTUCE, now=NOW)
    assert answer.call == NOTHING_AGAINST and answer.tea.kind == "treated to 112.55(a)", held_back(answer)
    assert LOCAL in answer.sentence.lower()
    assert answer.amounts is not None and answer.amounts.mix_l_per_bed == 5.0 and answer.amounts.mix_l_per_ha == approx(5000.0)
    assert answer.applied is not None and answer.applied.per_m2 == approx(1e8 * 5000.0 / 20.0)


@pytest.mark.parametrize(
    ("brew", "gate"),
    [
        ("fed", "eaten"),
        ("starved", "oxygen measured"),
        ("unknown", "eaten"),
    ],
)
def test_a_brew_that_violates_a_gate_does_not_go_on_lettuce(notebook: Notebook, brew: str, gate: str) -> None:
    answer = usecases.safety.ask_use(notebook, replace(LETTUCE, brew=brew), now=NOW)
    assert answer.call == HOLD_BACK and gate in held_back(answer)
    for edible, method in (("", ""), ("no", "drench"), ("yes", "drench"), ("no", "foliar spray")):
        again = usecases.safety.ask_use(notebook, replace(LETTUCE, brew=brew, edible=edible, method=method), now=NOW)
        assert again.call == HOLD_BACK


def test_what_was_done_is_kept_also_where_gates_held_back(notebook: Notebook) -> None:
    receipt, answer = usecases.safety.record_use(notebook, replace(LETTUCE, brew="starved", token="t1"), now=NOW)
    again, _ = usecases.safety.record_use(notebook, replace(LETTUCE, brew="starved", token="t1"), now=NOW)
    assert (receipt.was_new, again.was_new, again.key) == (True, False, receipt.key)
    use = notebook.get(Use, receipt.key)
    assert (use.tea_l, use.water_l, use.area_m2, use.edible) == (5.0, 5.0, 20.0, True)
    kept = notebook.kept("use gates", receipt.key)
    assert len(kept) == 1 and kept[0].payload["call"] == HOLD_BACK == answer.call
    assert kept[0].payload["typed"]["density"] == LETTUCE.density


def test_molasses_in_the_recipe_brings_the_papers(notebook: Notebook) -> None:
    notes = usecases.safety.ask_use(notebook, replace(LETTUCE, brew="fed"), now=NOW).risks
    assert "0.14 % molasses" in " ".join(note.text for note in notes)
    assert any("0.2 %" in note.text for note in notes)


def test_no_place_no_rule(notebook: Notebook) -> None:
    notebook.set_setting("safety place", "", at=NOW)
    assert {"rules chosen", "eaten"} <= held_back(usecases.safety.ask_use(notebook, LETTUCE, now=NOW))
    with pytest.raises(NotFound):
        usecases.safety.choose_place(notebook, "Atlantis", now=NOW)


@pytest.mark.parametrize("place", ["", "US"])
@pytest.mark.parametrize("brew", ["clean", "fed", "starved", "unknown"])
def test_a_gate_says_once_who_decides(notebook: Notebook, brew: str, place: str) -> None:
    """Why and how are printed in one bullet, and read there in one breath."""
    notebook.set_setting("safety place", place, at=NOW)
    said = {
        gate.name: f"{gate.why} {gate.how_it_opens}".lower().count(LOCAL)
        for gate in usecases.safety.ask_use(notebook, replace(LETTUCE, brew=brew), now=NOW).gates
    }
    assert all(times <= 1 for times in said.values()), said


def test_old_facts_say_nothing_about_now(notebook: Notebook) -> None:
    later = NOW + timedelta(hours=7)
    assert {"oxygen measured", "oxygen forecast", "smell"} <= {
        gate.name for gate in usecases.safety.gates_of_brew(notebook, "clean", now=later) if not gate.is_open
    }


def test_a_bad_smell_closes_and_a_harvest_note_does_not_undo_it(notebook: Notebook) -> None:
    usecases.safety.note_smell(notebook, "clean", "sour", now=NOW)
    assert "smell" in held_back(usecases.safety.ask_use(notebook, LETTUCE, now=NOW))
    notebook.add(Harvest(brew="clean", elapsed_h=24.0, smell="earthy"), at=NOW)
    assert "smell" in held_back(usecases.safety.ask_use(notebook, LETTUCE, now=NOW))


def test_time_without_air_from_the_fit_and_from_the_log(notebook: Notebook) -> None:
    notebook.add(Harvest(brew="clean", elapsed_h=24.0, smell="earthy"), at=NOW)
    soon, late = NOW + timedelta(minutes=25), NOW + timedelta(minutes=35)
    assert "time without air" not in held_back(usecases.safety.ask_use(notebook, LETTUCE, now=soon))
    assert "time without air" in held_back(usecases.safety.ask_use(notebook, LETTUCE, now=late))
    # The log after the stop tells of a faster uptake: 6.5 to 4.5 mg/L in 6 minutes is 20 mg/L/h, so 2 mg/L after 13.5 minutes.
    notebook.append_log(SensorLog(brew="clean", channel="oxygen", elapsed_h=(24.05, 24.1), values=(5.5, 4.5)), at=NOW)
    facts = usecases.safety.brew_facts(notebook, "clean", now=soon)
    assert facts.uptake_mg_per_l_per_h == approx(20.0)
    assert "time without air" in held_back(usecases.safety.ask_use(notebook, LETTUCE, now=soon))
    assert "time without air" not in held_back(usecases.safety.ask_use(notebook, LETTUCE, now=NOW + timedelta(minutes=13)))


def test_advice_made_after_the_harvest_says_nothing_about_how_long_the_oxygen_lasted(notebook: Notebook) -> None:
    notebook.add(Harvest(brew="clean", elapsed_h=24.0, smell="earthy"), at=NOW)
    later = NOW + timedelta(minutes=20)
    notebook.keep(
        "advice", "clean", {"oxygen": {"floor_mg_per_l": 2.0, "probability_below": 0.0, "holding_time_low_h": 9.0}}, at=later
    )
    assert usecases.safety.brew_facts(notebook, "clean", now=later).holding_time_h == 0.5


def test_a_harvest_without_measured_uptake_is_not_shown(notebook: Notebook) -> None:
    notebook.add(Brew(key="bare", name="Bare", recipe="plain", vessel="bin", started_at=START), at=START)
    notebook.add(Harvest(brew="bare", elapsed_h=23.0, smell="earthy"), at=NOW)
    states = {gate.name: gate.state for gate in usecases.safety.gates_of_brew(notebook, "bare", now=NOW)}
    assert states["time without air"] == states["oxygen measured"] == states["oxygen forecast"] == "not shown"


def test_a_report_gets_who_decides_cautions_and_the_gates_of_each_use(notebook: Notebook) -> None:
    receipt, _ = usecases.safety.record_use(notebook, replace(LETTUCE, brew="starved"), now=NOW)
    section = usecases.safety.safety_section(notebook, "clean", "starved")
    assert LOCAL in section.statement.lower() and len(section.cautions) >= 8
    [(use, call, held)] = section.uses
    assert (use.key, call) == (receipt.key, HOLD_BACK) and "oxygen measured" in held


@pytest.mark.slow
def test_the_call_on_a_starved_brew_is_never_harvest_now(notebook: Notebook) -> None:
    """The real fit and the real decision: low oxygen holds, and the kept advice feeds the gates of a use."""
    advice = usecases.brews.advise_brew(notebook, "starved", NOW)
    assert advice.call != "harvest now" and advice.held_back_by
    facts = usecases.safety.brew_facts(notebook, "starved", now=NOW)
    assert facts.probability_below_floor is not None and facts.holding_time_h is not None


def calls_without_gates(source: str) -> list[int]:
    """Lines of a file that ask for a call on a brew without handing it the gates."""
    asked = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    named = [node for node in asked if getattr(node.func, "id", getattr(node.func, "attr", "")) == "advise"]
    return [node.lineno for node in named if "gates" not in {word.arg for word in node.keywords}]


@pytest.mark.parametrize(
    "path", sorted(Path(usecases.__file__).parent.rglob("*.py")), ids=lambda path: f"{path.parent.name}/{path.name}"
)
def test_no_call_is_made_by_a_use_case_without_the_gates(path: Path) -> None:
    assert calls_without_gates(path.read_text(encoding="utf-8")) == []


def test_a_call_without_gates_is_noticed() -> None:
    assert calls_without_gates("from aerobe.decisions import advise\nx = advise(posterior, now_h=3.0)") == [2]
    assert calls_without_gates("x = advise(posterior, now_h=3.0, gates=found)") == []


@pytest.mark.parametrize(
    "field",
    [
        {"edible": "perhaps"},
        {"tea": "5"},
        {"area": "-1 m2"},
        {"days": "soon"},
        {"density": "1e8"},
        {"beds": "1.5"},
        {"at": "noon"},
    ],
)
def test_a_field_that_cannot_be_read_writes_nothing(notebook: Notebook, field: dict[str, str]) -> None:
    with pytest.raises(AerobeError):
        usecases.safety.record_use(notebook, replace(LETTUCE, **field), now=NOW)
    assert notebook.find(Use) == []


def test_the_limits_can_be_shown_with_their_sources() -> None:
    limits = usecases.safety.safety_limits()
    assert len(limits["limits"]) > 25 and len(limits["compost_rules"]) > 12
