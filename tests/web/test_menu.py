"""The menu: few entries by what a person wants to do; everything else one tap further, and nothing lost."""

from __future__ import annotations

import re
from typing import Any


def test_the_menu_has_eight_entries_at_most_and_more_leads_to_all_others(shed: Any) -> None:
    html = shed.client.get("/shelf").text
    rail = html[html.index('<nav class="rail"') : html.index("</nav>")]
    shown = re.findall(r'<a href="(/[^"]*)"', rail)
    assert len(shown) <= 8 and shown[-1] == "/menu"
    everything = set(re.findall(r'<a href="(/[^"?]*)"', shed.client.get("/menu").text))
    assert {item.href for item in shed.app.state.menu} <= everything
    for entry in shed.app.state.menu:
        page = shed.client.get(entry.href).text
        rail = page[page.index('<nav class="rail"') : page.index("</nav>")]
        assert rail.count('aria-current="page"') == 1, entry.href  # a person always sees where they are


def test_a_test_is_judged_from_its_steps_in_three_lines_with_the_rest_behind_them(shed: Any) -> None:
    html = shed.client.get("/assay").text
    assert html.index("1. Clean water") < html.index("3. The same, killed") < html.index("More: a table of readings")
    typed = {"water": "5 6 4 7", "again": "140 150 161", "killed": "22 25 20", "recipe": "Leaf tea"}
    told = shed.post("/assay", **typed).text
    first = told[told.index('class="call') : told.index("The whole certificate")]
    for words in ("Good for", "Not for", "Next", "Leaf tea"):
        assert words in first
    assert "Scatter." in told and "Scatter." not in first  # the dense paragraphs are one tap away
    slip = shed.post("/assay", **{**typed, "killed": "22 dark"})
    assert slip.status_code == 422 and "&#39;dark&#39; is no reading" in slip.text and 'value="140 150 161"' in slip.text
