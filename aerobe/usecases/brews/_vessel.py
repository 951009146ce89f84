"""A vessel from what a person typed, for every form that has one."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from aerobe.errors import AerobeError, NotAQuantity, UnusableRecord
from aerobe.notebook import Notebook, Pen
from aerobe.oxygen import UNKNOWN_DIFFUSER, depth_as_wide_m, with_flow_guessed
from aerobe.records import DIFFUSERS, AirSupply, Vessel
from aerobe.units import AIR_FLOW, FRACTION, LENGTH, POWER, RATE, VOLUME
from aerobe.usecases.brews._form import Answers
from aerobe.usecases.brews._typed import NEW, BrewStart
from aerobe.usecases.notebook._records import new_key

ANY_LITRES = 20.0  # to read on with where the volume itself cannot be read [L]


def read_vessel(
    *,
    volume: str,
    depth: str,
    flow: str,
    diffuser: str,
    altitude: str = "0 m",
    kla: str = "",
    kla_error: str = "",
    key: str = "vessel",
    name: str = "this vessel",
) -> Vessel:
    """A vessel from typed quantities; the fault of a field says which.

    Parameters
    ----------
    kla
        Measured transfer at 20 degC, such as "20 /h"; empty if not measured.
    kla_error
        Its standard error, such as "5 %"; empty if not known.

    Raises
    ------
    NotAQuantity
        If a field cannot be read.
    UnusableRecord
        If a value is impossible.
    """
    rate = named("Measured transfer", lambda: RATE.read(kla)) if kla.strip() else None
    return Vessel(
        key=key,
        name=name,
        volume_l=named("Water in the vessel", lambda: VOLUME.read(volume)),
        depth_m=named("Depth of the water", lambda: LENGTH.read(depth)),
        air=AirSupply(
            flow_l_per_min=named("Air flow", lambda: AIR_FLOW.read(flow)),
            diffuser=diffuser,
            kla_per_h=rate,
            kla_log_sd=named("Standard error of the transfer", lambda: _log_sd(kla_error))
            if rate and kla_error.strip()
            else None,
        ),
        altitude_m=named("Altitude", lambda: LENGTH.read(altitude)),
    )


def kla_as_typed(air: AirSupply) -> tuple[str, str]:
    """Transfer and its standard error as `read_vessel` takes them; empty where not measured, or not known."""
    error = f"{100.0 * math.expm1(air.kla_log_sd):.4g} %" if air.kla_log_sd is not None else ""
    return (f"{air.kla_per_h:.4g} /h", error) if air.kla_per_h is not None else ("", "")


def _log_sd(text: str) -> float:
    share = FRACTION.read(text)
    if not 0.0 < share <= 10.0:
        raise NotAQuantity(f"A standard error of '{text}' is none.", "Write it as a share of the transfer, such as 5 %.")
    return math.log1p(share)


def named(what: str, read: Callable[[], float]) -> float:
    """A fault that says which field of the form it is about."""
    try:
        return read()
    except AerobeError as fault:
        raise type(fault)(f"{what}: {fault.problem}", fault.remedy) from None


def vessel_of_answers(notebook: Notebook, form: BrewStart, answers: Answers) -> Vessel:
    """The vessel chosen, or a new one with guesses for what nobody gave. Faults go to `answers`."""
    bare = Vessel(key="vessel", name="", volume_l=ANY_LITRES, depth_m=0.3, air=AirSupply(flow_l_per_min=1.0))
    if form.vessel != NEW:
        return answers.read("vessel", "Vessel", lambda: notebook.get(Vessel, form.vessel), instead=bare)
    guessed: list[str] = []
    litres = answers.read("volume", "Water in the vessel", lambda: _litres(form.volume), instead=ANY_LITRES)
    depth = answers.read("depth", "Depth of the water", lambda: _depth(form.depth, litres, guessed), instead=0.3)
    altitude = answers.read("altitude", "Altitude", lambda: LENGTH.read(form.altitude or "0 m"), instead=0.0)
    air = AirSupply(flow_l_per_min=1.0, diffuser=_diffuser(form.diffuser, answers, guessed))
    draft = replace(bare, name=form.vessel_name.strip() or f"Vessel of {litres:.4g} L", air=air)
    # One after another, so that each fault stands at its own field.
    sized = answers.read("volume", "Water in the vessel", lambda: replace(draft, volume_l=litres), instead=draft)
    deep = answers.read("depth", "Depth", lambda: replace(sized, depth_m=depth, guessed=tuple(guessed)), instead=sized)
    high = answers.read("altitude", "Altitude", lambda: replace(deep, altitude_m=altitude), instead=deep)
    return answers.read("flow", "Air", lambda: with_flow(high, form.flow, form.flow_is), instead=high)


def write_vessel(notebook: Notebook, pen: Pen, form: BrewStart, vessel: Vessel, *, now: datetime, who: str) -> str:
    """Write a new vessel in; gives its key, or that of the one chosen."""
    if form.vessel != NEW:
        return vessel.key
    made = replace(vessel, key=new_key(notebook, Vessel, vessel.name))
    return pen.add(made, at=now, who=who, token=form.token_of("vessel")).key


def with_flow(vessel: Vessel, flow: str, flow_is: str) -> Vessel:
    """The vessel with the air that was typed: measured, from the pump's label or watts, or a guess where nothing was.

    Raises
    ------
    NotAQuantity, UnusableRecord
        If it cannot be used.
    """
    text = flow.strip()
    if not text or flow_is == "unknown":
        return with_flow_guessed(vessel)
    if text.lower().endswith(("w", "watt")):
        watts = POWER.read(text)
        if watts <= 0.0:
            raise UnusableRecord("A pump of no watts moves no air.", "Give the watts of the label, or leave the air empty.")
        return with_flow_guessed(vessel, power_w=watts)
    typed = AIR_FLOW.read(text)
    if flow_is == "label" and typed > 0.0:
        return with_flow_guessed(vessel, label_l_per_min=typed)
    kept = tuple(name for name in vessel.guessed if not name.startswith("flow"))
    return replace(vessel, air=replace(vessel.air, flow_l_per_min=typed), guessed=kept)


def _litres(text: str) -> float:
    if not text.strip():
        raise UnusableRecord("It is not said how big it is.", "Give the water as filled, for example 20 L or 5 US gal.")
    return VOLUME.read(text)


def _depth(text: str, litres: float, guessed: list[str]) -> float:
    if text.strip():
        return LENGTH.read(text)
    guessed.append("depth")
    return depth_as_wide_m(litres)


def _diffuser(text: str, answers: Answers, guessed: list[str]) -> str:
    if not text or text == "not known":
        guessed.append("diffuser")
        return UNKNOWN_DIFFUSER
    if text not in DIFFUSERS:
        wrong = UnusableRecord(f"'{text}' is no way in which air comes out.", f"Use one of: {', '.join(DIFFUSERS)}.")
        answers.faults.append(("diffuser", wrong))
        return UNKNOWN_DIFFUSER
    return text
