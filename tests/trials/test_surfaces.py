"""Trials as use cases, on the command line and on the page, over an invented notebook."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from aerobe import cli, usecases
from aerobe.errors import NotAllowed, NotAQuantity, NotEnoughData, NotFound, UnusableRecord
from aerobe.records import AirSupply, Arm, Assay, AssayError, Brew, Compost, Reading, Recipe, Trial, Vessel
from aerobe.usecases.trials import JudgedBy
from aerobe.web import ServeSettings, create_app, open_state
from tests.fewer import fewer_trials

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=timezone(timedelta(hours=2)))
TESTS = {"a": 10.0, "b": 10.8, "c": 9.4, "d": 26.0, "e": 23.5, "f": 28.0}


@pytest.fixture(autouse=True)
def brisk() -> Iterator[None]:
    """What a plan says is held by the room's own tests; here it is whether every way to it leads there."""
    with fewer_trials():
        yield


@pytest.fixture
def notebook(tmp_path: Path) -> Iterator[Any]:
    """Two recipes, two vessels, a colour test; no brew yet."""
    with usecases.notebook.open_notebook(tmp_path / "t.notebook", at=NOW) as made:
        made.add(Compost(key="leaf", name="Leaf mould"), at=NOW)
        for key in ("plain", "kelp"):
            made.add(Recipe(key=key, name=key, compost="leaf", compost_g_per_l=30.0), at=NOW)
        for key in ("north", "south"):
            made.add(Vessel(key=key, name=key, volume_l=20.0, depth_m=0.3, air=AirSupply(flow_l_per_min=10.0)), at=NOW)
        error = AssayError(constant_sd=0.3, proportional_cv=0.05, origin="certificate")
        made.add(Assay(key="card", name="Home colour test", method="colour test", error=error), at=NOW)
        yield made


def brew_all(notebook: Any, *, killed: bool) -> None:
    """Six brews of a trial with their readings at 24 h."""
    notebook.add(
        Trial(
            key="k",
            name="Kelp?",
            question="two recipes",
            margin_ratio=1.5,
            planned_at=NOW,
            arms=(Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp")),
        ),
        at=NOW,
    )
    for key, value in TESTS.items():
        arm = "plain" if key in "abc" else "kelp"
        notebook.add(Brew(key=key, name=key, recipe=arm, vessel="north", started_at=NOW, trial="k", arm=arm), at=NOW)
        for role, signal in (("sample", value + 4.0), ("killed control", 4.0)):
            if role == "sample" or killed:
                notebook.add(
                    Reading(
                        key=f"{key}-{role[0]}",
                        brew=key,
                        assay="card",
                        role=role,
                        elapsed_h=24.0,
                        signal=signal,
                        unit="ug C/mL",
                        typed_as=str(signal),
                    ),
                    at=NOW,
                )


WISH = usecases.trials.TrialWish(
    name="Spring kelp", arms="plain, kelp", scatter="0.3", money="800", margin="2", vessels="2", days="40", seed="1"
)


# --- use cases ----------------------------------------------------------------------------------------------------------------


def test_a_plan_writes_nothing_and_a_start_writes_trial_and_sheet(notebook) -> None:
    planned = usecases.trials.plan_for(notebook, WISH, now=NOW)
    assert planned.plan.can_answer and notebook.find(Trial) == []
    key = usecases.trials.start_trial(notebook, WISH, now=NOW)
    view = usecases.trials.trial_view(notebook, key)
    assert view.sheet is not None and len(view.waiting) == len(view.sheet.brews) == 2 * planned.plan.recommended.brews_per_arm
    assert {brew.vessel for brew in view.sheet.brews} == {"north", "south"}
    assert view.trial.planned_at == NOW and view.trial.margin_ratio == 2.0


def test_a_planned_brew_begins_with_what_the_sheet_says(notebook) -> None:
    key = usecases.trials.start_trial(notebook, WISH, now=NOW)
    planned = usecases.trials.trial_view(notebook, key).waiting[0]
    usecases.trials.start_planned_brew(notebook, key, planned.blind_code, now=NOW)
    brew = notebook.get(Brew, planned.brew)
    assert (brew.recipe, brew.vessel, brew.block, brew.blind_code) == (
        planned.arm,
        planned.vessel,
        planned.block,
        planned.blind_code,
    )
    assert len(usecases.trials.trial_view(notebook, key).brews) == 1
    with pytest.raises(NotFound, match="code"):
        usecases.trials.start_planned_brew(notebook, key, "ZZZ", now=NOW)


def test_the_verdict_needs_the_killed_control(notebook) -> None:
    brew_all(notebook, killed=False)
    found = usecases.trials.verdict_of_trial(notebook, "k", now=NOW)
    assert found.comparisons[0].call == "can't tell yet" and found.claims.startswith("signal only")


def test_with_killed_controls_the_trial_is_told(notebook) -> None:
    brew_all(notebook, killed=True)
    found = usecases.trials.verdict_of_trial(notebook, "k", now=NOW)
    assert found.comparisons[0].call == "better"
    assert usecases.trials.next_trial(notebook, "k", now=NOW).trial is None
    assert [picture.title for picture in usecases.trials.verdict_pictures(found, ())]
    assert all(isinstance(line, str) for line in usecases.trials.verdict_lines(found))


def test_cost_per_biomass_turns_the_ratio_round(notebook) -> None:
    brew_all(notebook, killed=True)
    biomass = usecases.trials.verdict_of_trial(notebook, "k", now=NOW).comparisons[0]
    cost = usecases.trials.verdict_of_trial(notebook, "k", by=JudgedBy(outcome="cost per biomass"), now=NOW).comparisons[0]
    assert cost.effect == pytest.approx(-biomass.effect) and cost.call == "better"


def test_looks_are_counted_by_new_data_only(notebook) -> None:
    brew_all(notebook, killed=True)
    for _ in range(2):
        found = usecases.trials.verdict_of_trial(notebook, "k", now=NOW)
        usecases.trials.keep_verdict(notebook, "k", found, now=NOW)
        assert found.looks == 1
    notebook.add(Brew(key="g", name="g", recipe="kelp", vessel="south", started_at=NOW, trial="k", arm="kelp"), at=NOW)
    for role, signal in (("sample", 31.0), ("killed control", 4.0)):
        notebook.add(
            Reading(
                key=f"g{role[0]}",
                brew="g",
                assay="card",
                role=role,
                elapsed_h=24.0,
                signal=signal,
                unit="ug C/mL",
                typed_as=str(signal),
            ),
            at=NOW,
        )
    assert usecases.trials.verdict_of_trial(notebook, "k", now=NOW).looks == 2


def test_recipes_compared_afterwards_are_marked(notebook) -> None:
    brew_all(notebook, killed=True)
    found = usecases.trials.compare_recipes(notebook, "kelp", "plain", now=NOW)
    assert not found.comparisons[0].planned and found.comparisons[0].call == "better"
    with pytest.raises(UnusableRecord, match="itself"):
        usecases.trials.compare_recipes(notebook, "kelp", "kelp", now=NOW)
    with pytest.raises(NotEnoughData):
        usecases.trials.compare_recipes(notebook, "kelp", "plain", outcome="oxygen", now=NOW)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"name": ""}, "name"),
        ({"margin": "much"}, "worth having"),
        ({"arms": ""}, "arms"),
        ({"vessels": "2.5"}, "whole"),
        ({"outcome": "taste"}, "outcome"),
        ({"question": "dose series", "arms": "-1, 0, 2"}, "weighed"),
        ({"question": "brewing time", "arms": "short, long", "of_recipe": "kelp"}, "time since"),
        ({"question": "brewing time", "arms": "-5 h, 24 h", "of_recipe": "kelp"}, "sampled"),
        ({"seed": "1.7"}, "whole"),
        ({"sample_at": "-4 h"}, "sampled"),
        ({"sample_at": "24 h, 5000 h"}, "sampled"),
        ({"money": "x"}, "budget"),
        ({"start": "soon"}, "time"),
        ({"vessel_names": "attic"}, "vessel"),
        ({"question": "factors", "arms": "kelp"}, "factor"),
    ],
)
def test_a_wish_that_cannot_be_understood_names_the_field(notebook, change: dict[str, str], word: str) -> None:
    from dataclasses import replace

    with pytest.raises((UnusableRecord, NotFound, NotAQuantity)) as fault:
        usecases.trials.start_trial(notebook, replace(WISH, **change), now=NOW)
    assert word in str(fault.value)
    assert notebook.find(Trial) == []


def test_wishes_of_every_question_become_arms(notebook) -> None:
    def arms(**more: str) -> list[Arm]:
        return list(
            usecases.trials.plan_for(
                notebook,
                usecases.trials.TrialWish(name="x", scatter="0.3", money="3000", vessels="8", days="90", **more),
                now=NOW,
            ).trial.arms
        )

    assert [arm.dose for arm in arms(question="dose series", arms="0,5; 1,0; 2")] == [0.5, 1.0, 2.0, 0.0]
    assert len(arms(question="factors", arms="molasses: 0 / 2; kelp: 0 / 1; air: 1 / 3", runs="4")) == 4
    assert [arm.recipe for arm in arms(question="brewing time", arms="24 h, 36 h", of_recipe="kelp")] == ["kelp", "kelp"]
    hours = arms(question="brewing time", arms="90 min; 16,5 h; 1 day", of_recipe="kelp")
    assert [(arm.key, arm.dose) for arm in hours] == [("1.5-h", 1.5), ("16.5-h", 16.5), ("24-h", 24.0)]
    wish = usecases.trials.TrialWish(question="brewing time", arms="36 h, 24 h")
    assert wish.sampling_hours() == (24.0, 36.0)  # every brew at the hours of all arms, so that none tells its arm
    assert {arm.key for arm in arms(question="field response", arms="kelp", outcome="yield")} == {
        "kelp",
        "water",
        "compost-solids",
    }


def test_a_table_of_pots_is_judged(notebook) -> None:
    trial = Trial(
        key="p",
        name="x",
        question="field response",
        outcome="yield",
        arms=(Arm(key="water", is_standard=True), Arm(key="tea", recipe="tea")),
    )
    rows = [
        {"arm": arm, "value": str(value), "unit": f"{arm}{i}", "block": f"bench {i}"}
        for arm, values in (("water", (10, 12, 9, 11)), ("tea", (15, 18.5, 13.2, 16.4)))
        for i, value in enumerate(values)
    ]
    assert usecases.trials.judge_table(notebook, trial, rows, now=NOW).comparisons[0].call == "better"
    with pytest.raises(UnusableRecord, match="Row 2"):
        usecases.trials.judge_table(notebook, trial, [rows[0], {"arm": "tea"}], now=NOW)


# --- command line ---------------------------------------------------------------------------------------------------------------


def said(capsys, *words: str) -> tuple[int, str]:
    code = cli.run(list(words))
    return code, capsys.readouterr().out


def test_commands_plan_print_and_judge(notebook, tmp_path, capsys, monkeypatch) -> None:
    brew_all(notebook, killed=True)
    monkeypatch.setenv("AEROBE_NOTEBOOK", str(tmp_path / "t.notebook"))
    monkeypatch.chdir(tmp_path)
    asked = (
        "trial",
        "plan",
        "--name",
        "Spring",
        "--arms",
        "plain, kelp",
        "--scatter",
        "0.3",
        "--margin",
        "2",
        "--money",
        "700",
        "--seed",
        "1",
    )
    code, out = said(capsys, *asked, "--begin", "--json")
    plan = json.loads(out)
    assert code == 0 and plan["can_answer"] and plan["started"] == "spring"
    assert said(capsys, "trial", "sheet", "spring")[0] == 0 and (tmp_path / "spring-run-sheet.html").exists()
    assert said(capsys, "trial", "calendar", "spring")[0] == 0 and (tmp_path / "spring.ics").read_bytes().startswith(
        b"BEGIN:VCALENDAR"
    )
    code, out = said(capsys, "trial", "verdict", "k")
    assert code == 0 and "kelp is better than plain" in out
    assert json.loads(said(capsys, "trial", "verdict", "k", "--json")[1])["comparisons"][0]["call"] == "better"
    assert "Every planned comparison is told" in said(capsys, "trial", "next", "k")[1]
    assert "(unplanned)" in said(capsys, "trial", "compare", "kelp", "plain")[1]
    assert [item["key"] for item in json.loads(said(capsys, "trial", "list", "--json")[1])] == ["k", "spring"]
    assert "waiting" in said(capsys, "trial", "show", "spring")[1]


def test_a_table_that_tells_nothing_leaves_with_its_own_exit_code(tmp_path, capsys) -> None:
    file = tmp_path / "pots.csv"
    file.write_text("arm,value,unit\nwater,1,p1\nwater,9,p2\ntea,2,p3\ntea,8,p4\n", encoding="utf-8")
    code, out = said(capsys, "trial", "judge", str(file), "--outcome", "yield")
    assert code == cli.NOT_SETTLED and "Can't tell yet" in out


def test_sampling_times_come_from_the_brew_model(notebook) -> None:
    found = usecases.trials.suggest_sampling_times(notebook, "kelp", "north", samples=4, courses=60)
    assert len(found.times_h) == 4 and 0 < found.efficiency_of_even <= 1 + 1e-9
    assert all(later - earlier >= 2.0 - 1e-6 for earlier, later in zip(found.times_h, found.times_h[1:], strict=False))


# --- pages ----------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def client(notebook, tmp_path) -> Iterator[TestClient]:
    settings = ServeSettings(watching=False, photos=tmp_path / "photos", burst=5000, per_s=5000)
    app = create_app(notebook, state=open_state(None), clock=lambda: NOW, settings=settings)
    app.state.thinker.advise = None
    with TestClient(app, base_url="http://localhost") as made:
        token = re.search(r'name="aerobe-form" content="(\w+)"', made.get("/menu").text)[1]
        made.headers["x-aerobe-form"] = token
        yield made


FORM = {
    "name": "Spring",
    "question": "two recipes",
    "arms": "plain, kelp",
    "margin": "2",
    "money": "800",
    "scatter": "0.3",
    "vessels": "2",
    "days": "40",
    "seed": "1",
}


def test_pages_from_plan_to_first_brew(client, notebook) -> None:
    assert "Plan a trial" in client.get("/trials").text
    assert "worth having" in client.get("/trials/new").text
    planned = client.post("/trials/plan", data=FORM)
    assert planned.status_code == 200 and "would be told" in planned.text and notebook.find(Trial) == []
    begun = client.post("/trials", data=FORM, follow_redirects=False)
    assert begun.status_code == 303
    page = client.get("/trials/spring").text
    code = re.search(r'name="code" value="(\w+)"', page)[1]
    assert client.post("/trials/spring/begin", data={"code": code}, follow_redirects=False).status_code == 303
    assert len(notebook.find(Brew, of="spring")) == 1
    sheet = client.get("/trials/spring/sheet")
    assert "/trials/run-sheet.css" in sheet.text and "<style" not in sheet.text and code in sheet.text
    assert client.get("/trials/run-sheet.css").headers["content-type"].startswith("text/css")
    assert client.get("/trials/spring/calendar.ics").headers["content-type"].startswith("text/calendar")


def test_a_fault_brings_the_form_back_with_what_was_typed(client) -> None:
    answer = client.post("/trials/plan", data={**FORM, "money": "lots"})
    assert answer.status_code == 422 and "lots" in answer.text and "is no number" in html.unescape(answer.text)


def test_the_verdict_page_shows_points_rivals_and_check(client, notebook) -> None:
    brew_all(notebook, killed=False)
    answer = client.post("/trials/k/judge", data={}, follow_redirects=True)
    text = html.unescape(answer.text)
    assert answer.status_code == 200 and "Another explanation: colour" in text and "killed control" in text
    assert "Frequentist check" in text and "<svg" in text
    assert client.get("/api/trials/k/verdict").json()["comparisons"][0]["call"] == "can't tell yet"


def test_the_comparison_page(client, notebook) -> None:
    brew_all(notebook, killed=True)
    assert client.get("/compare").status_code == 200
    asked = {"first": "kelp", "second": "plain", "outcome": "biomass", "margin": "1.25"}
    assert client.get("/compare", params=asked).status_code == 422  # asking is a look, and looking up is not asking
    text = html.unescape(client.post("/compare", data=asked, follow_redirects=True).text)
    assert "kelp is better than plain" in text and "(unplanned)" in text
    assert client.post("/compare", data={**asked, "second": "kelp"}).status_code == 422


def test_the_plan_answers_programs(client) -> None:
    assert client.post("/api/trials/plan", json=FORM).json()["can_answer"] is True


def test_power_through_the_brew_model_is_the_same_with_any_workers(notebook) -> None:
    key = usecases.trials.start_trial(notebook, WISH, now=NOW)
    scatter, seen = usecases.trials.scatter_of_words("0.3"), []
    common = {"scatter": scatter, "simulations": 120}
    here = usecases.trials.power_through_model(notebook, key, workers=1, progress=lambda done, all_: seen.append(done), **common)
    assert usecases.trials.power_through_model(notebook, key, workers=2, **common) == here
    assert seen == [100, 120] and here.simulations == 120
    # The two recipes of this notebook are alike but for their names.
    assert here.true_ratio[0] == pytest.approx(1.0) and here.better[0] + here.worse[0] < 0.15


def test_a_cluster_without_dask_says_what_to_install(notebook) -> None:
    try:
        import distributed  # noqa: F401
    except ImportError:
        key = usecases.trials.start_trial(notebook, WISH, now=NOW)
        with pytest.raises(NotAllowed, match="cluster"):
            usecases.trials.power_through_model(
                notebook, key, scatter=usecases.trials.scatter_of_words("0.3"), cluster="tcp://127.0.0.1:1"
            )
