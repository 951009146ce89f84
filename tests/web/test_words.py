"""Words, digits and signs of pages."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import unescape

from aerobe.records import Assay, Brew
from aerobe.usecases.trials import steps_in_words
from tests.web.conftest import Shed

LETTERS = re.compile(r"\b(degC|degF|ug C|ug/mL|uS/cm)\b|\+-|attainable|expected loss|lot number")


def seen(html: str) -> str:
    """What a person reads of a page."""
    bare = re.sub(r"<(script|style|code|textarea)\b.*?</\1>", " ", html, flags=re.DOTALL)
    return unescape(re.sub(r"<[^>]*>", " ", bare))


def test_no_page_prints_letters_in_the_place_of_signs(brewing: Shed) -> None:
    (brew,), (assay,) = brewing.notebook.find(Brew), brewing.notebook.find(Assay)
    brewing.post(f"/brews/{brew.key}/readings", what=f"assay:{assay.key}", signal="1203,5", entry="one")
    brewing.post(f"/brews/{brew.key}/readings", what="temperature", signal="21", signal_unit="degC")
    for path in (
        "/",
        "/brews/new",
        "/shelf",
        f"/brews/{brew.key}",
        f"/brews/{brew.key}/edit",
        f"/brews/{brew.key}/record",
        f"/brews/{brew.key}/record?what=temperature",
        f"/brews/{brew.key}/readings/r-one",
        f"/brews/{brew.key}/harvest",
        "/oxygen",
        "/safety",
        "/assay",
        "/trials/new",
    ):
        answer = brewing.client.get(path)
        assert answer.status_code == 200, path
        assert LETTERS.search(seen(answer.text)) is None, (path, LETTERS.search(seen(answer.text)))
    told = brewing.post(f"/brews/{brew.key}/readings", what=f"assay:{assay.key}", signal="7 µg C/mL", json_answer=True)
    assert told.status_code == 200, told.text
    page = " ".join(seen(brewing.client.get(f"/brews/{brew.key}").text).split())
    assert "1203,5 µg C/mL" in page and "100 L" in page and "100.0" not in page


def test_what_a_sheet_asks_for_is_counted() -> None:
    @dataclass
    class Asked:
        role: str

    asked = [Asked("sample"), Asked("sample"), Asked("killed control"), Asked("sample"), Asked("blank")]
    assert steps_in_words(asked) == "3 samples, 1 killed control and 1 blank"  # type: ignore[arg-type]
    assert steps_in_words(asked[:1]) == "1 sample" and steps_in_words([]) == ""  # type: ignore[arg-type]
