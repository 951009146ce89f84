"""The use cases: what the notebook holds becomes gates, and no function of it leads a held-back brew onto lettuce."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from pytest import approx

from aerobe import usecases
from aerobe.errors import AerobeError, NotFound, UnusableReading, UnusableRecord
from aerobe.notebook import Notebook, open_notebook
from aerobe.records import AirSupply, Brew, Compost, FoodDose, Harvest, HeatLog, Recipe, SensorLog, Use, Vessel
from aerobe.safety import HOLD_BACK, LOCAL, NOTHING_AGAINST

START = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
HOT = HeatLog(
    days=tuple(map(float, range(17))), temperatures_degc=(60.0,) * 16 + (30.0,), turned_on_days=(2.0, 5.0, 8.0, 11.0, 14.0)
)
HEATED = Compost(key="heap", name="Old barn heap", process="windrow", animal_origin=True, carbon_to_nitrogen=30.0, heat=HOT)
PLAIN = Recipe(key="plain", name="Plain", compost="heap", compost_g_per_l=50.0, water="tap, dechlorinated")
FED = replace(PLAIN, key="fed", name="Fed", foods=(FoodDose(food="cane-molasses", g_per_l=2.0),))
LETTUCE = usecases.safety.UseEntry(
    brew="clean",
    crop="lettuce",
    edible="yes",
    touches="yes",
    soil="yes",
    days="20",
    method="foliar spray",
    tea="5 L",
    water="5 L",
    area="20 m2",
    beds="2",
    spray_place="outdoors",
    wind="2",
    inversion="no",
    coarse="yes",
    clear="8",
    water_clear="yes",
    neighbours_clear="yes",
    people_away="yes",
    animals_away="yes",
    mask="yes",
    warmth="18",
    uv="1",
    drops="300",
    density="1e8 5e7 2e8 /mL",
    seedling="no",
    raw="yes",
    smoked="no",
    grazed="no",
    people="no",
    organic="no",
    in_water="no",
)
NOW = START + timedelta(hours=24)


@pytest.fixture
def notebook(tmp_path: Path) -> Iterator[Notebook]:
    """An invented garden with four brews: clean, fed, starved of oxygen, and made of an unknown compost."""
    with open_notebook(tmp_path / "tea.notebook", at=START) as book:
        for record in (
            HEATED,
            Compost(key="bag", name="Bag without label"),
            PLAIN,
            FED,
            replace(PLAIN, key="bagged", compost="bag"),
            Vessel(key="bin", name="Bin", volume_l=20.0, depth_m=0.3, air=AirSupply(flow_l_per_min=10.0)),
        ):
            book.add(record, at=START)
        for key, recipe, low in (
            ("clean", "plain", 6.0),
            ("fed", "fed", 6.0),
            ("starved", "plain", 0.5),
            ("unknown", "bagged", 6.0),
        ):
            book.add(Brew(key=key, name=key, recipe=recipe, vessel="bin", started_at=START), at=START)
            times = tuple(0.5 * step for step in range(49))
            oxygen = tuple(low if step == 41 else 6.5 + 0.1 * (step % 2) for step in range(49))
            book.append_log(SensorLog(brew=key, channel="oxygen", elapsed_h=times, values=oxygen), at=NOW)
            book.append_log(SensorLog(brew=key, channel="temperature", elapsed_h=times, values=(21.0,) * 49), at=NOW)
            book.keep(
                "advice", key, {"oxygen": {"floor_mg_per_l": 2.0, "probability_below": 0.02, "holding_time_low_h": 0.5}}, at=NOW
            )
            usecases.safety.note_smell(book, key, "earthy", now=NOW)
        usecases.safety.note_material(book, "heap", made_of="manure, plants", certificate="112.55(a)", soiled="no", now=START)
        usecases.safety.note_material(book, "bag", made_of="manure", soiled="no", now=START)
        usecases.safety.choose_place(book, "US", now=START)
        yield book


def held_back(answer: usecases.safety.UseAnswer) -> set[str]:
    return {gate.name for gate in answer.gates if not gate.is_open}


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


TUBES = usecases.safety.IndicatorTest(
    brew="fed", germ="E. coli", amounts_ml=(10.0, 1.0, 0.1), tubes=(3, 3, 3), positives=(3, 1, 1)
)
BEANS = replace(
    LETTUCE,
    brew="fed",
    crop="beans",
    touches="no",
    days="10",
    method="watering can",
    soil="no",
    in_soil="no",
    later="no",
    there="yes",
)


@pytest.mark.parametrize(
    ("positives", "state"),
    # FDA BAM App. 2, tubes of 10, 1, 0.1 mL: 3-1-1 is 75 per 100 mL with an upper end over 126; 3-2-1 is 150.
    [
        ((3, 1, 1), "not shown to pass"),
        ((3, 2, 1), "fails"),
        ((0, 0, 0), "shown to pass"),
        ((1, 0, 0), "shown to pass"),
        ((3, 3, 3), "fails"),
    ],
)
def test_tubes_become_a_finding(notebook: Notebook, positives: tuple[int, ...], state: str) -> None:
    finding = usecases.safety.note_indicator_test(notebook, replace(TUBES, positives=positives), now=NOW)
    assert finding.state == state
    gates = {gate.name: gate.state for gate in usecases.safety.ask_use(notebook, BEANS, now=NOW).gates}
    assert gates["eaten"] == ("closed" if state == "fails" else "open")


@pytest.mark.parametrize("method", ["foliar spray", "canopy", "mister", "", "rain gun", "spray can"])
def test_a_passed_test_does_not_let_an_additive_tea_be_sprayed_on_lettuce(notebook: Notebook, method: str) -> None:
    usecases.safety.note_indicator_test(notebook, replace(TUBES, positives=(0, 0, 0)), now=NOW)
    for touches in ("yes", "no", ""):
        answer = usecases.safety.ask_use(notebook, replace(LETTUCE, brew="fed", touches=touches, method=method), now=NOW)
        assert answer.call == HOLD_BACK and "eaten" in held_back(answer)


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


def test_one_failed_test_is_not_undone_by_another(notebook: Notebook) -> None:
    usecases.safety.note_indicator_test(notebook, replace(TUBES, positives=(3, 3, 1)), now=NOW)
    usecases.safety.note_indicator_test(notebook, replace(TUBES, positives=(0, 0, 0)), now=NOW)
    assert "eaten" in held_back(usecases.safety.ask_use(notebook, BEANS, now=NOW))


def test_plates_become_a_finding(notebook: Notebook) -> None:
    plates = usecases.safety.IndicatorTest(brew="fed", germ="enterococci", amounts_ml=(10.0, 10.0), colonies=(0, 0))
    # No colony in 20 mL: under 3.7 / 20 mL = 18 per 100 mL (Poisson, 97.5 %), or 3.0 / 20 mL (95 %).
    assert usecases.safety.note_indicator_test(notebook, plates, now=NOW).state == "shown to pass"
    assert (
        usecases.safety.note_indicator_test(notebook, replace(plates, amounts_ml=(1.0, 1.0)), now=NOW).state
        == "not shown to pass"
    )


@pytest.mark.parametrize(
    "bad",
    [
        replace(TUBES, germ="Listeria"),
        replace(TUBES, positives=(4, 0, 0)),
        replace(TUBES, colonies=(1,)),
        replace(TUBES, tubes=(), positives=()),
    ],
)
def test_an_impossible_test_is_refused_and_not_kept(notebook: Notebook, bad: usecases.safety.IndicatorTest) -> None:
    with pytest.raises(UnusableReading):
        usecases.safety.note_indicator_test(notebook, bad, now=NOW)
    assert notebook.kept("indicator test", "fed") == []


def test_a_heat_log_typed_later_lets_it_be_poured_at_the_foot_but_not_sprayed(notebook: Notebook) -> None:
    log = "\n".join(f"{day} {'142,5' if day < 16 else '86'} {'turned' if day in (2, 5, 8, 11, 14) else ''}" for day in range(17))
    usecases.safety.note_compost_history(notebook, "bag", now=NOW, process="windrow", log=log, unit="degF", ratio="30:1")
    assert usecases.safety.check_compost(notebook, "bag").state == "shown to pass"
    assert usecases.safety.check_compost(notebook, "bag", place="US organic").state == "shown to pass"
    # 21 CFR 112.56(a)(2): composting meets 112.55(b), contact is kept to the least.
    poured = replace(LETTUCE, brew="unknown", method="watering can", touches="no", in_soil="no", there="yes")
    assert usecases.safety.ask_use(notebook, poured, now=NOW).call == NOTHING_AGAINST
    assert usecases.safety.ask_use(notebook, replace(poured, method="foliar spray", touches="yes"), now=NOW).call == HOLD_BACK


@pytest.mark.parametrize(
    "note",
    [
        {"made_of": "sewage sludge"},
        {"made_of": "human waste"},
        {"soiled": "yes"},
        {"certificate": "112.55(b)"},
    ],
)
def test_what_is_noted_of_a_compost_holds_its_teas(notebook: Notebook, note: dict[str, str]) -> None:
    usecases.safety.note_material(notebook, "heap", now=NOW, **note)
    assert usecases.safety.ask_use(notebook, LETTUCE, now=NOW).call == HOLD_BACK


@pytest.mark.parametrize("field", ["made_of", "soiled", "animal_food"])
def test_what_is_said_with_a_use_cannot_undo_what_is_noted(notebook: Notebook, field: str) -> None:
    usecases.safety.note_material(notebook, "heap", made_of="sewage sludge", soiled="yes", now=NOW)
    for answer in ("", "plants" if field == "made_of" else "no"):
        assert usecases.safety.ask_use(notebook, replace(LETTUCE, **{field: answer}), now=NOW).call == HOLD_BACK


def test_a_germ_that_was_found_is_not_undone(notebook: Notebook) -> None:
    usecases.safety.note_germ(notebook, "clean", "Salmonella", "not found", now=NOW)
    assert usecases.safety.ask_use(notebook, LETTUCE, now=NOW).call == NOTHING_AGAINST
    usecases.safety.note_germ(notebook, "clean", "Salmonella", "found", now=NOW)
    usecases.safety.note_germ(notebook, "clean", "Salmonella", "not found", now=NOW)
    assert "disease germs" in held_back(usecases.safety.ask_use(notebook, LETTUCE, now=NOW))
    with pytest.raises(UnusableRecord):
        usecases.safety.note_germ(notebook, "clean", "Salmonella", "perhaps", now=NOW)


def test_a_stricter_rule_of_ones_own_counts_for_every_use(notebook: Notebook) -> None:
    usecases.safety.set_own_rule(notebook, days="21", test="no", now=NOW)
    assert "eaten" in held_back(usecases.safety.ask_use(notebook, LETTUCE, now=NOW))
    assert usecases.safety.ask_use(notebook, replace(LETTUCE, days="21"), now=NOW).call == NOTHING_AGAINST
    usecases.safety.set_own_rule(notebook, days="0", test="yes", now=NOW)
    assert "own rule" in held_back(usecases.safety.ask_use(notebook, LETTUCE, now=NOW))


def test_the_answer_names_the_cell_that_decided_and_what_is_still_asked(notebook: Notebook) -> None:
    data = usecases.safety.ask_use(notebook, LETTUCE, now=NOW).as_data()
    assert [(row["cell"], row["paragraph"]) for row in data["decided_by"]] == [("treated-a", "112.56(a)(3)")]
    assert data["asks"] == []
    asked = usecases.safety.ask_use(notebook, replace(LETTUCE, smoked="", seedling=""), now=NOW)
    assert [item.fact for item in asked.asks] == ["seedling"]  # smoked or not: the same cell


@pytest.mark.parametrize(
    "bad", [{"made_of": "plants, moon dust"}, {"certificate": "class C"}, {"pigs": "some"}, {"own_days": "a week"}]
)
def test_an_answer_that_cannot_be_read_says_what_can(notebook: Notebook, bad: dict[str, str]) -> None:
    with pytest.raises(AerobeError):
        usecases.safety.ask_use(notebook, replace(LETTUCE, **bad), now=NOW)


@pytest.mark.parametrize("log", ["0 60\n1", "0 sixty", "0 60 mixed", "1 60\n0 60", "0 600"])
def test_a_bad_line_of_a_heat_log_changes_nothing(notebook: Notebook, log: str) -> None:
    with pytest.raises(AerobeError):
        usecases.safety.note_compost_history(notebook, "bag", now=NOW, log=log, unit="degC")
    assert notebook.get(Compost, "bag").heat is None


def test_water_with_e_coli_makes_it_untreated(notebook: Notebook) -> None:
    usecases.safety.note_water_test(notebook, "plain", e_coli_found=True, now=NOW)
    answer = usecases.safety.ask_use(notebook, LETTUCE, now=NOW)
    assert answer.tea.kind == "untreated" and "eaten" in held_back(answer)


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
