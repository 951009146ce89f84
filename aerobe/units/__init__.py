"""Kinds of quantity and their house units: text is read once at the edge, plain floats go inside."""

from aerobe.units._kinds import (
    AIR_FLOW,
    AREA,
    BIOMASS,
    BIOMASS_PER_GRAM,
    CONDUCTIVITY,
    COUNT,
    DOSE,
    ELAPSED,
    FRACTION,
    KINDS,
    LENGTH,
    MONEY,
    OXYGEN,
    OXYGEN_PERCENT,
    PH,
    PRESSURE,
    RATE,
    TEMPERATURE,
    VOLUME,
    Kind,
    kind,
)
from aerobe.units._writing import number, parse_number, percent, ratio_words, span, whole_numbers, with_uncertainty

__all__ = [
    "AIR_FLOW", "AREA", "BIOMASS", "BIOMASS_PER_GRAM", "CONDUCTIVITY", "COUNT", "DOSE", "ELAPSED", "FRACTION",
    "KINDS", "LENGTH", "MONEY", "OXYGEN", "OXYGEN_PERCENT", "PH", "PRESSURE", "RATE", "TEMPERATURE", "VOLUME",
    "Kind", "kind", "number", "parse_number", "percent", "ratio_words", "span", "whole_numbers", "with_uncertainty",
]
