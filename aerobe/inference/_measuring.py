"""Readings as typed become measurements with their error: controls of the brew say what its colour adds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from aerobe.assay import assumed_error
from aerobe.inference._story import Measurement
from aerobe.records import Assay, AssayError, Reading

# The most telling control first: a killed control keeps colour and everything else but life; a filtered one loses cells.
COLOUR_SHARE = 0.4  # of the lowest reading that colour may well be, where no control tells; assumed [-]
CONTROLS = ("killed control", "filtered blank", "blank")


def measurements_of(readings: Sequence[Reading], assays: Mapping[str, Assay]) -> tuple[tuple[Measurement, ...], tuple[str, ...]]:
    """Measurements of the sample readings in house units, and what should be said about them.

    Parameters
    ----------
    readings
        Of one brew, corrections applied. Those before the start are left out and said.
    assays
        By key; must hold each reading's assay.

    Returns
    -------
    tuple
        Measurements in order of time, and notes in plain words.
    """
    notes: list[str] = []
    out: list[Measurement] = []
    for key in dict.fromkeys(reading.assay for reading in readings):
        assay = assays[key]
        mine = [reading for reading in readings if reading.assay == key]
        if assay.quantity == "grazers":
            notes.append(f"{assay.name} counts grazers: they are no biomass of bacteria or fungi and are left out here.")
            continue
        error, said = _error_of(assay, mine)
        notes += said
        for reading in mine:
            if reading.role != "sample":
                continue
            if reading.elapsed_h < 0.0:
                notes.append(f"A reading at {reading.elapsed_h:.1f} h lies before the air was turned on; it is left out.")
                continue
            out.append(
                Measurement(
                    elapsed_h=reading.elapsed_h,
                    value=_value(reading, assay),
                    quantity=assay.quantity,
                    assay=key,
                    # Dilution multiplies what is random near zero as well.
                    error=replace(error, constant_sd=error.constant_sd * reading.dilution),
                    below_detection=reading.below_detection,
                    above_range=reading.above_range,
                )
            )
    return tuple(sorted(out, key=lambda item: item.elapsed_h)), tuple(dict.fromkeys(notes))


def _value(reading: Reading, assay: Assay) -> float:
    return reading.signal * reading.dilution * assay.to_house


def _error_of(assay: Assay, readings: list[Reading]) -> tuple[AssayError, list[str]]:
    """The assay's error in house units with the bias that this brew's own controls show."""
    own, unit = assay.error or assumed_error(assay), assay.to_house
    error = replace(
        own,
        constant_sd=own.constant_sd * unit,
        bias=own.bias * unit,
        bias_sd=own.bias_sd * unit,
        detection_limit=None,
        upper_limit=None,
    )
    notes = (
        []
        if assay.error is not None
        else [f"{assay.name} has not been characterised; a CV of {100 * error.proportional_cv:.0f} % is assumed."]
    )
    if assay.quantity == "fungal to bacterial ratio":
        return error, notes
    for role in CONTROLS:
        run = [item for item in readings if item.role == role]
        if run:
            # A control below the limit is a control: what it would have read lies anywhere between nothing and the limit.
            limits = np.array([_value(item, assay) if item.below_detection else 0.0 for item in run])
            values = np.array([_value(item, assay) for item in run]) - limits / 2.0
            # One control cannot show its own scatter, so the assay's stands in for it.
            single = float(np.hypot(error.constant_sd, error.proportional_cv * abs(values.mean())))
            spread = max(float(values.std(ddof=1)) if len(values) > 2 else 0.0, single)
            # What limits hide is shared by all of them, so more of them do not make it smaller.
            hidden = float(limits.mean()) / 12.0**0.5
            seen = [_value(item, assay) for item in readings if item.role == "sample" and not item.below_detection]
            if seen and values.mean() >= max(seen):
                notes.append(
                    f"The {role} reads as much as the tea: this test shows nothing alive in it. Look for mixed-up samples."
                )
            return replace(error, bias=float(values.mean()), bias_sd=float(np.hypot(spread / len(run) ** 0.5, hidden))), notes
    if assay.method == "colour test" and error.bias == 0.0:
        notes.append("No killed control was run with this brew: what its colour adds to the test is not known.")
        seen = [_value(item, assay) for item in readings if item.role == "sample" and not item.below_detection]
        # Colour is part of every reading, so it is no more than the lowest; how much of that it is nobody knows.
        unknown = COLOUR_SHARE * max(min(seen, default=0.0), 0.0)
        error = replace(error, bias_sd=max(error.bias_sd, 2.0 * error.constant_sd, unknown))
    return error, notes
