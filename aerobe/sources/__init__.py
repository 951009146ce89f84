"""One entry for each paper, standard or handbook that a number or method comes from.

Entries live in `sources.toml` beside this file: key, who, year, title, where, what we took, and `seen`
("read", "abstract", "second hand", "from memory") so that nobody takes a recollection for a citation.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from aerobe.errors import NotFound

SEEN = ("read", "abstract", "second hand", "from memory", "common practice")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where something comes from, and how well we know it."""

    key: str
    who: str
    year: int | None
    title: str
    where: str
    took: str
    seen: str

    def as_line(self) -> str:
        """The source as one line for a list of references."""
        year = f" ({self.year})" if self.year else ""
        note = "" if self.seen == "read" else f" [{self.seen}]"
        return f"{self.who}{year}. {self.title}. {self.where}.{note}"


@cache
def all_sources() -> dict[str, Source]:
    """Every source by key, from all files `*.toml` in this folder.

    Each room keeps its own file, so that two people can add sources at once.
    """
    found: dict[str, Source] = {}
    for path in sorted(files(__package__).iterdir(), key=lambda item: item.name):
        if not path.name.endswith(".toml"):
            continue
        for key, fields in tomllib.loads(path.read_text(encoding="utf-8")).items():
            if key in found:
                raise ValueError(f"source {key} stands in two files; the second is {path.name}")
            found[key] = Source(key=key, year=fields.pop("year", None), **fields)
    return found


def source(key: str) -> Source:
    """The source with this key.

    Raises
    ------
    NotFound
        If no file in this room has the key.
    """
    try:
        return all_sources()[key]
    except KeyError:
        raise NotFound(f"There is no source '{key}'.", "Add it to a file in aerobe/sources/.") from None


def cite(*keys: str) -> list[str]:
    """Reference lines for the keys, each once, in the order given."""
    return [source(key).as_line() for key in dict.fromkeys(keys)]
