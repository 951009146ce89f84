"""Who may import whom. The table is the plan of the house; a made-up breach must be noticed."""

from __future__ import annotations

import ast
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2] / "aerobe"
BASE = {"errors", "sources", "units", "records"}
MAY_IMPORT: dict[str, set[str]] = {
    "errors": set(),
    "sources": {"errors"},
    "units": {"errors"},
    "statistics": set(),
    "isolation": {"errors"},
    "records": {"errors", "units"},
    "tables": BASE | {"isolation"},
    "assay": BASE | {"statistics"},
    "oxygen": BASE | {"statistics"},
    "safety": BASE | {"oxygen"},
    "worlds": BASE,
    "kinetics": BASE | {"oxygen"},
    "inference": BASE | {"assay", "kinetics", "oxygen"},
    "decisions": BASE | {"inference", "kinetics", "oxygen", "safety"},
    "verdicts": BASE | {"statistics", "inference"},
    "trials": BASE | {"assay", "kinetics", "inference", "verdicts"},
    "evidence": BASE | {"statistics", "verdicts"},
    "practice": BASE | {"worlds", "assay", "kinetics", "oxygen", "inference", "decisions", "verdicts", "trials"},
    "notebook": {"errors", "units", "records", "isolation"},
    "charts": BASE | {"assay", "oxygen", "inference", "decisions", "verdicts", "trials", "evidence"},
    "reports": BASE | {"assay", "inference", "decisions", "verdicts", "trials", "evidence", "safety", "charts"},
    "usecases": BASE
    | {
        "isolation",
        "tables",
        "assay",
        "oxygen",
        "safety",
        "kinetics",
        "inference",
        "decisions",
        "verdicts",
        "trials",
        "evidence",
        "worlds",
        "practice",
        "notebook",
        "charts",
        "reports",
    },
    "web": {"errors", "units", "records", "usecases"},
    "cli": {"errors", "units", "records", "usecases", "web"},
}
SUBJECTS = sorted(path.parent.name for path in (HOUSE / "usecases").glob("*/__init__.py"))
# Where a name can be had: the door of a room, and of each subject of the use cases.
DOORS = [*(room for room in MAY_IMPORT if room != "usecases"), *(f"usecases.{subject}" for subject in SUBJECTS)]


@cache
def imports_of(source: str) -> list[tuple[str, ...]]:
    """Dotted names under `aerobe` that a module imports, as parts; also inside functions."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [tuple(alias.name.split(".")[1:]) for alias in node.names if alias.name.split(".")[0] == "aerobe"]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative imports hide the room they go to"
            parts = (node.module or "").split(".")
            if parts[0] == "aerobe":
                found += [tuple(parts[1:])] if len(parts) > 1 else [(alias.name,) for alias in node.names]
    return found


def breaches(room: str, source: str) -> list[str]:
    """What a file of `room` imports and may not."""
    found = []
    for parts in imports_of(source):
        other = parts[0] if parts else ""
        if other in ("", room, "__version__"):
            continue
        if other not in MAY_IMPORT.get(room, set()):
            found.append(f"{room} may not import {other}")
        elif len(parts) > (2 if ".".join(parts[:2]) in DOORS else 1):
            found.append(f"{room} goes past the door of {other}: {'.'.join(parts)}")
    return found


FILES = [path for path in sorted(HOUSE.rglob("*.py")) if path.parent != HOUSE]


def test_every_import_is_in_the_table() -> None:
    assert len(FILES) > 400
    rooms = {path: path.relative_to(HOUSE).parts[0] for path in FILES}
    assert set(rooms.values()) - set(MAY_IMPORT) == set(), "rooms without a place in the table"
    found = {path: breaches(room, path.read_text(encoding="utf-8")) for path, room in rooms.items()}
    assert {str(path.relative_to(HOUSE)): said for path, said in found.items() if said} == {}


def test_the_table_has_no_circle() -> None:
    assert set(TopologicalSorter(MAY_IMPORT).static_order()) == set(MAY_IMPORT)


@pytest.mark.parametrize(
    ("room", "source"),
    [
        ("oxygen", "from aerobe.notebook import open_notebook"),
        ("web", "import aerobe.inference"),
        ("kinetics", "def f():\n    from aerobe import decisions"),
        ("trials", "from aerobe.verdicts._judge import judge"),
        ("web", "from aerobe.usecases.brews._call import Call"),
        ("web", "from aerobe.usecases._door import lazy_door"),
    ],
)
def test_a_forbidden_import_is_noticed(room: str, source: str) -> None:
    assert breaches(room, source)


def files_of(room: str, sources: dict[str, str]) -> dict[str, set[str]]:
    """Which files of a room each of its files imports, also inside functions; a file of a subject is `subject._file`."""
    return {
        name: {".".join(parts[1:]) for parts in imports_of(source) if parts[0:1] == (room,)} & set(sources)
        for name, source in sources.items()
    }


def behind_doors(room: str) -> dict[str, str]:
    """The text of each file of a room but its doors, by the name it is imported by."""
    files = [path for path in (HOUSE / room).rglob("*.py") if path.stem != "__init__"]
    return {".".join(path.relative_to(HOUSE / room).with_suffix("").parts): path.read_text(encoding="utf-8") for path in files}


@pytest.mark.parametrize("room", MAY_IMPORT)
def test_no_file_of_a_room_leads_back_to_itself(room: str) -> None:
    TopologicalSorter(files_of(room, behind_doors(room))).prepare()  # raises and names the files of a circle


@pytest.mark.parametrize("subject", SUBJECTS)
def test_use_cases_take_from_each_other_by_file_so_that_a_circle_is_seen(subject: str) -> None:
    for name, source in behind_doors("usecases").items():
        assert ("usecases", subject) not in imports_of(source), f"{name} goes by the door of {subject}: name the file"


def test_a_circle_of_files_is_noticed() -> None:
    sources = {
        "brews._a": "from aerobe.usecases.trials._b import x",
        "trials._b": "def f():\n    from aerobe.usecases.brews._a import y",
    }
    with pytest.raises(CycleError):
        TopologicalSorter(files_of("usecases", sources)).prepare()
