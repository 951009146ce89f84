"""Cautions, and who decides: no text of ours says safe or allowed without naming local codes and licensed practice."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from aerobe.errors import NotFound
from aerobe.safety import LOCAL, OCCASIONS, all_cautions, cautions

ROOT = Path(__file__).parents[2]
CLAIM = re.compile(
    r"\b(?:is|are|be|was|makes? it|counts? as)\s+(?:\w+\s+)?(?:safe|legal|lawful|allowed|permitted|approved|compliant|treated)\b"
    r"|\bsafe(?:ly)? (?:to|for|on) (?:eat|use|spray|apply|drink|harvest|food|lettuce|edible|crops?|people|children)"
    r"|\b(?:germ|pathogen)s?[- ]free\b|\bfree (?:of|from) (?:germs|pathogens)\b"
    r"|\bmay be (?:sprayed|used|applied) on (?:food|edible|lettuce)",
    re.IGNORECASE,
)
# Notebooks, files and readings may be safe: nobody eats them.
ABOUT_DATA = re.compile(
    r"\b(?:readings?|notebooks?|copy|copies|data|files?|entries|kept before|pages?)\b[^.]{0,20}? (?:is|are) safe\b", re.IGNORECASE
)
# Names that stand for the sentence in code and in templates.
NAMES_IT = re.compile(rf"{LOCAL}|\bDECIDE\b|\bASK\b|\bLOCAL\b|sentence", re.IGNORECASE)


def unguarded(blocks: Iterator[str]) -> list[str]:
    """Blocks of text that claim safety or legality and do not say who decides."""
    flat = (ABOUT_DATA.sub("", " ".join(block.split())) for block in blocks)
    return [block for block in flat if CLAIM.search(block) and not NAMES_IT.search(block)]


def code_blocks(source: str) -> Iterator[str]:
    """Each simple statement, or docstring, of a Python file that holds a text."""
    lines = source.encode().splitlines(keepends=True)  # once a file: `ast.get_source_segment` would cut it for each statement
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Return | ast.Assign | ast.AnnAssign | ast.Expr | ast.Raise | ast.AugAssign | ast.Assert):
            held = lines[node.lineno - 1 : node.end_lineno]
            held[-1] = held[-1][: node.end_col_offset]  # columns are counted in bytes
            held[0] = held[0][node.col_offset :]
            yield b"".join(held).decode()


def prose_blocks(text: str) -> Iterator[str]:
    """Sections of a page: from one heading to the next."""
    yield from re.split(r"^#+ |<h[1-4]", text, flags=re.MULTILINE)


def toml_blocks(text: str) -> Iterator[str]:
    for entry in tomllib.loads(text).values():
        yield from (value for value in entry.values() if isinstance(value, str))


FILES = [
    *(
        (path, code_blocks)
        for room in ("safety", "usecases", "web", "cli", "reports", "decisions")
        for path in sorted((ROOT / "aerobe" / room).rglob("*.py"))
    ),
    *((path, prose_blocks) for path in sorted((ROOT / "aerobe").rglob("*.html"))),
    *((path, prose_blocks) for path in sorted((ROOT / "docs").rglob("*.md"))),
    *((path, toml_blocks) for path in sorted((ROOT / "aerobe" / "safety").glob("*.toml"))),
]


def test_no_claim_of_safety_or_legality_without_who_decides() -> None:
    assert len(FILES) > 300
    found = {str(path.relative_to(ROOT)): unguarded(blocks(path.read_text(encoding="utf-8"))) for path, blocks in FILES}
    assert {name: said for name, said in found.items() if said} == {}


@pytest.mark.parametrize(
    ("blocks", "text"),
    [
        (code_blocks, 'def f():\n    return "This tea is safe."'),
        (code_blocks, 'why = f"{tea} may be sprayed on lettuce."'),
        (prose_blocks, "# Use\nYour tea is perfectly legal here.\n\n# Other\nNothing."),
        (prose_blocks, "<h2>Result</h2><p>Pathogen-free.</p>"),
        (toml_blocks, '["x"]\nsays = "A tea with 0.1 % molasses is safe to spray."'),
    ],
)
def test_a_bare_claim_is_noticed(blocks, text: str) -> None:  # type: ignore[no-untyped-def]
    assert unguarded(blocks(text))
    # The same text with the sentence in the same breath is let pass.
    said = text.replace(".", f"; {LOCAL}.") if blocks is not toml_blocks else text.replace('spray."', f'spray; {LOCAL}."')
    assert unguarded(blocks(said)) == []


def test_every_caution_has_a_short_line_and_a_full_text_that_says_who_decides() -> None:
    for item in all_cautions():
        assert len(item.short) < 100 and len(item.full) > 2 * len(item.short)
        assert LOCAL in " ".join(item.full.lower().split())
        assert item.when and set(item.when) <= set(OCCASIONS)


@pytest.mark.parametrize(
    ("occasion", "keys"),
    [
        ("spraying", {"drops-in-the-air", "legionella", "weak-immunity", "children", "animals", "food", "hygiene"}),
        ("brewing", {"drops-in-the-air", "legionella", "weak-immunity", "children", "animals", "electricity"}),
        ("harvest", {"drops-in-the-air", "food", "children"}),
        ("compost", {"legionella", "weak-immunity"}),
        ("chemicals", {"chemicals", "children"}),
        ("edible", {"food"}),
    ],
)
def test_each_occasion_has_its_cautions(occasion: str, keys: set[str]) -> None:
    assert keys <= {item.key for item in cautions(occasion)}


def test_a_slip_in_the_occasion_does_not_hide_a_caution() -> None:
    with pytest.raises(NotFound):
        cautions("sprayin")
    assert cautions() == all_cautions()
