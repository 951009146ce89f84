"""Points of probes into the notebook, and what a live probe's log says about the probe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from aerobe.errors import AerobeError, NotFound, UnusableReading
from aerobe.notebook import Notebook, Receipt
from aerobe.oxygen import ProbeTrouble, oxygen_from_percent, probe_troubles
from aerobe.records import Brew, SensorLog, Vessel
from aerobe.units import CONDUCTIVITY, OXYGEN, OXYGEN_PERCENT, PH, SALINITY, TEMPERATURE, Kind
from aerobe.usecases.brews._held import cached, held_by
from aerobe.usecases.brews._under_way import brews_under_way
from aerobe.usecases.notebook._moments import AHEAD

KINDS_OF_CHANNELS: dict[str, Kind] = {
    "oxygen": OXYGEN,
    "temperature": TEMPERATURE,
    "pH": PH,
    "conductivity": CONDUCTIVITY,
    "salinity": SALINITY,
}
LOOK_BACK_H = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One value of a probe as it was sent. `at` None means: now."""

    value: float
    at: datetime | None = None


def take_points(
    notebook: Notebook,
    *,
    place: str,
    channel: str,
    unit: str,
    points: Sequence[Point],
    now: datetime,
    probe: str = "",
    token: str = "",
) -> Receipt:
    """Keep values that a probe sent.

    Parameters
    ----------
    place
        Key of a brew, or of a vessel: then the brew under way in it is meant, so that a probe need not be told of each new brew.
    channel
        oxygen, temperature, pH, conductivity or salinity.
    unit
        Unit of all values; oxygen may come as % saturation and is then turned into mg/L with the brew's temperature.
    points
        Values with their clock times.
    probe, token
        Name of the probe; a name of this batch, so that sending it twice does no harm.

    Raises
    ------
    NotFound
        If no brew is meant.
    UnusableReading, NotAQuantity
        If channel, unit or times cannot be used.
    """
    if channel not in KINDS_OF_CHANNELS:
        raise UnusableReading(f"'{channel}' is no channel.", f"Use one of: {', '.join(KINDS_OF_CHANNELS)}.")
    if not points:
        raise UnusableReading("No value was sent.", "Send at least one number.")
    brew = brew_at(notebook, place, now=now)
    ordered = sorted(((point.at or now, point.value) for point in points), key=lambda pair: pair[0])
    if ordered[-1][0] > now + AHEAD:
        raise UnusableReading("The sender's clock is ahead of this machine's.", "Set its clock, or leave the times out.")
    convert = _converter(notebook, brew, channel, unit)
    log = SensorLog(
        brew=brew.key,
        channel=channel,
        probe=probe,
        elapsed_h=tuple(brew.hours_at(at) for at, _ in ordered),
        values=tuple(convert(value) for _, value in ordered),
    )
    return notebook.append_log(log, at=now, who=probe or "a probe", token=token)


def brew_at(notebook: Notebook, place: str, *, now: datetime) -> Brew:
    """The brew with this key, or the one under way in the vessel with this key.

    Raises
    ------
    NotFound
        If there is neither.
    """
    standing = [brew for brew in brews_under_way(notebook, now=now) if brew.vessel == place]
    if standing:
        return standing[0]
    try:
        return notebook.get(Brew, place)
    except NotFound:
        raise NotFound(
            f"No brew '{place}', and none under way in a vessel '{place}'.",
            "Send to the key of a brew, or start a brew in this vessel first.",
        ) from None


def live_troubles(notebook: Notebook, brew: Brew, *, now: datetime) -> tuple[ProbeTrouble, ...]:
    """What is wrong with the probes of a brew under way: silent, stuck, jumping."""
    now_h = brew.hours_at(now)
    version = held_by(notebook).version(brew.key), int(now.timestamp() // 60)
    return cached(notebook, ("troubles", brew.key), version, lambda: _troubles(notebook, brew, now_h))


def _troubles(notebook: Notebook, brew: Brew, now_h: float) -> tuple[ProbeTrouble, ...]:
    found: list[ProbeTrouble] = []
    for _, channel, probe, points in notebook.logged(brew.key):
        if points < 3:
            continue
        times, values = notebook.log(brew.key, channel, probe=probe, from_h=now_h - LOOK_BACK_H)
        if len(times) < 3:
            times, values = notebook.log(brew.key, channel, probe=probe)
        found += probe_troubles(channel, times, values, now_h=now_h)
    return tuple(found)


def _converter(notebook: Notebook, brew: Brew, channel: str, unit: str):  # type: ignore[no-untyped-def]
    kind = KINDS_OF_CHANNELS[channel]
    if channel == "oxygen" and _reads(OXYGEN_PERCENT, unit):
        altitude_m = notebook.get(Vessel, brew.vessel).altitude_m
        return lambda value: oxygen_from_percent(
            OXYGEN_PERCENT.convert(value, unit), brew.temperature_degc, altitude_m=altitude_m
        )
    return lambda value: kind.convert(value, unit or kind.house)


def _reads(kind: Kind, unit: str) -> bool:
    try:
        kind.convert(1.0, unit)
    except AerobeError:
        return False
    return True


def evidence_count(notebook: Notebook, brew: str) -> tuple[int, int]:
    """What a call rests on: entries of a person (readings, smells, events), and log points. Kept advice is not among it."""

    def entries() -> int:
        noted = len(notebook.kept("smell", brew)) + len(notebook.kept("event", brew))
        return len(notebook.readings(brew, with_corrected=True)) + noted

    def points() -> int:
        return sum(points for *_, points in notebook.logged(brew))

    held = held_by(notebook)
    return (
        cached(notebook, ("entries", brew), held.noted(brew), entries),
        cached(notebook, ("points", brew), held.version(brew), points),
    )
