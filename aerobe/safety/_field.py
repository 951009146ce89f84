"""Gear and weather: mesh and nozzle, wind, drops, warmth, sun."""

from __future__ import annotations

import math

from aerobe.errors import UnusableRecord
from aerobe.safety._amounts import positive
from aerobe.safety._findings import FAILS, NOT_SHOWN, SHOWN, Finding
from aerobe.safety._thresholds import DECIDE, tables, threshold


def mesh_opening_mm(number: int) -> float:
    """Opening of a sieve by its number. [mm]

    Raises
    ------
    UnusableRecord
        If no opening is on file for this number.

    Source
    ------
    astm-e11
    """
    openings = tables("use")["sieves"]["opening_mm"]
    try:
        return float(openings[str(number)])
    except KeyError:
        raise UnusableRecord(
            f"No opening is on file for mesh {number}.", f"Use one of {', '.join(openings)}, or give the opening."
        ) from None


def judge_mesh(*, mesh_mm: float, nozzle_mm: float) -> Finding:
    """Whether a strainer lets the tea's life through and keeps the nozzle clear.

    Parameters
    ----------
    mesh_mm
        Opening of the mesh. [mm]
    nozzle_mm
        Smallest opening of the nozzle or dripper. [mm]

    Returns
    -------
    Finding
        `fails` with a mesh finer than hyphae need, or coarser than the nozzle bears.

    Source
    ------
    tea-common-practice
    """
    positive(mesh_mm, "mesh opening", "mm")
    positive(nozzle_mm, "nozzle opening", "mm")
    fine, coarse = threshold("mesh-opening-least"), threshold("mesh-to-nozzle-most")
    if mesh_mm < fine.value:
        why, step = (
            f"{mesh_mm:g} mm is under {fine.value:g} mm. {fine.says}",
            "Use a coarser mesh and a wider nozzle, or a watering can.",
        )
    elif mesh_mm > coarse.value * nozzle_mm:
        why, step = f"{mesh_mm:g} mm for a nozzle of {nozzle_mm:g} mm. {coarse.says}", "Use a wider nozzle or a finer mesh."
    else:
        return Finding(
            name="mesh",
            state=SHOWN,
            why=f"{mesh_mm:g} mm suits a nozzle of {nozzle_mm:g} mm.",
            next_step="Rinse it after use.",
            sources=(fine.source,),
        )
    return Finding(name="mesh", state=FAILS, why=why, next_step=step, sources=(fine.source,))


def judge_weather(
    *,
    sprayed: bool,
    wind_m_per_s: float | None,
    temperature_degc: float | None,
    uv_index: float | None,
    drop_um: float | None = None,
) -> tuple[Finding, ...]:
    """What wind, warmth, sun and drop size say about a use now.

    Parameters
    ----------
    sprayed
        Whether drops go into the air.
    wind_m_per_s
        Wind where it is used; None when not known. [m/s]
    temperature_degc
        Air temperature; None when not known. [degC]
    uv_index
        UV index; None when not known. [-]
    drop_um
        Median drop size of the nozzle; None when not known. [um]

    Returns
    -------
    tuple of Finding
        Warmth and sun; with a spray also wind and drops.

    Source
    ------
    spray-labels, tea-common-practice
    """
    warm, sun = threshold("use-warmth-most"), threshold("sun-most")
    found = [
        _under("warmth", temperature_degc, warm.value, warm.says, "Wait for a cooler hour.", warm.source),
        _under("sun", uv_index, sun.value, sun.says, "Use it at dusk or under cloud.", sun.source),
    ]
    if sprayed:
        most, least, drop = threshold("spray-wind-most"), threshold("spray-wind-least"), threshold("drop-size-least")
        wind = _under("wind", wind_m_per_s, most.value, most.says, "Wait, or pour it." + DECIDE, most.source)
        if wind.state == SHOWN and wind_m_per_s is not None and wind_m_per_s < least.value:
            wind = Finding(
                name="wind",
                state=NOT_SHOWN,
                why=least.says,
                next_step="Wait for a light steady wind, or pour it.",
                sources=(least.source,),
            )
        found.append(wind)
        # The limit for drops is a least value: turn the sign to ask the same question.
        found.append(
            _under(
                "drops",
                None if drop_um is None else -drop_um,
                -drop.value,
                drop.says,
                "Take a coarser nozzle, less pressure.",
                drop.source,
            )
        )
    return tuple(found)


def _under(name: str, value: float | None, limit: float, says: str, step: str, source: str) -> Finding:
    if value is None or math.isnan(value):
        return Finding(name=name, state=NOT_SHOWN, why=f"Not noted. {says}", next_step="Note it.", sources=(source,))
    keeps = value <= limit
    return Finding(
        name=name,
        state=SHOWN if keeps else FAILS,
        why=f"{abs(value):g}. {says}",
        next_step="" if keeps else step,
        sources=(source,),
    )
