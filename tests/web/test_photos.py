"""Photos: kept under their hash, never replaced, carried by a correction, checked against what was written down."""

from __future__ import annotations

from pathlib import Path

from tests.web.conftest import Shed

PNG = b"\x89PNG\r\n\x1a\n"


def record(shed: Shed, entry: str, photo: bytes | None = None) -> None:
    data = {"what": "assay:home-colour-test", "signal": "12", "entry": entry, "form_token": shed.token}
    files = {"photo": ("p.png", photo, "image/png")} if photo is not None else None
    answer = shed.client.post("/brews/barrel-1/readings", data=data, files=files, headers={"accept": "application/json"})
    assert answer.status_code == 200, answer.text


def photo_at(shed: Shed, reading: str) -> bytes:
    return shed.client.get(f"/brews/barrel-1/readings/{reading}/photo").content


def test_a_second_photo_of_the_same_entry_does_not_replace_the_first(brewing: Shed) -> None:
    record(brewing, "entry-1", PNG + b"first")
    record(brewing, "entry-1", PNG + b"second")
    kept = [item.payload["sha256"] for item in brewing.notebook.kept("photo", "r-entry-1")]
    assert len(kept) == len(set(kept)) == 2
    folder = brewing.app.state.settings.photos
    assert {path.read_bytes() for path in Path(folder).iterdir()} == {PNG + b"first", PNG + b"second"}


def test_the_same_photo_twice_is_one(brewing: Shed) -> None:
    for _ in range(3):
        record(brewing, "entry-1", PNG + b"same")
    assert len(brewing.notebook.kept("photo", "r-entry-1")) == 1


def test_a_photo_that_comes_after_its_reading_is_stored_with_it(brewing: Shed) -> None:
    record(brewing, "entry-2")
    files = {"photo": ("p.png", PNG + b"late", "image/png")}
    sent = {"form_token": brewing.token, "entry": "x1"}
    answer = brewing.client.post("/brews/barrel-1/readings/r-entry-2/photo", data=sent, files=files)
    assert answer.status_code == 200 and photo_at(brewing, "r-entry-2") == PNG + b"late"
    missing = brewing.client.post("/brews/barrel-1/readings/r-nobody/photo", data=sent, files=files)
    assert missing.status_code == 404


def test_a_correction_keeps_the_photo_and_the_brew(brewing: Shed) -> None:
    record(brewing, "entry-3", PNG + b"kept")
    brewing.post("/brews/barrel-1/readings/r-entry-3/correct", signal="13", why="slip", entry="entry-4")
    newer = next(item for item in brewing.notebook.readings("barrel-1") if item.replaces == "r-entry-3")
    assert photo_at(brewing, newer.key) == PNG + b"kept"
    moved = brewing.client.post(
        f"/brews/another/readings/{newer.key}/correct", data={"signal": "14", "entry": "e5", "form_token": brewing.token}
    )
    assert moved.status_code == 422
    assert {item.brew for item in brewing.notebook.readings(with_corrected=True)} == {"barrel-1"}


def test_a_photo_that_was_changed_on_the_disk_is_not_shown_for_the_one_that_was_kept(brewing: Shed) -> None:
    record(brewing, "entry-6", PNG + b"true")
    path = next(Path(brewing.app.state.settings.photos).iterdir())
    path.write_bytes(PNG + b"forged")
    assert brewing.client.get("/brews/barrel-1/readings/r-entry-6/photo").status_code == 404


def test_a_clock_that_moved_around_an_entry_is_said_with_it(brewing: Shed) -> None:
    data = {"what": "assay:home-colour-test", "signal": "12", "entry": "e7", "clock_doubt_s": "7200", "form_token": brewing.token}
    brewing.client.post("/brews/barrel-1/readings", data=data, headers={"accept": "application/json"})
    assert "120 min" in brewing.notebook.reading("r-e7").notes
