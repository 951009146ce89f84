"""What is noted of a tea and its compost counts for every use: tubes, plates, heat logs, materials, germs, water."""

from __future__ import annotations

from dataclasses import replace

import pytest

from aerobe import usecases
from aerobe.errors import AerobeError, UnusableReading, UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Compost
from aerobe.safety import HOLD_BACK, NOTHING_AGAINST
from tests.safety.garden import BEANS, LETTUCE, NOW, TUBES, held_back, notebook

__all__ = ["notebook"]  # fixtures


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
