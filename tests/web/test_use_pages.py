"""The page of a use, asked and kept."""

from __future__ import annotations

import pytest

from tests.web.conftest import Shed


@pytest.mark.parametrize("do", ["ask", "keep"])
def test_a_question_that_is_answered_with_the_brew_is_shown_with_the_way_there(brewing: Shed, do: str) -> None:
    # Nobody tested the water of this recipe; the answer belongs to the brew and has no field in the form of a use.
    answer = brewing.post("/safety/use", brew="barrel-1", place="bed 1", method="drench", do=do)
    assert answer.status_code == 200
    asked = answer.text.split("Still asked for this use")[1].split("</section>")[0]
    assert "Is the water drinking water" in asked and 'href="/safety/brews/barrel-1"' in asked
    there = brewing.client.get("/safety/brews/barrel-1").text
    assert "E. coli in 100 mL of this water" in there
