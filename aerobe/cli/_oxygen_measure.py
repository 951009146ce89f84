"""Commands that measure: saturation, probes, sulphite, re-aeration runs and air steps. `_oxygen` takes them into its group."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import JSON_ONLY, OWN, Where, now, say
from aerobe.errors import ImportFault, NotAQuantity
from aerobe.units import CONDUCTIVITY, ELAPSED, LENGTH, OXYGEN, PRESSURE, TEMPERATURE, VOLUME, number

if TYPE_CHECKING:
    from aerobe.records import Vessel


@Parameter(name="*")
@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """Water and place."""

    temperature: Annotated[str, Parameter(help="Water temperature, with unit. Saturation and transfer hang on it.")] = ""
    altitude: Annotated[str, Parameter(help="Height above sea level, with unit.")] = "0 m"

    def read(self) -> tuple[float, float]:
        """Temperature and altitude. [degC, m]"""
        return self.warm(), LENGTH.read(self.altitude)

    def warm(self) -> float:
        """Temperature, which nobody can guess. [degC]"""
        if not self.temperature:
            raise NotAQuantity("The temperature of the water is not given.", 'Measure it and add --temperature "18 degC".')
        return TEMPERATURE.read(self.temperature)


WATER = Water()


def saturation(*, water: Water = WATER, pressure: str = "", conductivity: str = "", json: JSON_ONLY = False) -> None:
    """Oxygen that water holds in balance with air.

    Parameters
    ----------
    pressure
        Air pressure at the place, not reduced to sea level; instead of the altitude.
    conductivity
        Of the water at 25 degC, for its salts.
    """
    from aerobe.usecases.oxygen import salinity_from_conductivity, saturation_mg_per_l

    salts = salinity_from_conductivity(CONDUCTIVITY.read(conductivity)) if conductivity else 0.0
    value = saturation_mg_per_l(
        water.warm(),
        altitude_m=LENGTH.read(water.altitude),
        salinity=salts,
        pressure_kpa=PRESSURE.read(pressure) if pressure else None,
    )
    said = f"Water in balance with air holds {value:.2f} mg/L here."
    say({"saturation_mg_per_l": value, "salinity": salts}, as_json=json, text=said)


def probe(reading: str, /, *, zero: str = "", water: Water = WATER, json: JSON_ONLY = False) -> int:
    """Judge a probe by its reading in air-saturated water. Exit code 4: it is off.

    Parameters
    ----------
    reading
        In clean water bubbled with air for half an hour, with unit.
    zero
        In water with fresh sulphite, with unit.
    """
    from aerobe.usecases.oxygen import SULPHITE_CAUTION, check_probe

    check = check_probe(
        OXYGEN.read(reading),
        water.warm(),
        altitude_m=LENGTH.read(water.altitude),
        zero_mg_per_l=OXYGEN.read(zero) if zero else None,
    )
    lines = [f"Saturation is {check.expected_mg_per_l:.2f} mg/L: {'sound' if check.sound else 'off'}.", *check.findings]
    say({**_plain(check), "caution": SULPHITE_CAUTION}, as_json=json, text=[*lines, f"! {SULPHITE_CAUTION}"])
    return 0 if check.sound else NOT_SETTLED


def sulphite(volume: str, oxygen: str, /, *, json: JSON_ONLY = False) -> None:
    """Sodium sulphite for a clean-water test, with its cautions.

    Parameters
    ----------
    volume
        Water, with unit.
    oxygen
        Present oxygen, with unit.
    """
    from aerobe.usecases.oxygen import sulphite_dose

    dose = sulphite_dose(VOLUME.read(volume), OXYGEN.read(oxygen))
    said = f"{number(dose.usual_g)} g sodium sulphite (exact {number(dose.exact_g)} g)."
    say(dose, as_json=json, text=[said, *(f"! {line}" for line in dose.cautions)])


def kla(
    file: str,
    /,
    *,
    time_unit: str = "",
    oxygen_unit: str = "",
    water: Water = WATER,
    probe_t90: str = "0 s",
    step: str = "",
    vessel: str = "",
    keep: bool = False,
    where: Where = OWN,
) -> int:
    """Transfer from a re-aeration run. Exit code 4: the run gives no number.

    Parameters
    ----------
    file
        Two columns, time and oxygen; "-" reads from the keyboard or a pipe.
    time_unit
        Of the first column, where the head of the file names none: s, min or h.
    oxygen_unit
        Of the second column, where the head of the file names none: mg/L or "% saturation".
    probe_t90
        Time in which the probe shows 90 % of a step.
    step
        What the logger was set to, to catch a wrong clock.
    vessel
        Key of the vessel in the notebook, for SOTR and SOTE.
    keep
        Write the result into that vessel.
    """
    from aerobe.usecases.oxygen import keep_kla, measure_kla, read_run

    warm, high = water.read()
    log = read_run(_text(file), time_unit=time_unit, oxygen_unit=oxygen_unit, temperature_degc=warm, altitude_m=high)
    held = _vessel(where, vessel) if vessel else None
    report = measure_kla(
        log,
        temperature_degc=warm,
        altitude_m=high,
        probe_t90_s=3600.0 * ELAPSED.read(probe_t90),
        nominal_step_s=3600.0 * ELAPSED.read(step) if step else None,
        vessel=held,
    )
    lines = [report.says, *(f"{fault.name}: {fault.problem} {fault.remedy}" for fault in report.estimate.faults)]
    if report.standard is not None:
        lines.append(
            f"SOTR {number(report.standard.sotr_g_per_h)} g O2/h"
            + (f", SOTE {100 * report.standard.sote:.1f} %." if report.standard.sote is not None else ".")
        )
    if keep and held is not None:
        with where.open(create=False) as book:
            keep_kla(book, held.key, report.estimate, now=now())
        lines.append(f"Kept with vessel '{held.key}'.")
    say({"estimate": report.estimate, "standard": report.standard, "says": report.says}, as_json=where.json, text=lines)
    return 0 if report.estimate.usable else NOT_SETTLED


def steps(
    file: str,
    /,
    *,
    off: str,
    on: str,
    time_unit: str = "",
    oxygen_unit: str = "",
    water: Water = WATER,
    probe_t90: str = "0 s",
    json: JSON_ONLY = False,
) -> None:
    """Transfer and uptake of a live brew whose air was turned off and on again.

    Parameters
    ----------
    file
        Two columns, time and oxygen; "-" reads from the keyboard or a pipe.
    off
        When the air went off, on the log's clock, with unit: "3 min".
    on
        When the air came back, on the log's clock, with unit.
    time_unit
        Of the first column, where the head of the file names none: s, min or h.
    oxygen_unit
        Of the second column, where the head of the file names none: mg/L or "% saturation".
    probe_t90
        Time in which the probe shows 90 % of a step.
    """
    from aerobe.usecases.oxygen import measure_steps, read_run

    warm, high = water.read()
    log = read_run(_text(file), time_unit=time_unit, oxygen_unit=oxygen_unit, temperature_degc=warm, altitude_m=high)
    found = measure_steps(
        log,
        off_at_h=ELAPSED.read(off),
        on_at_h=ELAPSED.read(on),
        temperature_degc=warm,
        altitude_m=high,
        probe_t90_s=3600.0 * ELAPSED.read(probe_t90),
    )
    say(
        found,
        as_json=json,
        text=[
            f"kLa {number(found.kla_per_h)} per hour ({number(found.kla_low_per_h)} to {number(found.kla_high_per_h)}).",
            f"Uptake {number(found.uptake_mg_per_l_h)} mg/L an hour ({number(found.uptake_low_mg_per_l_h)} to "
            f"{number(found.uptake_high_mg_per_l_h)}).",
            *(f"{fault.name}: {fault.problem} {fault.remedy}" for fault in found.faults),
        ],
    )


def _plain(record: object) -> dict[str, object]:
    from aerobe.records import as_plain

    plain: dict[str, object] = as_plain(record)
    return plain


def _text(file: str) -> str:
    if file == "-":
        return sys.stdin.read()
    try:
        return Path(file).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        raise ImportFault(f"'{file}' cannot be read: {fault}.", "Check the path; the file must be text, such as CSV.") from fault


def _vessel(where: Where, key: str) -> Vessel:
    from aerobe.records import Vessel

    with where.open(create=False) as book:
        return book.get(Vessel, key)
