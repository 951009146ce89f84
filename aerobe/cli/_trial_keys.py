"""Commands that keep codes closed: seal the key for another person, open it, open the codes, and the hash of a plan."""

from __future__ import annotations

import getpass
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from aerobe.cli._common import OWN, Where, now, say, table
from aerobe.errors import ImportFault
from aerobe.usecases.notebook import require_new, write_new


def seal(
    key: str, to: Path | None = None, /, *, holder: str = "", passphrase_file: Path | None = None, where: Where = OWN
) -> None:
    """Write the key of codes as a file that only a passphrase opens, for a person who reads no tests.

    Parameters
    ----------
    key
        Key of the trial.
    to
        File to write; <key>.sealed-key if left out. A file that is there is never written over.
    holder
        Who is to hold it; noted in the notebook.
    passphrase_file
        File with the passphrase; it is asked for if left out.
    """
    from aerobe.usecases.trials import seal_key

    path = to or Path(f"{key}.sealed-key")
    require_new([path])
    with where.open() as notebook:
        content = seal_key(
            notebook, key, _passphrase("Passphrase of whoever holds the key: ", passphrase_file), now=now(), holder=holder
        )
    write_new({path: content})
    say({"written": str(path)}, as_json=where.json, text=f"Written: {path}. Without the passphrase nobody can open it.")


def open_sealed(
    file: Path, /, *, passphrase_file: Path | None = None, as_json: Annotated[bool, Parameter(name="--json")] = False
) -> None:
    """Show what a sealed key says: which recipe goes under which code.

    Parameters
    ----------
    file
        Written by `aerobe trial seal`.
    passphrase_file
        File with the passphrase; it is asked for if left out.
    as_json
        Answer as JSON.
    """
    from aerobe.usecases.trials import open_key

    content = _read(file)
    found = open_key(content, _passphrase("Passphrase: ", passphrase_file))
    rows = [tuple(line[name] for name in ("code", "arm", "vessel", "brew")) for line in found.lines]
    drawn = [] if found.seed is None else [f"Drawn with seed {found.seed}."]
    say(found, as_json=as_json, text=[*table(("code", "arm", "vessel", "brew"), rows), *drawn])


def open_codes(key: str, /, *, where: Where = OWN) -> None:
    """Open the codes of a trial for good: recipes are shown beside them, and what is entered from then on is not blind.

    Parameters
    ----------
    key
        Key of the trial.
    """
    from aerobe.usecases.trials import open_codes as opened

    with where.open() as notebook:
        opened(notebook, key, now=now())
    say({"opened": key}, as_json=where.json, text=f"The codes of '{key}' are open.")


def fingerprint(key: str, to: Path | None = None, /, *, request: Path | None = None, where: Where = OWN) -> None:
    """The hash of a plan, to publish before the first brew; it tells nothing of the recipes behind the codes.

    Parameters
    ----------
    key
        Key of the trial.
    to
        Also write the file that it is the hash of; keep it closed until the codes are open.
    request
        Also write what an authority needs for a time stamp (RFC 3161); it holds the hash only.
    """
    from aerobe.usecases.trials import plan_fingerprint, stamp_request

    with where.open(create=False) as notebook:
        mark, content = plan_fingerprint(notebook, key)
    files, written = {}, []
    if to is not None:
        files[to] = content
        written.append(f"Written: {to}. It names the recipes: keep it closed until the codes are open.")
    if request is not None:
        files[request] = stamp_request(content)
        written.append(f"Written: {request}, for an authority of time stamps.")
    write_new(files)
    say({"sha256": mark}, as_json=where.json, text=[f"SHA-256 of the plan: {mark}", *written])


def stamped_at(file: Path, reply: Path, authority: Path, /, *, where: Where = OWN) -> None:
    """When a plan was there at the latest, by an authority's time stamp (RFC 3161); checked without a connection.

    Parameters
    ----------
    file
        The plan, as `trial fingerprint` wrote it.
    reply
        The authority's reply.
    authority
        The authority's root certificate (PEM), from its own page.
    """
    from aerobe.usecases.trials import check_stamp

    found = check_stamp(_read(file), _read(reply), _read(authority))
    named = found.authority or "An authority that names itself nowhere"
    say(
        found,
        as_json=where.json,
        text=[
            f"{file} was there on {found.stamped_at:%Y-%m-%d %H:%M:%S %Z} at the latest.",
            f"{named} says so (policy {found.policy}).",
            f"SHA-256 {found.sha256}",
            "Whether that was before the first brew, the times of the brews tell; they are their brewer's word.",
        ],
    )


def _passphrase(asking: str, file: Path | None) -> str:
    return getpass.getpass(asking) if file is None else _read(file).decode("utf-8", "replace").strip()


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as fault:
        raise ImportFault(f"{file} cannot be read: {fault.strerror}.", "Check the path.") from None
