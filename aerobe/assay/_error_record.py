"""The error record that a certificate hands to later calculations."""

from __future__ import annotations

import dataclasses
import math

from aerobe.assay._arrays import normal_quantile
from aerobe.assay._certificate import Certificate
from aerobe.assay._colour import RecipeBias
from aerobe.assay._result import decision_limit
from aerobe.errors import NotEnoughData
from aerobe.records import AssayError


def error_for(certificate: Certificate, recipe: str | None = None) -> AssayError:
    """The error record for readings of one recipe (or of clear liquid), as later calculations use it.

    The colour's own proportional scatter goes into the constant part of that recipe.

    Raises
    ------
    NotEnoughData
        If the recipe had no controls in the study.
    """
    bias, bias_sd, extra = certificate.background, _background_sd(certificate), 0.0
    if recipe is not None:
        if certificate.colour is None or recipe not in {item.recipe for item in certificate.colour.recipes}:
            raise NotEnoughData(
                f"The study has no controls of '{recipe}'.",
                "Run its filtered blank and killed control, or use the bias expected for a new tea of its colour.",
            )
        found = next(item for item in certificate.colour.recipes if item.recipe == recipe)
        bias, bias_sd, extra = found.bias, _as_normal(found), certificate.scatter.proportional_cv * max(0.0, found.colour_alone)
    return _error(certificate, bias, bias_sd, extra, f"certificate: {certificate.study.name}")


def error_for_new_tea(certificate: Certificate, colour: float) -> AssayError:
    """The error record for a tea of this colour that had no control of its own: the spread between colourants goes in."""
    if certificate.colour is None:
        raise NotEnoughData(
            "The study has no coloured reading without cells.", "Add filtered blanks, killed controls or colourants."
        )
    bias, bias_sd = certificate.colour.bias_of_new(colour)
    extra = certificate.scatter.proportional_cv * max(0.0, bias - certificate.background)
    return _error(certificate, bias, bias_sd, extra, f"certificate: {certificate.study.name}, a tea without its own control")


def _error(certificate: Certificate, bias: float, bias_sd: float, extra_sd: float, origin: str) -> AssayError:
    """The record; its detection limit is the decision limit of the net result, or the lowest mark of the scale if higher."""
    draft = AssayError(
        constant_sd=math.hypot(certificate.scatter.constant_sd, extra_sd),
        proportional_cv=certificate.precision.single_cv,
        bias=bias,
        bias_sd=bias_sd,
        gain_log_sd=certificate.gain_log_sd,
        upper_limit=certificate.study.scale_high,
        origin=origin,
    )
    return dataclasses.replace(draft, detection_limit=max(decision_limit(draft), certificate.study.scale_low or 0.0))


def _as_normal(found: RecipeBias) -> float:
    """The sd whose normal interval is the stated Student one: later calculations know no degrees of freedom."""
    return (found.high - found.low) / 2 / normal_quantile(found.level)


def _background_sd(certificate: Certificate) -> float:
    blanks = max(1, len(certificate.study.of("water blank")))
    return certificate.scatter.constant_sd / math.sqrt(blanks)
