"""What a page's form, or an object in JSON, gives for an entry of text fields."""

from __future__ import annotations

from collections.abc import Collection, Mapping


def text_fields(known: Collection[str], form: Mapping[str, object], *, empty_too: bool = True) -> dict[str, str]:
    """The fields that are known, as text; others are left aside, as is what has no value.

    Parameters
    ----------
    known
        Names of the entry's fields.
    empty_too
        Whether an empty text is an answer; if not, the entry's own default stands.
    """
    typed = {name: str(value) for name, value in form.items() if name in known and value is not None}
    return typed if empty_too else {name: text for name, text in typed.items() if text}
