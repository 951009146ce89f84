"""The error record that a certificate hands to later calculations."""

from __future__ import annotations

import math

from aerobe.assay._arrays import normal_quantile, t_quantile
from aerobe.assay._certificate import Certificate, typical_reading
from aerobe.assay._colour import RecipeBias
from aerobe.errors import NotEnoughData
from aerobe.records import AssayError


def error_for(certificate: Certificate, recipe: str | None = None) -> AssayError:
    """The error record for readings of one recipe (or of clear liquid), as later calculations use it.

    Raises
    ------
    NotEnoughData
        If the recipe had no controls in the study.
    """
    origin = f"certificate: {certificate.study.name}"
    if recipe is None:
        return _error(certificate, certificate.background, _background_sd(certificate), 0.0, typical_reading(certificate), origin)
    if certificate.colour is None or recipe not in {item.recipe for item in certificate.colour.recipes}:
        raise NotEnoughData(
            f"The study has no controls of '{recipe}'.",
            "Run its filtered blank and killed control, or use the bias expected for a new tea of its colour.",
        )
    found = next(item for item in certificate.colour.recipes if item.recipe == recipe)
    return _error(certificate, found.bias, _as_normal(found), found.colour_alone, typical_reading(certificate, recipe), origin)


def _error(certificate: Certificate, bias: float, bias_sd: float, colour: float, typical: float, origin: str) -> AssayError:
    """The record for a tea whose colour adds `colour` and that usually reads `typical`.

    The proportional scatter acts on the whole signal above the background: cv^2 (x + colour)^2. The record knows only
    constant^2 + cv^2 x^2, so the cross term 2 x colour is split between both parts such that the sum is exact at the typical
    result and never too small elsewhere. The decision limit is computed at x = 0 without that split.
    """
    scatter, colour = certificate.scatter, max(0.0, colour)
    usual = max(typical - bias, 3 * scatter.constant_sd, 1e-9)
    # Later calculations take the scatter as known; Student's factor pays for the few repeats behind it.
    wide = t_quantile(certificate.level, scatter.df) / normal_quantile(certificate.level)
    at_zero = math.hypot(scatter.constant_sd, scatter.proportional_cv * colour)
    cross = scatter.proportional_cv**2 * colour
    limit = normal_quantile(0.9) * math.hypot(wide * at_zero, bias_sd)
    lowest_mark = (certificate.study.scale_low or 0.0) - bias
    return AssayError(
        constant_sd=wide * math.sqrt(at_zero**2 + cross * usual),
        proportional_cv=wide * math.sqrt(certificate.precision.single_cv**2 + cross / usual),
        bias=bias,
        bias_sd=bias_sd,
        gain_log_sd=certificate.gain_log_sd,
        detection_limit=max(limit, lowest_mark),
        upper_limit=certificate.study.scale_high,
        origin=origin,
    )


def _as_normal(found: RecipeBias) -> float:
    """The sd whose normal interval is the stated Student one: later calculations know no degrees of freedom."""
    return (found.high - found.low) / 2 / normal_quantile(found.level)


def _background_sd(certificate: Certificate) -> float:
    blanks = max(1, len(certificate.study.of("water blank")))
    return certificate.scatter.constant_sd / math.sqrt(blanks)
