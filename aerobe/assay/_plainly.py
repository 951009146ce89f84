"""A certificate in three lines: what the test is good for, what it is not good for, and what to do next."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.assay._certificate import Certificate
from aerobe.assay._result import decision_limit
from aerobe.records import AssayError
from aerobe.units import number

_SCATTERS = "telling a lot from next to nothing. Single tests scatter too much to follow a change with."
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


def smallest_change(certificate: Certificate, reading: float = math.inf) -> float:
    """How far two single tests of one tea may lie apart, 19 times in 20, as a share of the reading. [-]

    The repeatability limit, 2.8 times the scatter of a single test, with the upper ends of that scatter's intervals: a small
    study must not promise what only luck has shown. Near zero the constant part of the scatter rules.

    Parameters
    ----------
    certificate
        Of the study.
    reading
        About where the two read; far above the constant scatter if left out. [unit of the study]

    Source
    ------
    iso-5725-6
    """
    return 2.8 * math.hypot(certificate.scatter.proportional_high, certificate.scatter.constant_high / reading)


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
        good_for=_good_for(certificate, error), not_for=_not_for(certificate, error, recipe), what_next=_what_next(certificate)
    )


def _good_for(certificate: Certificate, error: AssayError) -> str:
    """A reading is what the kit shows, colour included; the valid range is what lies above that."""
    unit, scatter = certificate.study.unit, certificate.scatter
    top_of_scale = certificate.study.scale_high
    high = min(error.bias + certificate.valid_range.high, math.inf if top_of_scale is None else top_of_scale)
    strong = smallest_change(certificate, high)
    if not math.isfinite(strong) or strong >= _TOO_WIDE:
        return _SCATTERS
    # Weaker than this, only a change as large as the reading itself would show.
    followed_from = scatter.constant_high / math.sqrt((_TOO_WIDE / 2.8) ** 2 - scatter.proportional_high**2)
    low = max(error.bias + certificate.valid_range.low, error.bias + decision_limit(error), followed_from)
    if not low < high:
        return _SCATTERS
    top = f"{number(high)} {unit}" if math.isfinite(high) else "strong ones"
    weak = smallest_change(certificate, low) if low > 0.0 else strong
    from_low = "" if f"{weak:.2g}" == f"{strong:.2g}" else f"{number(100 * weak, 2)} % at {number(low)} {unit}, or "
    return (
        "following one tea with one kit lot. Two single tests show a true change if they differ by more than "
        f"{from_low}{number(100 * strong, 2)} % at {top}."
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
