"""Records to plain JSON values and back, so that store, exchange and web write each record the same way."""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import json
import math
import types
import typing
from datetime import datetime
from typing import Any, TypeVar, Union

from aerobe.errors import UnusableRecord

R = TypeVar("R")


def as_plain(value: object, *, digits: int = 0) -> Any:
    """A record as dicts, lists, strings and numbers; datetimes as ISO 8601 with offset, arrays as lists.

    Parameters
    ----------
    value
        A record, or anything made of records.
    digits
        Significant digits kept of the numbers in arrays, for what is drawn or shown; all if left out.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        written = [item.name for item in dataclasses.fields(value) if _is_written(item, value)]
        return {name: as_plain(getattr(value, name), digits=digits) for name in written}
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return [as_plain(item, digits=digits) for item in value]
    if isinstance(value, dict):
        return {str(key): as_plain(item, digits=digits) for key, item in value.items()}
    if hasattr(value, "tolist"):  # an array; this room needs no numerical library to know one
        return _rounded(value.tolist(), digits)
    return value


def _rounded(value: Any, digits: int) -> Any:
    if isinstance(value, list):
        return [_rounded(item, digits) for item in value]
    return float(f"{value:.{digits}g}") if digits and isinstance(value, float) else value


def as_json(value: object) -> Any:
    """The same for an answer to a program: a number without end, or that is none, becomes null, for JSON has no word for it."""
    plain = as_plain(value)
    if isinstance(plain, float) and not math.isfinite(plain):
        return None
    if isinstance(plain, dict):
        return {key: as_json(item) for key, item in plain.items()}
    if isinstance(plain, list):
        return [as_json(item) for item in plain]
    return plain


def from_plain(cls: type[R], data: object) -> R:
    """The record of type `cls` from what `as_plain` made. Unknown fields are refused, missing ones take defaults.

    Raises
    ------
    UnusableRecord
        If a field is unknown, missing without default or of the wrong type.
    """
    if not isinstance(data, dict):
        raise UnusableRecord(f"A {cls.__name__} must be an object with named fields.", "Check the file against its schema.")
    hints = _hints_of(cls)  # type: ignore[arg-type]
    known, needed = _fields_of(cls)  # type: ignore[arg-type]
    unknown = sorted(set(data) - known)
    if unknown:
        raise UnusableRecord(f"A {cls.__name__} has no field {', '.join(unknown)}.", f"Known fields: {', '.join(sorted(known))}.")
    missing = [name for name in needed if name not in data]
    if missing:
        raise UnusableRecord(f"A {cls.__name__} lacks {', '.join(missing)}.", "Add the missing fields.")
    return cls(**{name: _cast(hints[name], item, f"{cls.__name__}.{name}") for name, item in data.items()})


def _must_be_given(item: dataclasses.Field[Any]) -> bool:
    return item.default is dataclasses.MISSING and item.default_factory is dataclasses.MISSING


# How people call what a field takes.
_CALLED: dict[object, str] = {
    float: "a number",
    int: "a whole number",
    str: "a text in quotes",
    bool: "true or false",
    datetime: "a date and time",
}


def _is_written(item: dataclasses.Field[Any], record: object) -> bool:
    # A field that came later is left out while it says nothing, so that older records keep their hash.
    return not item.metadata.get("later") or getattr(record, item.name) != item.default


@functools.cache
def _fields_of(cls: type[object]) -> tuple[frozenset[str], tuple[str, ...]]:
    """Names of the fields of a record, and of those that must be given."""
    fields = dataclasses.fields(cls)  # type: ignore[arg-type]
    return frozenset(item.name for item in fields), tuple(item.name for item in fields if _must_be_given(item))


@functools.cache
def _hints_of(cls: type[object]) -> dict[str, object]:
    # A notebook of a thousand brews asks for the same few classes thousands of times.
    return typing.get_type_hints(cls)


def canonical_json(value: object) -> str:
    """The same text for the same content on every machine: sorted keys, no spaces, shortest round-trip floats.

    Raises
    ------
    UnusableRecord
        If a number has no end or is none.
    """
    try:
        return json.dumps(as_plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    except ValueError:
        raise UnusableRecord("A record holds a number without end.", "Give numbers that can be written in digits.") from None


def content_hash(value: object) -> str:
    """SHA-256 of the canonical JSON, as hex."""
    return hashlib.sha256(canonical_json(value).encode()).hexdigest()


def _cast(hint: object, value: Any, where: str) -> object:
    if isinstance(hint, type) and hint in _CALLED:  # most fields, asked first
        return _scalar(hint, value, where)
    origin = typing.get_origin(hint)
    if origin in (Union, types.UnionType):
        if value is None:
            return None
        inner = [item for item in typing.get_args(hint) if item is not type(None)]
        return _cast(inner[0], value, where)
    if origin is tuple:
        if not isinstance(value, (list, tuple)):
            raise UnusableRecord(f"{where} must be a list.", "Check the file against its schema.")
        inner_hint = typing.get_args(hint)[0]
        return tuple(_cast(inner_hint, item, where) for item in value)
    if origin is dict:
        if not isinstance(value, dict):
            raise UnusableRecord(f"{where} must be an object.", "Check the file against its schema.")
        return {str(key): _cast(typing.get_args(hint)[1], item, where) for key, item in value.items()}
    if dataclasses.is_dataclass(hint):
        return from_plain(typing.cast(type, hint), value)
    return _scalar(hint, value, where)


def _short(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 60 else f"{text[:60]}..."


def _wrong(hint: object, value: object, where: str) -> UnusableRecord:
    # Made where it is needed only: a notebook read whole has thousands of values, and all but a few are right.
    return UnusableRecord(f"{where} cannot be {_short(value)}.", f"Give {_CALLED.get(hint, 'what its schema says')}.")


def _scalar(hint: object, value: Any, where: str) -> Any:
    if hint is datetime:
        try:
            return datetime.fromisoformat(value)
        except (TypeError, ValueError):
            raise _wrong(hint, value, where) from None
    if hint is float:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise _wrong(hint, value, where)
        try:
            return float(value)
        except OverflowError:  # JSON knows whole numbers of any length
            raise _wrong(hint, value, where) from None
    if hint is int and isinstance(value, float) and value.is_integer():
        return int(value)
    if hint in (int, str, bool) and (type(value) is not hint):
        raise _wrong(hint, value, where)
    return value
