"""The key of codes in another person's hands, and a fingerprint of the plan to publish before the first brew."""

from __future__ import annotations

import base64
import hashlib
import json
import os
from dataclasses import dataclass
from datetime import datetime

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from aerobe.errors import ImportFault, NotFound, UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Trial, canonical_json
from aerobe.usecases.trials._blinding import note_key_shown
from aerobe.usecases.trials._view import sheet_of

KIND = "aerobe sealed key"
SHORTEST = 8
_SCRYPT_N = 2**15


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenedKey:
    """What a sealed key says."""

    lines: tuple[dict[str, str], ...]  # code, brew, arm, vessel
    seed: int | None  # that draws the sheet again; none in keys of before


def seal_key(notebook: Notebook, key: str, passphrase: str, *, now: datetime, holder: str = "") -> bytes:
    """The key of codes as a file that only the passphrase opens, for a person who reads no tests.

    Parameters
    ----------
    notebook, key
        Where the trial is.
    passphrase
        Chosen by whoever is to hold the key; at least eight characters.
    now, holder
        When it was sealed and for whom; kept in the notebook.

    Raises
    ------
    NotFound
        If the trial has no run sheet.
    UnusableRecord
        If the passphrase is too short.

    Source
    ------
    rfc-7914, nist-sp800-38d
    """
    if len(passphrase) < SHORTEST:
        raise UnusableRecord("The passphrase is too short to keep anything.", f"Use at least {SHORTEST} characters.")
    sheet = sheet_of(notebook, key)
    if sheet is None:
        raise NotFound(f"Trial {key} has no run sheet.", "Plan the trial here first.")
    lines = [{"code": line.blind_code, "brew": line.brew, "arm": line.arm, "vessel": line.vessel} for line in sheet.brews]
    inside = {"seed": sheet.seed, "lines": lines}
    salt, nonce = os.urandom(16), os.urandom(12)
    body = AESGCM(_stretched(passphrase, salt)).encrypt(nonce, canonical_json(inside).encode(), key.encode())
    note_key_shown(notebook, key, now=now, who=holder)
    named = {"kind": KIND, "trial": key, "n": _SCRYPT_N}
    packed = {name: base64.b64encode(part).decode() for name, part in (("salt", salt), ("nonce", nonce), ("sealed", body))}
    return json.dumps({**named, **packed}, indent=1).encode()


def open_key(content: bytes, passphrase: str) -> OpenedKey:
    """What a sealed key says: code, brew, arm and vessel of each line, and the seed that draws the sheet again.

    Raises
    ------
    ImportFault
        If it is no sealed key, or the passphrase is another.
    """
    no_key = ImportFault("This file is no sealed key.", "Choose the file that `aerobe trial seal` wrote.")
    try:
        held = json.loads(content)
        if held.get("kind") != KIND or held.get("n") != _SCRYPT_N:
            raise no_key
        salt, nonce, body = (base64.b64decode(held[name]) for name in ("salt", "nonce", "sealed"))
        trial = str(held["trial"])
    except (ValueError, KeyError, AttributeError, TypeError):
        raise no_key from None
    try:
        plain = AESGCM(_stretched(passphrase, salt)).decrypt(nonce, body, trial.encode())
    except (InvalidTag, ValueError):
        raise ImportFault("The passphrase does not open this key, or the file was changed.", "Type it again.") from None
    found = json.loads(plain)
    if isinstance(found, list):  # as they were sealed before the seed was kept from the pages
        return OpenedKey(lines=tuple(found), seed=None)
    return OpenedKey(lines=tuple(found["lines"]), seed=found["seed"])


def plan_fingerprint(notebook: Notebook, key: str) -> tuple[str, bytes]:
    """The hash of a plan and the file it is the hash of: trial and run sheet, in one canonical form.

    Publish the hash before the first brew (it tells nothing of the arms); keep the file. Anyone who gets the file later can
    compute the hash again.
    """
    trial, sheet = notebook.get(Trial, key), sheet_of(notebook, key)
    content = canonical_json({"trial": trial, "run_sheet": sheet}).encode()
    return hashlib.sha256(content).hexdigest(), content


def _stretched(passphrase: str, salt: bytes) -> bytes:
    return Scrypt(salt=salt, length=32, n=_SCRYPT_N, r=8, p=1).derive(passphrase.encode())
