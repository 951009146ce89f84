"""From an empty notebook to a running brew, and the second one: few answers, all faults at once."""

from __future__ import annotations

import re

from aerobe.records import Brew
from tests.web.conftest import Shed


def test_four_questions_stand_before_the_button_and_the_rest_is_folded(shed: Shed) -> None:
    html = shed.client.get("/brews/new").text
    asked = html[html.index("<form") : html.index("Start the clock")]
    labels = re.findall(r"<(?:label for=\"[^\"]*\"|legend)>([^<]*)", asked)
    assert labels == [
        "How much water is in it?",
        "How much compost?",
        "What food?",
        "How much of it?",
        "How much air?",
        "Air flow, or watts of the pump",
    ]
    assert "(optional)" not in asked and "required" not in asked
    rest = html[html.index("Start the clock") :]
    assert rest.count('<details class="card"') == 4 and '<details class="card" open' not in rest


def test_every_fault_stands_beside_its_field(shed: Shed) -> None:
    answer = shed.post(
        "/brews", volume="", compost_amount="some", compost_amount_unit="kg", flow="lots", flow_is="label", tests="x"
    )
    assert answer.status_code == 422
    wrong = re.findall(r"<input id=\"(\w+)\"[^>]* aria-invalid=\"true\" aria-describedby=\"([^\"]*)\"", answer.text)
    assert [name for name, _ in wrong] == ["volume", "compost_amount", "flow", "tests"]
    for name, described in wrong:
        assert f"{name}-wrong" in described.split() and f'id="{name}-wrong"' in answer.text
        assert f'href="#{name}"' in answer.text
    assert "&#39;&#39;" not in answer.text and 'value="some"' in answer.text
    assert not shed.notebook.find(Brew)


def test_a_brew_of_one_answer_runs_and_says_what_is_guessed(shed: Shed) -> None:
    answer = shed.post("/brews", volume="20", volume_unit="L", flow_is="unknown")
    assert answer.status_code == 303
    html = shed.client.get(answer.headers["location"]).text
    assert "guesses, so the call is less sure" in html and "Put it right" in html


def test_the_same_again_is_one_form_that_is_filled_already(brewing: Shed) -> None:
    (brew,) = brewing.notebook.find(Brew)
    html = brewing.client.get(f"/brews/new?again={brew.key}").text
    for name, key in (("vessel", brew.vessel), ("recipe", brew.recipe)):
        assert re.search(rf"<select id=\"{name}\"[^>]*>\s*<option value=\"{key}\" selected", html)
    second = brewing.post("/brews", vessel=brew.vessel, recipe=brew.recipe, assay="home-colour-test", tests="4")
    assert second.status_code == 303
    made = next(item for item in brewing.notebook.find(Brew) if item.key != brew.key)
    assert (made.vessel, made.recipe, made.tests_in_budget) == (brew.vessel, brew.recipe, 4)
    assert brewing.client.get("/brews/new?again=none").status_code == 404
