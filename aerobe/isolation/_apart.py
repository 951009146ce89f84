"""Starting the other process, and turning whatever becomes of it into an answer or a fault."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NoReturn

from aerobe import errors
from aerobe.errors import AerobeError, ImportFault

AT_ONCE = 2  # processes; further callers wait for their turn
_TURNS = threading.BoundedSemaphore(AT_ONCE)
# No startup file, no environment variable and no working folder of a stranger is looked at; only our own search path counts.
_START = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from aerobe.isolation._child import main; main(sys.argv[2])"


PATIENCE = 6.0 if importlib.util.find_spec("resource") else 1.0  # without limits of processor time, the wall's clock is the limit


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkLimits:
    """What one piece of work may use.

    Parameters
    ----------
    memory_bytes
        Address space of the process. [B]
    seconds
        Processor time. On the wall it may take `PATIENCE` times as long: a machine with other work is no fault of the file. [s]
    answer_bytes
        Length of the answer. [B]
    """

    memory_bytes: int = 1_500_000_000
    seconds: float = 60.0
    answer_bytes: int = 400_000_000


READING = WorkLimits()


def run_apart(
    function: str, content: bytes, *, what: str, arguments: Mapping[str, object] | None = None, limits: WorkLimits = READING
) -> object:
    """What a function of ours makes of bytes from outside, worked out in a process of its own.

    Parameters
    ----------
    function
        Module and name, such as `aerobe.notebook._tables:grid_of_spreadsheet`; it takes the bytes first, and gives plain
        lists, dicts, texts and numbers back.
    content
        The bytes. [B]
    what
        What they are, for messages: usually the file's name.
    arguments
        Further arguments, plain as well.
    limits
        What it may use.

    Raises
    ------
    ImportFault
        If it used more than it may, or ended without an answer; or whatever fault the function itself raised.
    """
    order = json.dumps(
        {
            "function": function,
            "arguments": dict(arguments or {}),
            "memory_bytes": limits.memory_bytes,
            "seconds": limits.seconds,
        }
    )
    command = [sys.executable, "-I", "-c", _START, json.dumps(sys.path), order]
    with _TURNS:
        try:
            wait_s = PATIENCE * limits.seconds
            done = subprocess.run(command, input=content, capture_output=True, timeout=wait_s, env=_environment())
        except subprocess.TimeoutExpired:
            raise ImportFault(*_too_much(what, f"was not read within {wait_s:.0f} s")) from None
        except OSError as fault:
            raise ImportFault(
                f"{what} cannot be read: this machine starts no further process ({fault.strerror}).", "Try again in a while."
            ) from None
    if len(done.stdout) > limits.answer_bytes:
        raise ImportFault(*_too_much(what, "holds more than can be taken in at once"))
    try:
        told = json.loads(done.stdout)
    except ValueError:
        # Killed for memory or time, or crashed inside a library: no answer, or half of one.
        raise ImportFault(*_too_much(what, "needs more time or memory than a file of readings should, or is damaged")) from None
    if "answer" in told:
        return told["answer"]
    if told["kind"] == "memory":
        raise ImportFault(*_too_much(what, "needs more memory than a file of readings should"))
    _raise_again(what, told)


def _too_much(what: str, how: str) -> tuple[str, str]:
    return f"{what} {how}; it was given up, and nothing was taken in.", "Save only the rows with readings, as CSV."


def _raise_again(what: str, told: Mapping[str, str]) -> NoReturn:
    kind = getattr(errors, told["name"], None)
    if told["remedy"] and isinstance(kind, type) and issubclass(kind, AerobeError):
        raise kind(told["problem"], told["remedy"])
    raise ImportFault(f"{what} cannot be read: {told['problem']}.", "Save it again, as XLSX or as CSV.")


def _environment() -> dict[str, str]:
    # Nothing that this process knows by its environment (passwords of a server among it) goes along.
    keep = ("PATH", "SYSTEMROOT", "TEMP", "TMP", "TMPDIR", "LANG", "LC_ALL", "OPENBLAS_CORETYPE")
    return {name: os.environ[name] for name in keep if name in os.environ} | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
