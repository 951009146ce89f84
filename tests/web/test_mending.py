"""What was written in can be put right, taken back, copied and put away; what stood there stays."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.errors import UnusableForm
from aerobe.records import Arm, Assay, Brew, Recipe, Trial, Vessel
from aerobe.usecases.brews import brews_overview, brews_under_way, copy_recipe, mend, to_mend
from tests.web.conftest import Shed


def test_a_vessel_is_put_right_and_what_stood_there_stays(brewing: Shed) -> None:
    (old,) = brewing.notebook.find(Vessel)
    form = brewing.client.get(f"/shelf/vessels/{old.key}/edit").text
    assert 'value="100 L"' in form and "counts for the brew that uses it" in form
    answer = brewing.post(f"/shelf/vessels/{old.key}/edit", volume="26 US gal", why="measured again")
    assert answer.status_code == 303
    made = brewing.notebook.get(Vessel, old.key)
    assert made.volume_l == pytest.approx(26 * 3.785411784) and made.depth_m == old.depth_m
    history = brewing.client.get(f"/shelf/vessels/{old.key}/edit").text
    assert "measured again" in history and "100 L → 98.4207 L" in history


def test_what_is_left_as_it_was_keeps_its_last_digit_and_its_certainty(brewing: Shed) -> None:
    (old,) = brewing.notebook.find(Vessel)
    exact = replace(
        old, depth_m=0.123456789123, guessed=("diffuser",), air=replace(old.air, kla_per_h=12.3456789, kla_log_sd=0.0491)
    )
    brewing.notebook.change(exact, at=brewing.clock())
    fields = {item.name: item.text for item in to_mend(brewing.notebook, "vessel", old.key).fields}
    brewing.post(f"/shelf/vessels/{old.key}/edit", **{**fields, "name": "Big barrel"})
    assert brewing.notebook.get(Vessel, old.key) == replace(exact, name="Big barrel")


def test_a_guess_is_gone_when_the_number_comes(shed: Shed) -> None:
    shed.post("/brews", volume="20", volume_unit="L", flow_is="unknown")
    (vessel,), (recipe,), (brew,) = (shed.notebook.find(cls) for cls in (Vessel, Recipe, Brew))
    shed.post(f"/shelf/vessels/{vessel.key}/edit", depth="31 cm", label="8 L/min", diffuser="fine bubble")
    assert shed.notebook.get(Vessel, vessel.key).guessed == ("flow of a label",)
    shed.post(f"/shelf/vessels/{vessel.key}/edit", flow="5 L/min")
    shed.post(f"/shelf/recipes/{recipe.key}/edit", compost_dose="30 g/L", foods="molasses: 1,5 g/L\nkelp-meal: 1 g/L at 12 h")
    shed.post(f"/brews/{brew.key}/edit", temperature="64 °F", started_at="07:30")
    assert shed.notebook.get(Vessel, vessel.key).guessed == () == shed.notebook.get(Recipe, recipe.key).guessed
    made = shed.notebook.get(Brew, brew.key)
    assert made.guessed == () and made.temperature_degc == pytest.approx(17.78, abs=0.01)
    assert (brew.started_at - made.started_at).total_seconds() == 1800
    assert [(dose.food, dose.g_per_l, dose.at_h) for dose in shed.notebook.get(Recipe, recipe.key).foods] == [
        ("molasses", 1.5, 0.0),
        ("kelp-meal", 1.0, 12.0),
    ]
    assert "guesses" not in shed.client.get(f"/brews/{brew.key}").text


def test_faults_of_a_change_stand_at_their_fields_and_nothing_changes(brewing: Shed) -> None:
    (old,) = brewing.notebook.find(Vessel)
    answer = brewing.post(f"/shelf/vessels/{old.key}/edit", volume="much", depth="", flow="9")
    assert answer.status_code == 422 and brewing.notebook.get(Vessel, old.key) == old
    for name in ("volume", "depth", "flow"):
        assert f'id="{name}-wrong"' in answer.text
    assert 'value="much"' in answer.text
    assert brewing.client.get("/shelf/clouds/x/edit").status_code == 404


def test_the_start_moves_only_while_nothing_counts_from_it(brewing: Shed) -> None:
    (brew,) = brewing.notebook.find(Brew)
    brewing.post(f"/brews/{brew.key}/readings", what="oxygen", signal="8", signal_unit="mg/L")
    answer = brewing.post(f"/brews/{brew.key}/edit", started_at="2026-05-01 07:00")
    assert answer.status_code == 422 and "counts its hours from this start" in answer.text
    assert brewing.notebook.get(Brew, brew.key).started_at == brew.started_at


def test_a_reading_kept_by_mistake_is_taken_back_and_stays_in_the_history(brewing: Shed) -> None:
    (brew,), (assay,) = brewing.notebook.find(Brew), brewing.notebook.find(Assay)
    told = brewing.post(f"/brews/{brew.key}/readings", what=f"assay:{assay.key}", signal="425", json_answer=True).json()
    _, key = told["undo"].split("/")
    assert [item.key for item in brewing.notebook.readings(brew.key)] == [key]
    page = brewing.client.get(f"/brews/{brew.key}?done=Kept&undo={told['undo']}").text
    assert f'action="/brews/{brew.key}/readings/{key}/take-back"' in page and "data-fleeting" in page
    assert "take-back" not in brewing.client.get(f"/brews/{brew.key}?done=Kept&undo=//evil/x").text
    assert brewing.post(f"/brews/{brew.key}/readings/{key}/take-back").status_code == 303
    assert brewing.notebook.readings(brew.key) == []
    assert [item.key for item in brewing.notebook.readings(brew.key, with_corrected=True)] == [key]
    assert "taken back" in brewing.client.get(f"/brews/{brew.key}/readings/{key}").text
    assert brewing.post(f"/brews/other/readings/{key}/take-back").status_code == 404


def test_taking_back_a_correction_takes_back_what_it_corrected(brewing: Shed) -> None:
    (brew,), (assay,) = brewing.notebook.find(Brew), brewing.notebook.find(Assay)
    brewing.post(f"/brews/{brew.key}/readings", what=f"assay:{assay.key}", signal="425", entry="one")
    brewing.post(f"/brews/{brew.key}/readings/r-one/correct", signal="42", entry="two")
    assert brewing.post(f"/brews/{brew.key}/readings/r-one/take-back").status_code == 403  # the correction stands for it
    brewing.post(f"/brews/{brew.key}/readings/r-two/take-back")
    assert brewing.notebook.readings(brew.key) == [] and brewing.notebook.taken_back(brew.key) == {"r-one", "r-two"}


def test_a_recipe_is_copied_under_another_name(brewing: Shed) -> None:
    (old,) = brewing.notebook.find(Recipe)
    answer = brewing.post(f"/shelf/recipes/{old.key}/copy")
    assert answer.status_code == 303 and "/edit" in answer.headers["location"]
    copied = next(item for item in brewing.notebook.find(Recipe) if item.key != old.key)
    assert (copied.foods, copied.compost_g_per_l) == (old.foods, old.compost_g_per_l) and copied.name != old.name
    assert copy_recipe(brewing.notebook, old.key, name="Plain", now=brewing.clock()) == "plain"


def test_what_is_put_away_is_out_of_sight_and_comes_back(brewing: Shed) -> None:
    (brew,), (recipe,) = brewing.notebook.find(Brew), brewing.notebook.find(Recipe)
    brewing.post(f"/brews/{brew.key}/away")
    brewing.post(f"/shelf/recipes/{recipe.key}/away")
    assert not brews_overview(brewing.notebook, now=brewing.clock()).under_way
    assert not brews_under_way(brewing.notebook, now=brewing.clock())
    listed = brewing.client.get("/away").text
    assert brew.name in listed and recipe.name in listed
    assert brewing.client.get(f"/brews/{brew.key}").status_code == 200
    brewing.post(f"/brews/{brew.key}/away", back="yes")
    assert len(brews_under_way(brewing.notebook, now=brewing.clock())) == 1


def test_a_running_brew_gets_a_test_after_its_start(shed: Shed) -> None:
    shed.post("/brews", volume="20", volume_unit="L", flow_is="unknown")
    (brew,) = shed.notebook.find(Brew)
    assert brew.tests_in_budget == 0
    answer = shed.post(f"/brews/{brew.key}/test", assay="(new)", assay_name="", tests="x")
    assert answer.status_code == 422 and 'id="assay_name-wrong"' in answer.text and 'id="tests-wrong"' in answer.text
    shed.post(
        f"/brews/{brew.key}/test",
        assay="(new)",
        assay_name="Strips",
        method="colour test",
        assay_unit="ug C/mL",
        price="3",
        tests="2",
    )
    made = shed.notebook.get(Brew, brew.key)
    assert (made.tests_in_budget, made.costs.test) == (2, 3.0) and shed.notebook.get(Assay, "strips").price == 3.0


def test_a_brew_of_a_trial_keeps_what_the_plan_says(brewing: Shed) -> None:
    (brew,) = brewing.notebook.find(Brew)
    arms = (Arm(key="a", recipe=brew.recipe), Arm(key="b", recipe=brew.recipe))
    brewing.notebook.add(Trial(key="t", name="t", question="two recipes", arms=arms), at=brewing.clock())
    brewing.notebook.change(replace(brew, trial="t", arm="a"), at=brewing.clock())
    with pytest.raises(UnusableForm):
        mend(brewing.notebook, "brew", brew.key, {"recipe": "other"}, now=brewing.clock())


def test_what_was_taken_back_stays_so_in_a_copy_of_the_data(brewing: Shed, tmp_path: Path) -> None:
    (brew,), (assay,) = brewing.notebook.find(Brew), brewing.notebook.find(Assay)
    brewing.post(f"/brews/{brew.key}/readings", what=f"assay:{assay.key}", signal="425", entry="one")
    brewing.post(f"/brews/{brew.key}/readings", what=f"assay:{assay.key}", signal="42", entry="two")
    brewing.post(f"/brews/{brew.key}/readings/r-one/take-back")
    content = usecases.exchange.export_package(brewing.notebook, now=brewing.clock())
    with usecases.notebook.open_notebook(tmp_path / "copy.notebook", at=brewing.clock()) as copy:
        usecases.exchange.import_package(copy, content, now=brewing.clock())
        assert [item.key for item in copy.readings(brew.key)] == ["r-two"]
