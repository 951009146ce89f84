"""One number for each brew: what a comparison of recipes is made of."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from aerobe.errors import NotEnoughData, UnusableReading
from aerobe.records import Assay, Brew, Reading

# Methods whose signal contains the colour of the tea, so that a darker recipe reads higher with the same cells.
COLOUR_SENSITIVE = ("colour test", "turbidity", "fumigation extraction", "other")
_COLOUR_CONTROLS = ("killed control", "filtered blank")
# A tea darkens and clears as it brews: a control stands for samples of its own brew taken within so many hours of it
# (common practice, no source) [h].
CONTROL_WINDOW_H = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewResult:
    """The outcome of one brew (or one pot, one bed): the unit that a recipe is replicated by.

    Several tests of one brew are already averaged here; they narrow `test_log_sd` and never count as brews.
    """

    brew: str
    arm: str
    value: float  # in the outcome's unit; above zero where arms are compared by ratio
    block: str = ""  # day or place that brews share
    column: str = ""  # a second grouping, such as the vessel
    tests: int = 1  # averaged in the value
    test_is_measured: bool = False  # a certificate says how much the test errs, nobody assumed it
    test_log_sd: float = 0.0  # what testing adds to the log of the value (its own unit for differences) [-]
    points: tuple[float, ...] = ()  # single results, to be shown
    colour_sensitive: bool = False  # the method reads colour as biomass
    colour_checked: bool = False  # a killed control or filtered blank of this brew was subtracted
    bias_log_sd: float | None = None  # characterised colour bias left in the log of the value, shared by the arm [-]
    at_limit: bool = False  # the value is the detection limit; the truth lies below
    above_range: bool = False  # the value is the highest that the test shows; the truth lies above
    of_n: float | None = None  # shares: how many plants (or seeds, leaves) the value was counted among; counts: its exposure
    members: tuple[str, ...] = ()  # keys of the brews, where several count as one
    source_brew: str = ""  # field response: the tea that this pot received
    elapsed_h: float | None = None  # when it was sampled, where that is known [h]
    began_h: float | None = None  # when the brew began, since any fixed moment [h]
    control_apart_h: float | None = None  # how far the nearest control was from the sample, where it is too far to count [h]
    confounders: Mapping[str, str] = field(default_factory=dict)  # kit lot, reader, probe, heap ... as recorded


def brew_results(
    brews: Sequence[Brew],
    readings: Sequence[Reading],
    assays: Mapping[str, Assay],
    *,
    at_h: float | None = None,
    tolerance_h: float = 1.0,
) -> tuple[BrewResult, ...]:
    """One result for each brew from the readings of its samples and controls.

    Parameters
    ----------
    brews
        Brews with their arm and block. [-]
    readings
        All readings; corrected ones (those that another replaces) are left out. [-]
    assays
        Assays by key. [-]
    at_h
        Time to compare at; None takes the latest hour at which every brew was sampled, and where there is none each brew's
        last sample (the verdict then says so). [h]
    tolerance_h
        How far from that time a reading may lie. [h]

    Returns
    -------
    tuple of BrewResult
        In the order of the brews.

    Raises
    ------
    NotEnoughData
        If a brew has no sample reading near the time.
    UnusableReading
        If the readings compared come from several assays or stand in several units.

    Source
    ------
    hurlbert-1984
    """
    replaced = {reading.replaces for reading in readings if reading.replaces}
    kept = [reading for reading in readings if reading.key not in replaced]
    used = {reading.assay for brew in brews for reading in kept if reading.brew == brew.key and reading.role == "sample"}
    if len(used) > 1:
        raise UnusableReading(
            f"The brews were measured by several assays ({', '.join(sorted(used))}).",
            "Compare one assay at a time; two assays do not agree well enough to stand beside each other.",
        )
    units = {reading.unit for brew in brews for reading in kept if reading.brew == brew.key and reading.role == "sample"} - {""}
    if len(units) > 1:
        raise UnusableReading(
            f"The results stand in several units ({', '.join(sorted(units))}).",
            "Correct them to the unit of the assay: a number per gram is no number per millilitre.",
        )
    of_brew = [[reading for reading in kept if reading.brew == brew.key] for brew in brews]
    hour = _latest_common_hour(of_brew, tolerance_h) if at_h is None else at_h
    return tuple(_one_brew(brew, rows, assays, hour, tolerance_h) for brew, rows in zip(brews, of_brew, strict=True))


def _latest_common_hour(of_brew: Sequence[Sequence[Reading]], tolerance_h: float) -> float | None:
    sampled = [[reading.elapsed_h for reading in rows if reading.role == "sample"] for rows in of_brew]
    hours = sorted({hour for row in sampled for hour in row}, reverse=True)
    return next((hour for hour in hours if all(any(abs(hour - other) <= tolerance_h for other in row) for row in sampled)), None)


def _one_brew(
    brew: Brew, readings: list[Reading], assays: Mapping[str, Assay], at_h: float | None, tolerance_h: float
) -> BrewResult:
    samples = [reading for reading in readings if reading.role == "sample"]
    if samples and at_h is None:
        at_h = max(reading.elapsed_h for reading in samples)
    samples = [reading for reading in samples if abs(reading.elapsed_h - (at_h or 0.0)) <= tolerance_h]
    if not samples:
        when = "" if at_h is None else f" within {tolerance_h:g} h of {at_h:g} h"
        raise NotEnoughData(f"Brew {brew.key} has no sample reading{when}.", "Add the reading, or compare at another time.")
    assay = assays[samples[0].assay]
    controls, apart_h = _controls_of(samples, [reading for reading in readings if reading.assay == assay.key])
    return replace(_net(brew, assay, samples, controls), control_apart_h=apart_h)


def _controls_of(samples: list[Reading], readings: list[Reading]) -> tuple[list[Reading], float | None]:
    """Killed controls of these samples if there are any, else filtered blanks, else plain blanks of any hour.

    Also how far off the nearest control of colour was taken, where none is near enough to control anything.
    """
    hour = _mean([reading.elapsed_h for reading in samples])
    of_colour = [reading for reading in readings if reading.role in _COLOUR_CONTROLS and not reading.above_range]
    for role in _COLOUR_CONTROLS:
        near = [r for r in of_colour if r.role == role and abs(r.elapsed_h - hour) <= CONTROL_WINDOW_H]
        if near:
            return near, None
    apart_h = min((abs(reading.elapsed_h - hour) for reading in of_colour), default=None)
    return [reading for reading in readings if reading.role == "blank"], apart_h


def _net(brew: Brew, assay: Assay, samples: list[Reading], controls: list[Reading]) -> BrewResult:
    values = [reading.signal * reading.dilution * assay.to_house for reading in samples]
    background = [reading.signal * reading.dilution * assay.to_house for reading in controls]
    checked = bool(controls) and controls[0].role in _COLOUR_CONTROLS
    error = assay.error
    off = _mean(background) if background else 0.0
    # A measured control holds the additive bias of this very tea; the characterised bias is for teas without one.
    if error is not None and not checked:
        off += error.bias * assay.to_house
    net = _mean(values) - off
    variance = _variance_of_mean(values, assay) + (_variance_of_mean(background, assay) if background else 0.0)
    limit = 0.0 if error is None or error.detection_limit is None else error.detection_limit * assay.to_house
    above = any(_is_above_range(reading, assay) for reading in samples)
    below = any(reading.below_detection for reading in samples) or net <= limit or net <= 0.0
    if above and below:
        raise NotEnoughData(
            f"Brew {brew.key} has results below and above what the test can show.", "Dilute or concentrate, and test it again."
        )
    if below:
        net = max(limit, net, math.sqrt(variance))
        if net <= 0.0:
            raise NotEnoughData(
                f"Brew {brew.key} shows nothing above its control, and the assay has no detection limit to put there.",
                "Characterise the assay (blanks and a spiked series), then compare again.",
            )
    known = error is not None and error.origin != "assumed" and error.bias_sd > 0 and not checked
    bias = error.bias_sd * assay.to_house / net if known and error is not None else None
    return BrewResult(
        brew=brew.key,
        arm=brew.arm or brew.recipe,
        value=net,
        block=brew.block,
        column=brew.vessel,
        tests=len(samples),
        test_log_sd=math.sqrt(variance) / net,
        test_is_measured=error is not None and error.origin != "assumed",
        points=tuple(value - off for value in values),
        colour_sensitive=assay.method in COLOUR_SENSITIVE,
        colour_checked=checked,
        bias_log_sd=bias,
        at_limit=below,
        above_range=above,
        elapsed_h=_mean([reading.elapsed_h for reading in samples]),
        began_h=brew.started_at.timestamp() / 3600.0,
        confounders=_recorded(samples),
    )


def _is_above_range(reading: Reading, assay: Assay) -> bool:
    highest = None if assay.error is None else assay.error.upper_limit
    return reading.above_range or (highest is not None and reading.signal >= highest)


def _recorded(samples: list[Reading]) -> dict[str, str]:
    """What the readings say of how they were made; several labels of one brew stand side by side."""
    found = {"kit lot": {r.kit_lot for r in samples}, "reader": {r.operator for r in samples}}
    return {name: " and ".join(sorted(labels - {""})) for name, labels in found.items() if labels - {""}}


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _variance_of_mean(values: Sequence[float], assay: Assay) -> float:
    """Variance that testing adds to the mean: from the assay's characterisation, else from the replicates themselves."""
    mean = _mean(values)
    if assay.error is not None:
        constant = assay.error.constant_sd * assay.to_house
        return (constant**2 + (assay.error.proportional_cv * mean) ** 2) / len(values)
    if len(values) < 2:
        return 0.0
    return sum((value - mean) ** 2 for value in values) / (len(values) - 1) / len(values)
