"""From a value to its place on an axis, and where an axis has its ticks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, timedelta

from aerobe.charts._plot import Axis

CLOCK_STEPS_H = (0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0, 168.0, 336.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """One tick: where it stands, what it says, and whether it needs a wide chart."""

    at: float
    says: str
    is_wide: bool = False
    is_strong: bool = False


def share(axis: Axis, value: float) -> float:
    """Where a value lies between the ends of an axis that knows them: 0 at the start, 1 at the end; may lie outside."""
    low, high = ends(axis)
    if axis.kind == "log":
        if value <= 0.0:
            return 1.0 if axis.is_reversed else 0.0
        low, high, value = math.log(low), math.log(high), math.log(value)
    part = (value - low) / (high - low)
    return 1.0 - part if axis.is_reversed else part


def ends(axis: Axis) -> tuple[float, float]:
    """Both ends of an axis that knows them."""
    if axis.low is None or axis.high is None:
        raise ValueError("the ends of this axis are not known yet: draw `plot.with_ends()`")
    return axis.low, axis.high


def ticks(axis: Axis, *, few: int, many: int) -> list[Tick]:
    """Ticks of an axis: about `few` where it is narrow, up to `many` where there is room."""
    if axis.kind == "names":
        return [Tick(at=float(place), says=name) for place, name in enumerate(axis.names)]
    low, high = ends(axis)
    largest = max(abs(low), abs(high))
    if axis.ticks:
        return [Tick(at=at, says=axis_number(at, largest)) for at in axis.ticks if low <= at <= high]
    if axis.kind == "log":
        return _log_ticks(low, high, few)
    step, fine = _steps(high - low, few, many)
    return [
        Tick(at=at, says=f"{round(100 * at, 6):g} %" if axis.is_share else axis_number(at, largest), is_wide=not is_coarse)
        for at, is_coarse in _places(low, high, step, fine)
    ]


def clock_ticks(axis: Axis, *, few: int, many: int) -> tuple[list[Tick], list[Tick]]:
    """Ticks of an axis of hours whose beginning is known: round clock times, and round hours since then.

    Midnight shows the day. Clock times are those of the zone of `begin`, also past a change of the clocks.
    """
    begin = axis.begin
    if begin is None:
        raise ValueError("this axis has no clock")
    low, high = ends(axis)
    step = next((item for item in CLOCK_STEPS_H if (high - low) / item <= few), CLOCK_STEPS_H[-1])
    fine = next((item for item in CLOCK_STEPS_H if (high - low) / item <= many and (step / item) % 1 == 0), step)
    first = begin + timedelta(hours=low)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    clock: list[Tick] = []
    for number in range(int((high - low + 24.0 + max(24.0, fine)) / fine) + 2):
        moment = midnight + timedelta(hours=number * fine)
        at = (moment.astimezone(UTC) - begin.astimezone(UTC)) / timedelta(hours=1)
        # In the night that the clocks go forward an hour is missing: no clock ever shows it.
        is_shown = moment.astimezone(UTC).astimezone(moment.tzinfo).hour == moment.hour
        if low <= at <= high and is_shown:
            is_day = moment.hour == 0 and moment.minute == 0
            says = f"{moment:%a} {moment.day}" if is_day else f"{moment:%H:%M}"
            clock.append(Tick(at=at, says=says, is_wide=bool(round(number * fine / step, 6) % 1), is_strong=is_day))
    hours = [
        Tick(at=at, says=f"{at:g} h", is_wide=not is_coarse) for at, is_coarse in _places(low, high, step, max(fine, step / 2.0))
    ]
    return clock, hours


def axis_number(value: float, largest: float) -> str:
    """How an axis writes a number: long ones short, so that no font makes them run out of the picture."""
    value = float(f"{value:.6g}")
    if largest < 1e5:
        return f"{value:g}"
    if largest >= 1e9:
        return f"{value:.3g}"
    for size, letter in ((1e6, "M"), (1e3, "k")):
        if abs(value) >= size:
            return f"{value / size:g}{letter}"
    return f"{value:g}"


def _steps(reach: float, few: int, many: int) -> tuple[float, float]:
    """A coarse round step with at most `few` ticks, and a finer one that divides it."""
    size = 10.0 ** math.floor(math.log10(reach / few))
    step = next(item * size for item in (1.0, 2.0, 5.0, 10.0) if reach / (item * size) <= few)
    lead = round(step / 10.0 ** math.floor(math.log10(step) + 1e-9))
    fine = step / (5.0 if lead == 5 else 2.0)
    return step, fine if reach / fine <= many else step


def _places(low: float, high: float, step: float, fine: float) -> list[tuple[float, bool]]:
    """Multiples of the fine step between the ends, and whether each is one of the coarse."""
    slack = 1e-9 * (high - low)
    numbers = range(math.ceil((low - slack) / fine), math.floor((high + slack) / fine) + 1)
    return [(number * fine, abs(number * fine / step - round(number * fine / step)) < 1e-6) for number in numbers]


def _log_ticks(low: float, high: float, few: int) -> list[Tick]:
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for leads in ((1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0), (1.0, 2.0, 5.0), (1.0, 3.0), (1.0,)):
        found = [lead * 10.0**power for power in decades for lead in leads]
        found = [at for at in found if low * (1 - 1e-9) <= at <= high * (1 + 1e-9)]
        if len(found) <= few:
            break
    else:
        stride = -(-len(found) // few)
        found = [at for at in found if round(math.log10(at)) % stride == 0]
    if len(found) < 2:  # within less than a step of the usual: round numbers will do
        step, _ = _steps(high - low, few, few)
        found = [at for at, _ in _places(low, high, step, step) if at > 0.0]
    return [Tick(at=at, says=axis_number(at, high)) for at in found]
