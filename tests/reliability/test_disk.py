"""A full disk and a write-protected one: said plainly, nothing lost, nothing half, and all goes on when there is room again."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.cli import DONE, FAULT, run
from aerobe.errors import AerobeError, NotebookFault
from aerobe.notebook import Notebook, check, fingerprint, open_notebook
from aerobe.records import SensorLog
from aerobe.web import open_state
from tests.notebook.conftest import NOW, furnish, reading
from tests.reliability.disk import Disk, small_disk
from tests.reliability.files import small_package
from tests.reliability.forms import PICTURE, TABLE, Form
from tests.reliability.world import World, open_world

FROZEN = Path(__file__).parents[1] / "frozen" / "schema-0001.sqlite"
LONG_LOG = SensorLog(
    brew="b1",
    channel="pH",
    elapsed_h=tuple(n / 3600 for n in range(40_000)),
    values=tuple(7 + n % 7 / 10 for n in range(40_000)),
)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    with small_disk(tmp_path / "disk") as made:
        yield made


@pytest.fixture
def book(disk: Disk) -> Iterator[Notebook]:
    with open_notebook(disk.folder / "tea.notebook", at=NOW) as notebook:
        furnish(notebook)
        notebook.add_reading(reading("r1"), at=NOW)
        yield notebook


WRITES: dict[str, Callable[[Notebook, Path], Any]] = {
    "readings": lambda book, _: [book.add_reading(reading(f"n{n}", notes="x" * 3000), at=NOW) for n in range(30)],
    "a log": lambda book, _: book.append_log(LONG_LOG, at=NOW),
    "a table": lambda book, _: usecases.exchange.take_in(
        book, TABLE, "log.csv", usecases.exchange.Wishes(columns={}, brew="b1"), now=NOW + timedelta(days=2)
    ),
    "a package": lambda book, folder: usecases.exchange.import_package(book, small_package(folder), now=NOW),
    "a kept result": lambda book, _: book.keep("advice", "b1", {"text": "x" * 100_000}, at=NOW),
    "a copy": lambda book, _: usecases.notebook.back_up_notebook(book, now=NOW),
}


@pytest.mark.parametrize("what", WRITES)
def test_a_full_disk_refuses_says_why_and_goes_on_when_there_is_room(
    disk: Disk, book: Notebook, tmp_path: Path, what: str
) -> None:
    disk.fill()
    with pytest.raises(NotebookFault) as found:
        WRITES[what](book, tmp_path)
    assert "space" in found.value.remedy
    disk.free()
    whole = check(book)
    assert whole == [] and "r1" in {item.key for item in book.readings()}
    assert not any(name.endswith((".half", "-journal")) for name in disk.names())
    WRITES[what](book, tmp_path)
    assert check(book) == []


def test_a_write_of_many_parts_on_a_full_disk_leaves_none_of_them(disk: Disk, book: Notebook) -> None:
    before = fingerprint(book)
    disk.fill()
    with pytest.raises(NotebookFault), book.writing() as pen:
        for number in range(50):
            pen.add(reading(f"m{number}", notes="x" * 3000), at=NOW)
    disk.free()
    assert fingerprint(book) == before


def test_a_full_disk_can_be_read_and_taken_away_from(disk: Disk, book: Notebook, tmp_path: Path) -> None:
    disk.fill()
    assert [item.key for item in book.readings()] == ["r1"]
    assert usecases.exchange.export_package(book, now=NOW)[:2] == b"PK"
    with open_notebook(disk.folder / "tea.notebook", at=NOW) as again:
        assert [item.key for item in again.readings()] == ["r1"]


def test_a_notebook_on_a_full_disk_can_be_opened_after_it_was_closed(disk: Disk) -> None:
    path = disk.folder / "tea.notebook"
    with open_notebook(path, at=NOW) as book:
        furnish(book)
    disk.fill()
    try:
        with open_notebook(path, at=NOW) as book:
            assert len(usecases.notebook.list_brews(book, now=NOW)) == 1
    except NotebookFault as fault:
        assert "space" in fault.remedy
    disk.free()
    with open_notebook(path, at=NOW) as book:
        assert check(book) == [] and len(usecases.notebook.list_brews(book, now=NOW)) == 1


def test_a_notebook_that_cannot_be_begun_leaves_no_empty_file(disk: Disk) -> None:
    disk.fill()
    with pytest.raises(NotebookFault) as found:
        open_notebook(disk.folder / "new.notebook", at=NOW)
    assert "space" in found.value.remedy
    assert disk.names() == set()


def test_an_old_notebook_that_cannot_be_brought_up_to_date_stays_as_it_is(disk: Disk) -> None:
    path = disk.folder / "old.notebook"
    shutil.copy(FROZEN, path)
    disk.fill()
    with pytest.raises(NotebookFault):
        open_notebook(path, at=NOW)
    disk.free()
    with open_notebook(path, at=NOW) as book:
        assert check(book) == [] and {"r2", "r3"} <= {item.key for item in book.readings("b1")}


COMMANDS = {
    "export": ("export", "{disk}/all.zip", "--with-codes"),
    "copy": ("notebook", "copy", "{disk}/copy.notebook"),
    "sheet": ("trial", "sheet", "drawn", "{disk}/sheet.html"),
    "calendar": ("trial", "calendar", "drawn", "{disk}/drawn.ics"),
    "report of a test": (
        "report",
        "assay",
        "{here}/study.csv",
        "--name",
        "Card",
        "--method",
        "colour test",
        "--to",
        "{disk}",
    ),
    "report of a trial": ("report", "trial", "kelp-question", "--to", "{disk}"),
    "certificate": (
        "assay",
        "certificate",
        "{here}/study.csv",
        "--name",
        "Card",
        "--method",
        "colour test",
        "--out",
        "{disk}",
    ),
}


@pytest.mark.parametrize("what", COMMANDS)
def test_a_file_that_does_not_fit_does_not_stand_there_in_part(
    disk: Disk, tmp_path: Path, capsys: pytest.CaptureFixture[str], what: str
) -> None:
    from tests.reliability.world import yard

    notebook = tmp_path / "tea.notebook"
    shutil.copy(yard(), notebook)
    (tmp_path / "study.csv").write_text(usecases.assay.example_study(), encoding="utf-8")
    words = [word.format(disk=disk.folder, here=tmp_path) for word in COMMANDS[what]]
    words += [] if "assay" in words else ["--notebook", str(notebook)]
    disk.fill()
    assert run(words) == FAULT
    problem, remedy = capsys.readouterr().err.strip().splitlines()[-2:]
    assert problem and "space" in remedy
    assert disk.names() == set()
    disk.free()
    assert run(words) == DONE
    assert disk.names() and not any(name.endswith(".half") for name in disk.names())


READING = Form(
    address="/brews/kelp-5/readings",
    fields={"what": "assay:colour-test", "signal": "120"},
    file=("photo", "s.png", PICTURE),
)


@pytest.fixture
def world(tmp_path: Path) -> Iterator[tuple[World, Disk]]:
    with small_disk(tmp_path / "disk", size="4m") as disk, open_world(disk.folder) as made:
        yield made, disk


def test_the_app_on_a_full_disk_tells_page_and_phone_and_takes_the_same_entry_later(world: tuple[World, Disk]) -> None:
    app, disk = world
    before = app.holds()
    disk.fill()
    # What lies in the journal already may take a little more; then it is full for good.
    for _ in range(40):
        answer = app.send(READING, notes="x" * 3000)
        if answer.status_code != 303:
            break
    assert answer.status_code in (422, 503) and "space" in answer.text and 'value="120"' in answer.text
    told = app.send(READING, entry="later", json_answer=True, notes="x" * 3000)
    assert told.status_code == 503 and "space" in told.json()["remedy"]  # the phone's queue keeps it and tries again
    assert app.client.get("/brews/kelp-5").status_code == 200
    disk.free()
    kept = app.holds()["reading"]
    for _ in range(2):
        assert app.send(READING, entry="later", json_answer=True, notes="x" * 3000).status_code == 200
    assert app.holds()["reading"] == kept + 1 > before["reading"]
    assert check(app.notebook) == []


MAIL = {"mail_port": "587", "mail_to": "a@b.example", "mail_host": "mail.example.org"}


def test_settings_on_a_full_disk_are_refused_and_stay_as_they_were(world: tuple[World, Disk]) -> None:
    app, disk = world
    disk.fill()
    alarms = Form(address="/settings/alarms", fields={**MAIL, "mail_from": "x" * 20_000})
    answer = app.send(alarms)
    assert answer.status_code == 503 and "space" in answer.text
    assert app.state.get("alarms") == {}
    disk.free()
    assert app.send(alarms).status_code == 303
    assert open_state(disk.folder / "app.json").get("alarms")["mail_to"] == "a@b.example"


def test_a_photo_that_does_not_fit_costs_no_reading(world: tuple[World, Disk]) -> None:
    app, disk = world
    large = Form(address=READING.address, fields=READING.fields, file=("photo", "s.png", PICTURE + b"0" * 5_000_000))
    answer = app.send(large, entry="p1", json_answer=True)
    assert answer.status_code == 200 and "photo is not" in answer.json()["says"]
    assert app.notebook.reading("r-p1").signal == 120.0
    assert not any("photos" in name for name in disk.names())


# -- write-protected ---------------------------------------------------------------------------------------------------


@pytest.fixture
def protected(disk: Disk) -> Disk:
    """A write-protected disk with a notebook on it."""
    from tests.reliability.world import yard

    shutil.copy(yard(), disk.folder / "tea.notebook")
    shutil.copy(FROZEN, disk.folder / "old.notebook")
    disk.protect()
    return disk


def test_a_write_protected_notebook_can_be_read_and_checked_and_taken_away(protected: Disk, tmp_path: Path) -> None:
    with open_notebook(protected.folder / "tea.notebook", at=NOW) as book:
        assert len(book.readings()) == 168 and check(book) == []
        assert usecases.exchange.export_package(book, now=NOW, trial="kelp-question")[:2] == b"PK"
        # A trial that is still blind stays: a look at its codes could not be noted here.
        for codes, word in ((False, "still blind"), (True, "write-protected")):
            with pytest.raises(AerobeError) as refused:
                usecases.exchange.export_package(book, now=NOW, with_codes=codes)
            assert word in refused.value.problem and "copy" in refused.value.remedy
        assert usecases.brews.brews_overview(book, now=NOW).empty is False
        copy = usecases.notebook.back_up_notebook(book, now=NOW, to=tmp_path / "copy.notebook")
    with open_notebook(copy, at=NOW) as book:  # blind or not, a copy needs no note, and can be written to
        assert len(book.readings()) == 168 and check(book) == []
        usecases.exchange.export_package(book, now=NOW, with_codes=True)


@pytest.mark.parametrize("what", ["readings", "a copy", "a kept result"])
def test_writing_to_a_write_protected_notebook_says_what_to_do(protected: Disk, tmp_path: Path, what: str) -> None:
    with open_notebook(protected.folder / "tea.notebook", at=NOW) as book, pytest.raises(AerobeError) as found:
        WRITES[what](book, tmp_path)
    assert any(word in found.value.problem for word in ("write-protected", "Read-only"))
    assert "another" in found.value.remedy


def test_an_old_notebook_on_a_write_protected_disk_is_not_half_opened(protected: Disk) -> None:
    with pytest.raises(NotebookFault) as found:
        open_notebook(protected.folder / "old.notebook", at=NOW)
    assert found.value.remedy


def test_a_notebook_left_open_on_a_write_protected_disk_is_not_read_without_its_last_entries(disk: Disk, tmp_path: Path) -> None:
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as book:
        furnish(book)
        for name in ("tea.notebook", "tea.notebook-wal"):
            shutil.copy(tmp_path / name, disk.folder / name)
    disk.protect()
    with pytest.raises(NotebookFault) as found:
        open_notebook(disk.folder / "tea.notebook", at=NOW)
    assert "tea.notebook-wal" in found.value.remedy
    # The remedy works.
    for name in ("tea.notebook", "tea.notebook-wal"):
        shutil.copy(disk.folder / name, tmp_path / f"copy-{name}".replace("copy-tea", "copy"))
    with open_notebook(tmp_path / "copy.notebook", at=NOW) as book:
        assert len(usecases.notebook.list_brews(book, now=NOW)) == 1


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("brew", "list"), DONE),
        (("notebook", "check"), DONE),
        (("reading", "list", "kelp-1"), DONE),
        (("reading", "add", "kelp-5", "12", "--assay", "colour-test"), FAULT),
        (("notebook", "copy"), FAULT),
        (("serve", "--port", "8999"), FAULT),
    ],
)
def test_commands_on_a_write_protected_disk(
    protected: Disk, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], code: int
) -> None:
    assert run([*words, "--notebook", str(protected.folder / "tea.notebook")]) == code
    if code == FAULT:
        assert len(capsys.readouterr().err.strip().splitlines()) >= 2


def test_a_new_notebook_on_a_write_protected_disk_is_refused_with_a_remedy(protected: Disk) -> None:
    with pytest.raises(NotebookFault) as found:
        open_notebook(protected.folder / "new.notebook", at=NOW)
    assert "another place" in found.value.remedy


# -- where nothing can be mounted: the store's own limit stands for the disk's -----------------------------------------


def test_a_file_that_may_not_grow_is_said_to_be_full(tmp_path: Path) -> None:
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as book:
        furnish(book)
        with book.store.engine.connect() as connection:
            pages = connection.exec_driver_sql("pragma page_count").scalar()
        book.store.engine.dispose()

        from sqlalchemy import event

        @event.listens_for(book.store.engine, "connect")
        def _limit(connection: Any, _record: Any) -> None:
            connection.execute(f"pragma max_page_count={pages}")

        with pytest.raises(NotebookFault, match="full"):
            for number in range(200):
                book.add_reading(reading(f"n{number}", notes="x" * 3000), at=NOW)
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as book:
        assert check(book) == []
        book.add_reading(reading("later"), at=NOW)


@pytest.mark.skipif(os.name != "posix", reason="folders are protected in another way there")
def test_a_path_with_signs_of_an_address_is_a_path(tmp_path: Path) -> None:
    path = tmp_path / "tea?mode=memory#50%20.notebook"
    with open_notebook(path, at=NOW) as book:
        furnish(book)
    assert path.stat().st_size > 0
    with open_notebook(path, at=NOW, create=False) as book:
        assert len(usecases.notebook.list_brews(book, now=NOW)) == 1
