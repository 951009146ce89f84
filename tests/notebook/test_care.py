"""Copies, restoring, and a check that notices damage."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

from aerobe.errors import NotebookFault
from aerobe.notebook import Notebook, back_up, check, copies_of, fingerprint, open_notebook, restore, rows_of
from aerobe.records import Compost, SensorLog
from tests.notebook.conftest import NOW, reading


def filled(notebook: Notebook) -> Notebook:
    notebook.add_reading(reading("r1"), at=NOW)
    notebook.append_log(SensorLog(brew="b1", channel="oxygen", elapsed_h=(0.0, 1.0), values=(9.0, 8.0)), at=NOW)
    notebook.keep("study", "card", {"x": 1.0}, at=NOW)
    return notebook


def test_a_copy_opens_as_a_notebook_with_the_same_content(notebook: Notebook) -> None:
    copy = back_up(filled(notebook).store, at=NOW)
    assert copy.name == "2026-05-01T080000Z.notebook"
    with open_notebook(copy, at=NOW) as other:
        assert check(other) == []
        assert fingerprint(other) == fingerprint(notebook)
        assert rows_of(other) == rows_of(notebook)


def test_two_copies_of_one_second_do_not_overwrite_each_other(notebook: Notebook) -> None:
    first, second = back_up(notebook.store, at=NOW), back_up(notebook.store, at=NOW)
    assert first != second and copies_of(notebook.store) == sorted([first, second])
    with pytest.raises(NotebookFault, match="already"):
        back_up(notebook.store, at=NOW, to=first)


def test_restoring_brings_back_what_was_and_keeps_what_is(notebook: Notebook, where: str) -> None:
    copy = back_up(filled(notebook).store, at=NOW)
    then = fingerprint(notebook)
    notebook.add(Compost(key="later", name="Later"), at=NOW)
    now = fingerprint(notebook)
    before = restore(notebook.store, copy, at=NOW)
    with open_notebook(where, at=NOW) as restored:
        assert fingerprint(restored) == then
        assert check(restored) == []
        restored.add_reading(reading("r2"), at=NOW)  # numbering goes on
        assert [line.key for line in restored.audit() if line.did == "restore"] == [copy.name]
    with open_notebook(before, at=NOW) as other:
        assert fingerprint(other) == now


@pytest.mark.parametrize("content", [b"", b"no notebook at all" * 300])
def test_restoring_from_no_copy_is_refused_and_changes_nothing(notebook: Notebook, tmp_path: Path, content: bytes) -> None:
    then = fingerprint(filled(notebook))
    bad = tmp_path / "bad.notebook"
    bad.write_bytes(content)
    with pytest.raises(NotebookFault):
        restore(notebook.store, bad, at=NOW)
    with pytest.raises(NotebookFault, match="no copy at"):
        restore(notebook.store, tmp_path / "nowhere.notebook", at=NOW)
    assert fingerprint(notebook) == then


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        ("update readings set payload = replace(payload, '12.5', '13.5')", "'r1' of readings is not what was written"),
        ("update readings set elapsed_h = 7.0", "its column elapsed_h says 7.0"),
        ("update composts set payload = '{'", "cannot be read"),
        ("update log_chunks set points = 3", "oxygen log of 'b1' is damaged"),
        ("update kept set payload = replace(payload, '1.0', '2.0')", "is not what was kept"),
    ],
)
def test_the_check_notices_damage(notebook: Notebook, damage: str, said: str) -> None:
    assert check(filled(notebook)) == []
    with notebook.store.writing() as connection:
        connection.execute(sa.text(damage))
    assert any(said in line for line in check(notebook))


def test_the_fingerprint_changes_with_the_content_only(notebook: Notebook) -> None:
    before = fingerprint(notebook)
    notebook.set_setting("currency", "EUR", at=NOW)
    assert fingerprint(notebook) == before
    notebook.add_reading(reading("r1"), at=NOW)
    assert fingerprint(notebook) != before


def test_damaged_pages_of_a_file_are_noticed(tmp_path: Path) -> None:
    path = tmp_path / "tea.notebook"
    with open_notebook(path, at=NOW) as book:
        for number in range(300):
            book.add(Compost(key=f"heap-{number}", name="x" * 200), at=NOW)
        book.store.engine.dispose()
        content = bytearray(path.read_bytes())
        middle = len(content) // 2
        content[middle : middle + 6000] = b"\x00" * 6000
        path.write_bytes(content)
        try:
            assert check(book) != []
        except NotebookFault as fault:
            assert "damaged" in fault.problem


def test_restoring_a_copy_of_an_older_schema_brings_it_up_to_date(tmp_path: Path) -> None:
    old = Path(__file__).parents[1] / "frozen" / "schema-0001.sqlite"
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as book:
        restore(book.store, old, at=NOW)
        assert check(book) == [] and {"r2", "r3"} == {item.key for item in book.readings("b1")}


def test_nothing_acknowledged_is_lost_by_a_restore_under_writers(tmp_path: Path) -> None:
    """What a writer was told is kept stands in the notebook after the restore, or in the safety copy."""
    import threading
    import time

    from aerobe.notebook import open_notebook, restore

    path = tmp_path / "tea.notebook"
    told: list[str] = []
    going = threading.Event()
    going.set()

    def write(place: int) -> None:
        with open_notebook(path, at=NOW) as mine:
            number = 0
            while going.is_set():
                key = f"w{place}-{number}"
                mine.keep("note", key, {"n": number}, at=NOW)
                told.append(key)
                number += 1

    with open_notebook(path, at=NOW) as notebook:
        copy = back_up(notebook.store, at=NOW)
        writers = [threading.Thread(target=write, args=(place,)) for place in range(3)]
        for writer in writers:
            writer.start()
        safety = []
        for _ in range(4):
            seen, end = len(told), time.monotonic() + 240.0
            while len(told) < seen + 5 and time.monotonic() < end:  # every hand is in the midst of its writing
                time.sleep(0.01)
            safety.append(restore(notebook.store, copy, at=NOW))
        going.clear()
        for writer in writers:
            writer.join()
        found = {item.subject for item in notebook.kept("note")}
    for one in safety:
        with open_notebook(one, at=NOW) as kept:
            found |= {item.subject for item in kept.kept("note")}
    assert len(told) > 10 and set(told) <= found
