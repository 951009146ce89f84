"""Spoiling valid input by seed: the same seed gives the same rubbish. Then the reader is watched: how long, what it raises."""

from __future__ import annotations

import copy
import random
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field
from typing import Any

from aerobe.errors import AerobeError

SLOW_S = 1.0  # of the processor's time: other programs on the machine must not look like a slow reader of ours
HANG_S = 120.0  # by the clock; then the reader is interrupted
LONGEST_MESSAGE = 4000

# fmt: off
WORDS = [
    "", " ", "\n", "\t", "\0", "0", "-0", "-1", "1e400", "1e308", "1e-320", "NaN", "nan", "inf", "-Infinity", "\u221e", "0x10",
    "1_000", "9" * 30, "9" * 400, "1.2.3", "1,2,3", "1,234", "1.234,5", "1 234", "25 1/h", "\u00bd", "\u00b2", "\u0663", "\uff11",
    "12 L", "8,2 mg/L", "99:99", "24:00", "2026-13-01", "2026-02-30", "0001-01-01", "9999-12-31T23:59:59+14:00",
    "0001-01-01T00:00:00-14:00", "2026-05-01T08:00", "2026-05-01T08:00+99:99", "2026-W18-5", "=1+1", "@x", "../../etc",
    "<script>", "{{7*7}}", "{", "}", "[", "]", '"', "'", "\\", "%00", "\u202e", "\U0001f41b", "\ufeff", "\ud800", "e\u0301",
    "a" * 300,
    ";" * 50, "," * 50, "|", ":", "::", "/", "true", "None", "null", "b1", "no 50", "<", ">", "<5", ">>500", "+", "-", "--json",
    "-n",
]
ODD: list[Any] = [
    None, True, 0, -1, 1e308, float("nan"), float("inf"), 10**400, 2**63, "", [], {}, [[]], {"a": 1}, "x" * 2000, "\ud800", 1.5,
    "1", [None], {"": None},
]
# fmt: on


def spoil_text(rng: random.Random, text: str) -> str:
    """One to five small harms to a text."""
    for _ in range(rng.choice((1, 1, 1, 2, 3, 5))):
        a, b = sorted(rng.randrange(len(text) + 1) for _ in range(2))
        how = rng.randrange(8)
        if how == 0:
            text = text[:a] + rng.choice(WORDS) + text[a:]
        elif how == 1:
            text = text[:a] + rng.choice(WORDS) + text[b:]
        elif how == 2:
            text = text[:a] + text[b:]
        elif how == 3:
            text = text[:a] + chr(rng.choice((rng.randrange(32), rng.randrange(128), rng.randrange(0x3000)))) + text[a + 1 :]
        elif how == 4:
            text = text[:b] + text[a:b] * rng.choice((1, 2, 50)) + text[b:]
        elif how == 5:
            text = text[:a] + rng.choice(" \n\t,;1.x") * rng.choice((1, 10, 3000)) + text[a:]
        elif how == 6:
            text = text[::-1] if rng.random() < 0.1 else text.swapcase()
        else:
            text = rng.choice(WORDS)
        text = text[:200_000]
    return text


def spoil_bytes(rng: random.Random, content: bytes) -> bytes:
    """Harm to bytes: flipped, cut, doubled, or a text among them spoiled."""
    how = rng.randrange(6)
    a, b = sorted(rng.randrange(len(content) + 1) for _ in range(2))
    if how == 0 and content:
        spoiled = bytearray(content)
        for _ in range(rng.choice((1, 3, 20))):
            spoiled[rng.randrange(len(spoiled))] = rng.randrange(256)
        return bytes(spoiled)
    if how == 1:
        return content[:a]
    if how == 2:
        return content[:a] + content[b:]
    if how == 3:
        return content[:b] + content[a:b] * 3 + content[b:]
    if how == 4:
        return content[:a] + rng.randbytes(rng.choice((1, 8, 300))) + content[a:]
    return spoil_text(rng, content.decode("utf-8", errors="replace")).encode("utf-8", errors="replace")


def spoil_plain(rng: random.Random, value: Any) -> Any:
    """Harm to JSON values: one place anywhere in it becomes something else, goes away or is doubled."""
    made = copy.deepcopy(value)
    places = list(_places(made))
    if not places:
        return rng.choice(ODD)
    for _ in range(rng.choice((1, 1, 2, 4))):
        holder, name = rng.choice(places)
        try:
            old = holder[name]
        except (KeyError, IndexError):
            continue
        how = rng.randrange(5)
        if how == 0 and isinstance(holder, dict):
            del holder[name]
        elif how == 1 and isinstance(holder, dict):
            holder[spoil_text(rng, str(name))] = old
        elif how == 2 and isinstance(old, str):
            holder[name] = spoil_text(rng, old)
        elif how == 3 and isinstance(old, (int, float)) and abs(old) < 1e300:
            holder[name] = old * rng.choice((-1, 0, 1e9, 1e-9, 1e300))
        else:
            holder[name] = rng.choice(ODD)
    return made


def _places(value: Any) -> Iterator[tuple[Any, Any]]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, item in items:
        yield value, name
        yield from _places(item)


@dataclass(frozen=True, slots=True, kw_only=True)
class Parser:
    """One reader of foreign input.

    `read` gets a spoiled sample; it may return or raise an AerobeError, nothing else. `sane` looks at what it returned: a
    sentence if rubbish was accepted.
    """

    name: str
    read: Callable[[Any], Any]
    samples: Sequence[Any]
    spoil: Callable[[random.Random, Any], Any] = spoil_text
    sane: Callable[[Any], str] = lambda found: ""
    samples_are_taken: bool = True  # else they are refused, as they should be
    slow_s: float = SLOW_S
    quick: int = 40  # inputs in the suite
    long: int = 10_000  # inputs in the long run


@dataclass(slots=True, kw_only=True)
class Tally:
    """What became of one parser's inputs."""

    name: str
    tried: int = 0
    taken: int = 0
    refused: int = 0
    slowest_s: float = 0.0
    seconds: float = 0.0
    grew_mb: float = 0.0
    breaks: list[str] = field(default_factory=list)


class Broken(Exception):
    """An answer that no person could use."""


class Hang(Exception):
    """A reader that did not come back."""


@contextmanager
def watched() -> Iterator[None]:
    """Interrupts what takes far too long."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def stop(*_: object) -> None:
        raise Hang

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, HANG_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def run(parser: Parser, *, count: int, seed: int, most_breaks: int = 20) -> Tally:
    """So many spoiled inputs into one parser; the samples themselves go in first, unharmed."""
    rng = random.Random(f"{parser.name}/{seed}")
    tally = Tally(name=parser.name)
    for sample in parser.samples if count else ():
        with nullcontext() if parser.samples_are_taken else suppress(AerobeError):
            parser.read(sample)  # a sample that is refused would make all that follows meaningless
    began, held = time.perf_counter(), _peak_mb()
    for number in range(count):
        sample = parser.samples[number % len(parser.samples)]
        _one(parser, parser.spoil(rng, sample), tally)
        if len(tally.breaks) >= most_breaks:
            break
    tally.seconds, tally.grew_mb = time.perf_counter() - began, _peak_mb() - held
    return tally


def _one(parser: Parser, given: Any, tally: Tally) -> None:
    tally.tried += 1
    began = time.process_time()
    said = ""
    try:
        with watched():
            found = parser.read(given)
        tally.taken += 1
        said = parser.sane(found)
    except AerobeError as fault:
        tally.refused += 1
        if not fault.problem.strip() or not fault.remedy.strip():
            said = "a fault without problem or remedy"
        elif len(str(fault)) > LONGEST_MESSAGE:
            said = f"a message of {len(str(fault))} characters"
    except Hang:
        said = f"no answer in {HANG_S:g} s"
    except Exception as fault:
        place = traceback.extract_tb(fault.__traceback__)[-1]
        ours = [frame for frame in traceback.extract_tb(fault.__traceback__) if "aerobe" in frame.filename]
        where = ours[-1] if ours else place
        said = f"{type(fault).__name__}: {str(fault)[:150]} at {where.filename.rsplit('/aerobe/', 1)[-1]}:{where.lineno}"
    took = time.process_time() - began
    tally.slowest_s = max(tally.slowest_s, took)
    if not said and took > parser.slow_s:
        said = f"{took:.1f} s"
    if said:
        tally.breaks.append(f"{said} <- {_shown(given)}")


def _shown(given: Any) -> str:
    text = ascii(given)
    return text if len(text) < 400 else f"{text[:400]}... ({len(text)} characters)"


def _peak_mb() -> float:
    try:
        import resource
    except ImportError:
        return 0.0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024.0 * 1024.0 if sys.platform == "darwin" else 1024.0)
