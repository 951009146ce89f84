"""Evidence: readings of instruments and logs of probes, as typed or received."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from aerobe.errors import NotAQuantity, UnusableReading
from aerobe.records._checks import require_aware, require_between, require_key, require_one_of
from aerobe.units import given, parse_number, signs

ROLES = ("sample", "blank", "filtered blank", "killed control", "spike", "standard")
LARGEST_SIGNAL = 1e18  # counts per mL end near 1e12; larger numbers would overflow what is computed from them
CHANNELS = ("oxygen", "temperature", "pH", "conductivity", "salinity")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """A portion taken from a brew at one moment; several readings may be made of it."""

    key: str
    brew: str
    elapsed_h: float  # since aeration began [h]
    taken_by: str = ""
    notes: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "sample")
        require_between(self.elapsed_h, -48.0, 10000.0, "A sampling time", "h", fault=UnusableReading)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One number read off one instrument: evidence, not an estimate. A correction is a new row that names the old one."""

    key: str
    brew: str  # "" for a reading outside any brew (a characterisation study)
    assay: str
    role: str  # one of ROLES
    elapsed_h: float  # since aeration began [h]
    signal: float  # in the assay's unit
    unit: str  # the assay's unit, kept beside the number
    typed_as: str  # what the person entered, for the audit trail
    dilution: float = 1.0  # final volume over sample volume [-]
    replicate: int = 1
    sample: str = ""  # key of the sample, if one is recorded
    below_detection: bool = False  # the signal is the limit, the value lies below it
    above_range: bool = False  # the signal is the limit, the value lies above it
    replaces: str = ""  # key of the reading that this one corrects
    operator: str = ""
    kit_lot: str = ""
    entered_at: datetime | None = None
    notes: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "reading")
        require_one_of(self.role, ROLES, "role")
        if not abs(self.signal) <= LARGEST_SIGNAL:  # also false for nan
            raise UnusableReading(
                f"A signal of {self.signal:g} is not a number that a test shows.", "Enter the number shown by the test."
            )
        if not 1.0 <= self.dilution <= 1e12:
            raise UnusableReading(
                f"A dilution of {self.dilution:g} would concentrate the sample.",
                "Enter final volume over sample volume: 1 mL made up to 10 mL is 10.",
            )
        if self.below_detection and self.above_range:
            raise UnusableReading("A reading cannot lie below and above the range.", "Mark one of the two.")
        require_between(self.elapsed_h, -48.0, 10000.0, "A reading time", "h", fault=UnusableReading)
        if self.entered_at is not None:
            require_aware(self.entered_at, "The time of entry")


def result_as_typed(reading: Reading) -> str:
    """The result without its unit, with the digits and the decimal mark that were typed: `42,50`, `below 5`."""
    bare = (
        reading.typed_as.strip().lstrip("<>\u2264\u2265= ").removesuffix(reading.unit).removesuffix(signs(reading.unit)).strip()
    )
    try:
        text = bare if parse_number(bare, decimal="") == reading.signal else given(reading.signal)
    except NotAQuantity:
        text = given(reading.signal)
    return f"{'below ' if reading.below_detection else 'above ' if reading.above_range else ''}{text}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorLog:
    """A run of one probe in one brew. Times need not be even; they must not decrease."""

    brew: str
    channel: str  # one of CHANNELS
    elapsed_h: tuple[float, ...]  # [h]
    values: tuple[float, ...]  # mg/L, degC, pH or uS/cm
    probe: str = ""

    def __post_init__(self) -> None:
        require_one_of(self.channel, CHANNELS, "channel")
        if len(self.elapsed_h) != len(self.values):
            raise UnusableReading("A log has unequal numbers of times and values.", "Give one value for each time.")
