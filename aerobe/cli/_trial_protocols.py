"""Commands of a trial that others join: the protocol to hand on, and a trial that somebody else has planned."""

from __future__ import annotations

from pathlib import Path

from aerobe.cli._common import OWN, Where, now, say, then
from aerobe.errors import ImportFault
from aerobe.usecases.notebook import write_new


def protocol(key: str, to: Path = Path("."), /, *, where: Where = OWN) -> None:
    """Write the plan of a trial as a page and one file that others import to run the same trial.

    Parameters
    ----------
    key
        Key of a trial with a run sheet.
    to
        Folder to write to.
    """
    from aerobe.usecases.exchange import protocol_as_file, protocol_as_page, protocol_of_trial

    with where.open(create=False) as notebook:
        made = protocol_of_trial(notebook, key, now=now())
    files = {
        to / f"{key}.protocol.json": protocol_as_file(made),
        to / f"{key}.protocol.html": protocol_as_page(made),
    }
    write_new(files)
    paths = [str(path) for path in files]
    say(
        {"files": paths, "fingerprint": made.fingerprint},
        as_json=where.json,
        text=[*(f"Wrote {path}" for path in paths), f"When a package comes back: aerobe evidence site {key} PACKAGE --site NAME"],
    )


def join(file: Path, /, *, compost: str, seed: int | None = None, vessels: str = "", start: str = "", where: Where = OWN) -> None:
    """Join a trial that somebody else has planned: write it down, with a run sheet and codes of your own.

    Parameters
    ----------
    file
        The protocol that was sent to you.
    compost
        Key of your own compost.
    seed
        A whole number of your own; it draws which brew stands where. By chance if left out.
    vessels
        Keys of your vessels, with commas; numbered if left out.
    start
        Start of the first brew; the same hour tomorrow if left out.
    """
    from aerobe.usecases.exchange import OwnSite, join_trial, read_protocol
    from aerobe.usecases.notebook import moment_of

    try:
        content = file.read_bytes()
    except OSError as fault:
        raise ImportFault(f"{file} cannot be read: {fault.strerror}.", "Check the path.") from None
    plan = read_protocol(content)
    with where.open() as notebook:
        key = join_trial(
            notebook,
            plan,
            OwnSite(
                compost=compost,
                seed=None if seed is None else abs(seed),
                first_start=moment_of(start, now=now()) if start else None,
                vessels=tuple(item.strip() for item in vessels.split(",") if item.strip()),
            ),
            now=now(),
        )
    lines = [f"Trial '{key}' is written in, with a run sheet of your own.", *then(f"trial sheet {key}", f"trial show {key}")]
    say({"key": key, "fingerprint": plan.fingerprint}, as_json=where.json, text=lines)
