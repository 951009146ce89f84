"""A stand-in for the call where a test is about something else: finding one takes seconds of the processor."""

from __future__ import annotations

from aerobe.errors import NotEnoughData


def no_call(*_: object) -> None:
    """What the app is told where too little is known.

    Raises NotEnoughData always.
    """
    raise NotEnoughData("No call here.", "Calls are tried elsewhere.")
