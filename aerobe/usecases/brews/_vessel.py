"""A vessel from what a person typed, for every form that has one."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from aerobe.errors import NotAQuantity, UnusableRecord
from aerobe.notebook import Notebook, Pen
from aerobe.oxygen import UNKNOWN_DIFFUSER, depth_as_wide_m, with_flow_guessed
from aerobe.records import DIFFUSERS, AirSupply, Vessel
from aerobe.units import AIR_FLOW, FRACTION, LENGTH, POWER, RATE, VOLUME
from aerobe.usecases.brews._form import Answers
from aerobe.usecases.brews._typed import NEW, BrewStart, VesselTyped
from aerobe.usecases.notebook._records import new_key

ANY_LITRES = 20.0  # to read on with where the volume itself cannot be read [L]


def read_vessel(typed: VesselTyped) -> Vessel:
    """A vessel from typed quantities, with guesses for what is left empty, except the volume.

    Raises
    ------
    UnusableForm
        If fields cannot be used: all of them at once.
    """
    answers = Answers()
    vessel = vessel_of(typed, answers)
    answers.settle()
    return vessel


def vessel_of(typed: VesselTyped, answers: Answers) -> Vessel:
    """The same, where the faults of a whole form are collected: each goes to `answers` under the name of its field."""
    vessel = Vessel(key="vessel", name="", volume_l=ANY_LITRES, depth_m=0.3, air=AirSupply(flow_l_per_min=1.0))

    def take(field: str, what: str, how: Callable[[Vessel], Vessel]) -> None:
        # One after another, so that each fault stands at its own field.
        nonlocal vessel
        vessel = answers.read(field, what, lambda: how(vessel), instead=vessel)

    def depth(so_far: Vessel) -> Vessel:
        return with_depth(so_far, typed.depth) if typed.depth.strip() else _as_wide(so_far)

    take("volume", "Water in the vessel", lambda so_far: with_volume(so_far, typed.volume))
    take("depth", "Depth of the water", depth)
    take("diffuser", "Diffuser", lambda so_far: with_diffuser(so_far, typed.diffuser))
    take("altitude", "Altitude", lambda so_far: with_altitude(so_far, typed.altitude or "0 m"))
    take("flow", "Air", lambda so_far: with_flow(so_far, typed.flow, typed.flow_is))
    take("kla", "Measured transfer", lambda so_far: with_kla(so_far, typed.kla))
    if vessel.air.kla_per_h is not None and typed.kla_error.strip():
        take("kla_error", "Standard error of the transfer", lambda so_far: with_kla(so_far, typed.kla, typed.kla_error))
    return replace(vessel, name=typed.name.strip() or f"Vessel of {vessel.volume_l:.4g} L")


def kla_as_typed(air: AirSupply) -> tuple[str, str]:
    """Transfer and its standard error as `read_vessel` takes them; empty where not measured, or not known."""
    error = f"{100.0 * math.expm1(air.kla_log_sd):.4g} %" if air.kla_log_sd is not None else ""
    return (f"{air.kla_per_h:.4g} /h", error) if air.kla_per_h is not None else ("", "")


def _log_sd(text: str) -> float:
    share = FRACTION.read(text)
    if not 0.0 < share <= 10.0:
        raise NotAQuantity(f"A standard error of '{text}' is none.", "Write it as a share of the transfer, such as 5 %.")
    return math.log1p(share)


def vessel_of_answers(notebook: Notebook, form: BrewStart, answers: Answers) -> Vessel:
    """The vessel chosen, or a new one with guesses for what nobody gave. Faults go to `answers`."""
    if form.vessel == NEW:
        return vessel_of(form.vessel_typed(), answers)
    bare = Vessel(key="vessel", name="", volume_l=ANY_LITRES, depth_m=0.3, air=AirSupply(flow_l_per_min=1.0))
    return answers.read("vessel", "Vessel", lambda: notebook.get(Vessel, form.vessel), instead=bare)


def write_vessel(notebook: Notebook, pen: Pen, form: BrewStart, vessel: Vessel, *, now: datetime, who: str) -> str:
    """Write a new vessel in; gives its key, or that of the one chosen."""
    if form.vessel != NEW:
        return vessel.key
    made = replace(vessel, key=new_key(notebook, Vessel, vessel.name))
    return pen.add(made, at=now, who=who, token=form.token_of("vessel")).key


def with_volume(vessel: Vessel, text: str) -> Vessel:
    """The vessel with as much water as was typed."""
    if not text.strip():
        raise UnusableRecord("It is not said how big it is.", "Give the water as filled, for example 20 L or 5 US gal.")
    return replace(vessel, volume_l=VOLUME.read(text))


def with_depth(vessel: Vessel, text: str) -> Vessel:
    """The vessel with its air outlet as deep as was typed: no guess any more."""
    return replace(vessel, depth_m=LENGTH.read(needed(text, "30 cm")), guessed=without(vessel.guessed, "depth"))


def with_altitude(vessel: Vessel, text: str) -> Vessel:
    """The vessel as high above the sea as was typed."""
    return replace(vessel, altitude_m=LENGTH.read(needed(text, "300 m")))


def with_diffuser(vessel: Vessel, text: str) -> Vessel:
    """The vessel with its air coming out as was said; a guess where that is not known."""
    rest = without(vessel.guessed, "diffuser")
    if not text or text == "not known":
        return replace(vessel, air=replace(vessel.air, diffuser=UNKNOWN_DIFFUSER), guessed=(*rest, "diffuser"))
    if text not in DIFFUSERS:
        raise UnusableRecord(f"'{text}' is no way in which air comes out.", f"Use one of: {', '.join(DIFFUSERS)}.")
    return replace(vessel, air=replace(vessel.air, diffuser=text), guessed=rest)


def with_kla(vessel: Vessel, text: str, error: str = "") -> Vessel:
    """The vessel with its measured transfer at 20 degC, such as "20 /h", and its error, such as "5 %"; empty: not known."""
    rate = RATE.read(text) if text.strip() else None
    spread = _log_sd(error) if text.strip() and error.strip() else None
    return replace(vessel, air=replace(vessel.air, kla_per_h=rate, kla_log_sd=spread))


def needed(text: str, such_as: str) -> str:
    """A text that may not be empty.

    Raises
    ------
    UnusableRecord
        If it is.
    """
    if not text.strip():
        raise UnusableRecord("It is left empty.", f"Give it with its unit, for example {such_as}.")
    return text


def without(guessed: tuple[str, ...], *known: str) -> tuple[str, ...]:
    """What is still a guess once some of it is known."""
    return tuple(item for item in guessed if item not in known)


def _as_wide(vessel: Vessel) -> Vessel:
    return replace(vessel, depth_m=depth_as_wide_m(vessel.volume_l), guessed=("depth",))


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
