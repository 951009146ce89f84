"""The site of guide and API: every page and every door is in it, links lead to its pages, the search finds names and words."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from tests.house.test_docs import ROOT
from tests.house.test_house import DOORS


@pytest.fixture(scope="module")
def site() -> ModuleType:
    spec = importlib.util.spec_from_file_location("site_of_aerobe", ROOT / "docs" / "site.py")
    assert spec is not None and spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def test_every_page_of_the_guide_is_in_it_and_its_links_lead_to_pages(site: ModuleType) -> None:
    pages = {page.__name__.removeprefix("guide").removeprefix("."): page for page in site.pages()}
    assert {path.stem.replace("-", "_") for path in (ROOT / "docs" / "guide").glob("*.md")} <= set(pages)
    for name, page in pages.items():
        for target in re.findall(r"\]\((?:guide/)?([a-z_]+)\.html", page.__doc__):
            assert target in pages, (name, target)
    assert "](guide/" in pages[""].__doc__ and "](safety.html" in pages["oxygen"].__doc__


def test_pages_and_doors_are_written_and_searched(site: ModuleType, tmp_path: Path) -> None:
    chosen = [page for page in site.pages() if page.__name__ in ("guide", "guide.oxygen")]
    from aerobe import units

    written = site.write(tmp_path, [*chosen, units])
    assert {path.relative_to(tmp_path).as_posix() for path in written} == {"guide.html", "guide/oxygen.html", "aerobe/units.html"}
    assert "final volume over sample volume" in (tmp_path / "aerobe" / "units.html").read_text(encoding="utf-8").lower()
    found = (tmp_path / "search.js").read_text(encoding="utf-8")
    assert "dilution_factor" in found and "Measure the air" in found


@pytest.mark.night
def test_every_door_has_its_page(site: ModuleType, tmp_path: Path) -> None:
    site.write(tmp_path, site.rooms())
    for door in DOORS:
        page = (tmp_path / "aerobe" / f"{door.replace('.', '/')}.html").read_text(encoding="utf-8")
        for name in getattr(importlib.import_module(f"aerobe.{door}"), "__all__", ()):
            assert f'id="{name}"' in page, (door, name)
