"""Is everything well with this installation? Clock, disk, permissions, store, copies, certificate, broker, versions."""

from __future__ import annotations

import json
import os
import shutil
import socket
import sys
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from aerobe.notebook import Notebook, check, copies_of
from aerobe.usecases.exchange._packages import versions
from aerobe.usecases.notebook._moments import clock_trouble

LITTLE_SPACE_MB = 500.0  # below this a long log or a copy may not fit [MB]
COPY_AGE = timedelta(days=8)
EXPIRES_SOON = timedelta(days=30)
BROKER_WAIT_S = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NotebookFinding:
    """One thing that was looked at.

    Parameters
    ----------
    what
        Which thing.
    fine
        Whether nothing needs to be done.
    says
        What was found, in words.
    remedy
        What to do; empty where nothing is to be done.
    """

    what: str
    fine: bool
    says: str
    remedy: str = ""


def look_over(notebook: Notebook, *, now: datetime) -> list[NotebookFinding]:
    """Everything that can be wrong around a notebook, looked at once; nothing is changed."""
    path = notebook.store.path
    found = [_clock(notebook, now), _store(notebook), _copies(notebook, now)]
    if path is not None:
        app = path.with_name(path.name + ".app")
        found += [_disk(path), _permissions(path), *_app(app, now)]
    found.append(
        NotebookFinding(what="versions", fine=True, says=", ".join(f"{name} {text}" for name, text in _versions().items()))
    )
    return found


def _clock(notebook: Notebook, now: datetime) -> NotebookFinding:
    said = clock_trouble(notebook, now=now)
    if said:
        return NotebookFinding(what="clock", fine=False, says=said, remedy="Set this machine's clock.")
    return NotebookFinding(
        what="clock", fine=True, says=f"It shows {now:%Y-%m-%d %H:%M} (UTC{now:%z}); no entry was made after that."
    )


def _store(notebook: Notebook) -> NotebookFinding:
    faults = check(notebook)
    if not faults:
        return NotebookFinding(what="store", fine=True, says="Every row was read again and is as it was written.")
    more = f" And {len(faults) - 3} more." if len(faults) > 3 else ""
    return NotebookFinding(
        what="store",
        fine=False,
        says=" ".join(faults[:3]) + more,
        remedy="`aerobe notebook restore` puts a copy in its place, `aerobe notebook rescue` what is whole of it.",
    )


def _copies(notebook: Notebook, now: datetime) -> NotebookFinding:
    copies = copies_of(notebook.store)
    if not copies:
        return NotebookFinding(
            what="copies", fine=False, says="There is no copy of the notebook.", remedy="`aerobe notebook copy`, or serve it."
        )
    age = now.astimezone(UTC) - datetime.fromtimestamp(copies[-1].stat().st_mtime, UTC)
    days = age.total_seconds() / 86400.0
    return NotebookFinding(
        what="copies",
        fine=age < COPY_AGE,
        says=f"{len(copies)}; the newest is {days:.1f} days old, at {copies[-1]}.",
        remedy="" if age < COPY_AGE else "`aerobe notebook copy`; a running `aerobe serve` makes one a day.",
    )


def _disk(path: Path) -> NotebookFinding:
    free = shutil.disk_usage(path.parent).free / 1e6
    return NotebookFinding(
        what="disk",
        fine=free >= LITTLE_SPACE_MB,
        says=f"{free:,.0f} MB are free where the notebook lies.",
        remedy="" if free >= LITTLE_SPACE_MB else "Free some space: a full disk refuses readings.",
    )


def _permissions(path: Path) -> NotebookFinding:
    writable = os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
    open_to_others = os.name == "posix" and bool(path.stat().st_mode & 0o077)
    if not writable:
        return NotebookFinding(
            what="permissions", fine=False, says="The notebook can only be read.", remedy="Make file and folder writable."
        )
    if open_to_others:
        return NotebookFinding(
            what="permissions", fine=False, says="Other accounts of this machine can read it.", remedy=f"chmod 600 '{path}'"
        )
    return NotebookFinding(what="permissions", fine=True, says="It can be written, and only by you.")


def _app(folder: Path, now: datetime) -> list[NotebookFinding]:
    """Certificate and broker of the app that serves this notebook, where it was ever served."""
    found = []
    chain = folder / "aerobe-server.pem"
    if chain.exists():
        found.append(_certificate(chain, now))
    try:
        broker = json.loads((folder / "app.json").read_text(encoding="utf-8")).get("broker", {})
    except (OSError, ValueError):
        broker = {}
    if isinstance(broker, dict) and broker.get("host"):
        found.append(_broker(str(broker["host"]), int(broker.get("port", 1883))))
    return found


def _certificate(chain: Path, now: datetime) -> NotebookFinding:
    from cryptography import x509

    try:
        until = x509.load_pem_x509_certificate(chain.read_bytes()).not_valid_after_utc
    except (OSError, ValueError):
        return NotebookFinding(
            what="certificate", fine=False, says="It cannot be read.", remedy="Remove it; `aerobe serve --share` makes another."
        )
    fine = until - now.astimezone(UTC) > EXPIRES_SOON
    remedy = "" if fine else "The next `aerobe serve --share` makes another; phones then trust it anew."
    return NotebookFinding(what="certificate", fine=fine, says=f"Good until {until:%Y-%m-%d}.", remedy=remedy)


def _broker(host: str, port: int) -> NotebookFinding:
    try:
        socket.create_connection((host, port), BROKER_WAIT_S).close()
    except (OSError, ValueError) as fault:
        return NotebookFinding(
            what="broker",
            fine=False,
            says=f"{host}:{port} does not answer ({fault}).",
            remedy="Start it, or change it in Settings.",
        )
    return NotebookFinding(what="broker", fine=True, says=f"{host}:{port} answers.")


def _versions() -> dict[str, str]:
    return {"python": sys.version.split()[0], **versions()}
