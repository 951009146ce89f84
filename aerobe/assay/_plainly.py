"""A certificate in three lines: what the test is good for, what it is not good for, and what to do next."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.assay._certificate import Certificate
from aerobe.assay._result import decision_limit
from aerobe.records import AssayError
from aerobe.units import number

_TOO_WIDE = 1.0  # a change that has to be as large as the reading itself is not followed with single tests [-]
_UNSURE_SCALE = 0.1  # from here on amounts are not compared with those of other methods [-]
# What is asked for first, where a study lacks several things: without the first two a result may be plainly wrong.
_FIRST = ("Background", "Colour", "Linearity", "Recovery", "Scatter")


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreeLines:
    """The answer for a reader in a hurry."""

    good_for: str
    not_for: str
    what_next: str


def smallest_change(certificate: Certificate) -> float:
    """How far two single tests of one tea may lie apart, 19 times in 20, as a share of the reading. [-]

    The repeatability limit, 2.8 times the scatter of a single test, with the upper end of that scatter's interval: a small
    study must not promise what only luck has shown.

    Source
    ------
    iso-5725-6
    """
    return 2.8 * certificate.scatter.proportional_high


def in_three_lines(certificate: Certificate, error: AssayError, recipe: str | None = None) -> ThreeLines:
    """What a person needs to know of a test before anything else.

    Parameters
    ----------
    certificate
        Of the study.
    error
        For the tea in question.
    recipe
        That tea's name.
    """
    return ThreeLines(
        good_for=_good_for(certificate), not_for=_not_for(certificate, error, recipe), what_next=_what_next(certificate)
    )


def _good_for(certificate: Certificate) -> str:
    change, unit = smallest_change(certificate), certificate.study.unit
    low, high = certificate.valid_range.low, certificate.valid_range.high
    if not math.isfinite(change) or change >= _TOO_WIDE or not low < high:
        return "telling a lot from next to nothing. Single tests scatter too much to follow a change with."
    where = f"between {number(low)} and {number(high)} {unit}" if math.isfinite(high) else f"above {number(low)} {unit}"
    return (
        f"following one tea with one kit lot. Two single tests {where} that differ by more than {number(100 * change, 2)} % "
        "show a true change."
    )


def _not_for(certificate: Certificate, error: AssayError, recipe: str | None) -> str:
    unit = certificate.study.unit
    floor = error.bias + decision_limit(error)
    parts = [f"readings below {number(floor)} {unit}, which can be no microbes at all"]
    own = certificate.colour.recipes if certificate.colour is not None else ()
    if not any(item.recipe == recipe for item in own):
        parts.append("telling microbes from colour: no tea without them was tested")
    else:
        parts.append("teas of another colour without a killed or filtered control of their own")
    if certificate.gain_log_sd >= _UNSURE_SCALE:
        share = number(100.0 * math.expm1(certificate.gain_log_sd), 2)
        parts.append(f"amounts to set beside those of another method: its scale may be off by {share} %")
    return "; ".join(parts) + "."


def _what_next(certificate: Certificate) -> str:
    if certificate.suspects:
        return certificate.suspects[0]
    for heading in _FIRST:
        for line in certificate.missing:
            if line.startswith(f"{heading}:"):
                return _remedy(line)
    if certificate.missing:
        return _remedy(certificate.missing[0])
    return "Use it. Do the first three steps again with each new kit lot."


def _remedy(line: str) -> str:
    words = line.partition(": ")[2]
    return words[:1].upper() + words[1:]
