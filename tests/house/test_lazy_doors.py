"""A use case is typed to the door: what an editor and the type checker see is what is loaded when a name is used."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.house.lazy_doors import DOORS, shown, table_of, typed_names, with_table

ROOT = Path(__file__).parents[2]
TEXTS = {path.parent.name: path.read_text(encoding="utf-8") for path in DOORS}


@pytest.mark.parametrize("subject", TEXTS)
def test_the_typed_names_are_the_table_and_what_the_door_shows(subject: str) -> None:
    typed, table = typed_names(TEXTS[subject]), table_of(TEXTS[subject])
    assert typed and {file: set(names) for file, names in table.items()} == {file: set(names) for file, names in typed.items()}, (
        "after a change of a door: python -m tests.house.lazy_doors"
    )
    assert shown(TEXTS[subject]) == sorted({name for names in typed.values() for name in names})


@pytest.mark.parametrize("subject", TEXTS)
def test_every_name_of_a_door_is_there(subject: str) -> None:
    door = importlib.import_module(f"aerobe.usecases.{subject}")
    assert [name for name in door.__all__ if not hasattr(door, name)] == []
    with pytest.raises(AttributeError, match="no_such_use_case"):
        _ = door.no_such_use_case


def test_no_name_stands_at_two_doors() -> None:
    names = [name for text in TEXTS.values() for name in shown(text)]
    assert sorted(names) == sorted(set(names)), "aerobe.NAME must mean one thing"


def test_a_name_that_only_editors_see_is_noticed() -> None:
    planted = TEXTS["oxygen"].replace("import feed_now", "import feed_now, feed_later")
    assert typed_names(planted) != table_of(planted) and "feed_later" not in shown(planted)
    assert table_of(with_table(planted)) == typed_names(planted) and "feed_later" in shown(with_table(planted))


WRONG = """import aerobe
from aerobe import usecases
usecases.evidence.take_evidence(7, nonsense=True)
aerobe.take_evidence(7, nonsense=True)
usecases.oxygen.no_such_use_case
def f(form: usecases.oxygen.FoodForm) -> None:
    form.no_such_field
"""


def arrives(path: Path, *, within_s: float = 900.0) -> bool:
    """Whether a file comes to be; the limit is against waiting for ever."""
    end = time.monotonic() + within_s
    while not path.exists() and time.monotonic() < end:
        time.sleep(0.1)
    return path.exists()


def test_a_nonsense_argument_and_a_field_that_does_not_exist_fail_the_type_check(tmp_path: Path) -> None:
    planted = tmp_path / "planted.py"
    planted.write_text(WRONG, encoding="utf-8")
    over = os.environ.get("CHECKS_BESIDE_TESTS_OVER")  # set where run.py looks at the types beside the tests
    assert over is None or arrives(Path(over)), "the type checker that runs beside the tests came to no end"
    told = subprocess.run(
        [sys.executable, "-m", "mypy", "--no-error-summary", "--hide-error-context", str(planted)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    ).stdout
    wrong = {int(line.split(":")[1]) for line in told.splitlines() if "error:" in line and "planted.py" in line}
    assert wrong == {3, 4, 5, 7}, told
