"""The number from which a run sheet is drawn, where nobody names one."""

from __future__ import annotations

import secrets

# Codes and arms are drawn from one number: whoever can try all numbers knows the arms. These are too many to be tried, and still
# whole numbers in every program that reads JSON.
LOT_BITS = 53


def new_seed() -> int:
    """A number for the lots of a trial that nobody can guess from its codes. [-]"""
    return secrets.randbits(LOT_BITS)
