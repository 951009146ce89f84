"""Readers of whole files: packages, records, notebooks, the app's memory; and how a packed file is spoiled inside."""

from __future__ import annotations

import io
import json
import random
import shutil
import zipfile
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

from aerobe import usecases
from aerobe.notebook import open_notebook
from aerobe.records import Assay, Brew, Recipe, Trial, Vessel, as_plain, from_plain
from aerobe.usecases.notebook._photos import photo_kind
from aerobe.web._alarms import AlarmSettings
from aerobe.web._state import open_state
from tests.reliability.forms import RATIOS
from tests.reliability.fuzz import Parser, spoil_bytes, spoil_plain
from tests.reliability.world import yard
from tests.web.conftest import START

JUDGING_S = 10.0  # of processor: what judges a trial works out its layout, too, which no rubbish may make endless


def spoil_zip_or_bytes(rng: random.Random, content: bytes) -> bytes:
    return spoil_bytes(rng, content) if rng.random() < 0.4 else spoil_zip(rng, content)


def spoil_zip(rng: random.Random, content: bytes) -> bytes:
    """One file in a zip spoiled and packed again, so that the harm reaches the reader behind the zip."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    name = rng.choice(sorted(files))
    if rng.random() < 0.1:
        del files[name]
    else:
        files[name] = spoil_bytes(rng, files[name])
    return packed_again(files)


def packed_again(files: dict[str, bytes]) -> bytes:
    """A zip of these files."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for name, content in files.items():
            packed.writestr(name, content)
    return out.getvalue()


def spoil_package(rng: random.Random, content: bytes) -> bytes:
    """A package spoiled inside, with lengths and hashes made right again: only its content is rubbish."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    about = json.loads(files["datapackage.json"])
    entry = rng.choice(about["resources"])
    inner = files[entry["path"]]
    if entry["path"].endswith(".json") and rng.random() < 0.7:
        files[entry["path"]] = json.dumps(spoil_plain(rng, json.loads(inner))).encode()
    else:
        files[entry["path"]] = spoil_bytes(rng, inner)
    entry["hash"] = f"sha256:{sha256(files[entry['path']]).hexdigest()}"
    if rng.random() < 0.3:
        about = spoil_plain(rng, about)
    files["datapackage.json"] = json.dumps(about).encode()
    return packed_again(files)


def file_readers(folder: Path) -> Iterator[Parser]:
    with usecases.notebook.open_notebook(yard(), at=START) as book:
        records = [book.find(cls)[0] for cls in (Brew, Recipe, Vessel, Assay, Trial)]
    samples = [(type(record), as_plain(record)) for record in records]
    yield Parser(
        name="records in JSON",
        read=lambda pair: from_plain(*pair),
        samples=samples,
        quick=120,
        spoil=lambda rng, pair: (pair[0], spoil_plain(rng, pair[1])),
    )
    state = {
        "version": 1,
        "secret": "00" * 32,
        "devices": [],
        "senders": [],
        "alarms": {"quiet_from": ""},
        "broker": {"host": "x"},
    }
    yield Parser(name="the app's memory", samples=[state], spoil=spoil_plain, read=lambda plain: _state(folder, plain))
    yield Parser(
        name="photos",
        samples=[b"\x89PNG\r\n\x1a\n0000", b"\xff\xd8\xff000"],
        spoil=spoil_bytes,
        read=photo_kind,
    )
    whole = yard().read_bytes()[: 40 * 4096]
    del whole
    small = folder / "small.notebook"
    open_notebook(small, at=START).close()
    yield Parser(
        name="notebook files",
        samples=[small.read_bytes()],
        spoil=spoil_bytes,
        long=2000,
        quick=40,
        read=lambda content: _opened(folder / "spoiled.notebook", content),
    )
    shutil.copy(yard(), folder / "drawn.notebook")
    with usecases.notebook.open_notebook(folder / "drawn.notebook", at=START) as book:
        package = usecases.exchange.export_package(book, now=START, trial="drawn", with_codes=True)
    full = small_package(folder)
    target = open_notebook(folder / "target.notebook", at=START)
    take: Callable[[bytes], Any] = lambda content: usecases.exchange.import_package(target, content, now=START)  # noqa: E731
    yield Parser(name="data packages, content", samples=[full], spoil=spoil_package, read=take, quick=40)
    second = open_notebook(folder / "second.notebook", at=START)
    yield Parser(
        name="packages of a trial",
        slow_s=JUDGING_S,
        samples=[package],
        spoil=spoil_package,
        quick=60,
        read=lambda content: usecases.exchange.import_package(second, content, now=START),
    )
    yield Parser(name="data packages, zip", samples=[full], spoil=spoil_zip_or_bytes, read=take, quick=40)
    yield Parser(
        name="evidence of others",
        slow_s=JUDGING_S,
        samples=[package, RATIOS],
        quick=60,
        long=2000,
        spoil=lambda rng, content: spoil_package(rng, content) if content[:2] == b"PK" else spoil_bytes(rng, content),
        read=lambda content: usecases.evidence.take_evidence(target, content, "file", now=START),
    )
    yield Parser(
        name="packages computed anew",
        slow_s=JUDGING_S,
        samples=[full, package],
        samples_are_taken=False,
        spoil=spoil_package,
        long=1000,
        quick=20,
        read=_anew,
    )


def small_package(folder: Path) -> bytes:
    from aerobe.records import SensorLog
    from tests.notebook.conftest import NOW, furnish, reading

    with open_notebook(folder / "few.notebook", at=NOW) as book:
        furnish(book)
        book.add_reading(reading("r1"), at=NOW)
        book.add_reading(reading("r2", replaces="r1", notes="=1+1"), at=NOW)
        book.append_log(SensorLog(brew="b1", channel="oxygen", elapsed_h=(0.0, 1.0), values=(9.0, 8.0)), at=NOW)
        book.keep("smell", "b1", {"smell": "earthy"}, at=NOW)
        return usecases.exchange.export_package(book, now=NOW)


def _anew(content: bytes) -> Any:
    return usecases.reports.check_package(content, now=START)


def _state(folder: Path, plain: Any) -> Any:
    from aerobe.web._broker import broker_settings
    from aerobe.web._senders import senders

    path = folder / "state.json"
    path.write_text(json.dumps(plain), encoding="utf-8")
    state = open_state(path)
    return (
        AlarmSettings(**state.get("alarms")),
        broker_settings(state.get("broker")),
        senders(state),
        state.get("devices"),
    )


def _opened(path: Path, content: bytes) -> None:
    for near in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
        near.unlink(missing_ok=True)
    path.write_bytes(content)
    with open_notebook(path, at=START, create=False) as book:
        usecases.notebook.check_notebook(book)
