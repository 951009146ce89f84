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
