"""Counting tools from what a person typed: tubes, plates, fields, hyphae, carbon of cells, ratios, and the basis of a result."""

from __future__ import annotations

import re
from collections.abc import Sequence

from aerobe import assay as room
from aerobe.errors import NotEnoughData, UnusableReading
from aerobe.units import parse_number

MOST_NUMBERS = 1000  # pairs of pairs are compared, so a longer list would take minutes
LARGEST = 1e18  # of a number that a person counts or reads off


def _parts(text: str) -> list[str]:
    parts = text.replace(";", " ").replace("\n", " ").replace(", ", " ").split()
    return parts[0].split(",") if len(parts) == 1 and parts[0].count(",") > 1 else parts


def numbers_typed(text: str, what: str) -> list[float]:
    """Numbers separated by spaces, semicolons or lines; commas separate too when no number has a decimal comma.

    Raises
    ------
    UnusableReading
        If there are none, too many, or one that no test gives.
    """
    parts = _parts(text)
    if not parts:
        raise UnusableReading(f"No {what} given.", "Type the numbers with spaces between them.")
    if len(parts) > MOST_NUMBERS:
        raise UnusableReading(f"{len(parts)} {what} given.", f"Give at most {MOST_NUMBERS}.")
    found = [parse_number(part) for part in parts]
    if max(map(abs, found)) > LARGEST:
        raise UnusableReading(f"The {what} hold a number that no test gives.", f"Numbers go up to {LARGEST:g}.")
    return found


def mean_of_censored(results: str, *, level: float = 0.9, method: str = "") -> room.CensoredSummary:
    """Mean of typed results of which some are written `<10`; what lies below its limit is never taken as zero or half of it.

    Raises
    ------
    UnusableReading
        If a result is no number, or the method is none.
    NotEnoughData
        If too few results lie above their limits.
    """
    if method and method not in room.METHODS:
        raise UnusableReading(f"'{method}' is no way to take results below limits in.", f"One of: {', '.join(room.METHODS)}.")
    tidy = re.sub(r"<\s+", "<", results)
    if ">" in tidy:
        raise UnusableReading(
            "A result beyond a highest value is no result below a limit.", "Leave it out, or dilute and repeat."
        )
    values = numbers_typed(tidy.replace("<", ""), "results")
    marks = [part.startswith("<") for part in _parts(tidy)]
    return room.censored_summary(values, marks, level=level, method=method)


def count_tubes(amounts: str, tubes: str, positives: str, *, level: float = 0.95) -> room.MostProbableNumber:
    """Most probable number from typed lists."""
    return room.most_probable_number(
        numbers_typed(amounts, "amounts"),
        _whole(tubes, "numbers of tubes"),
        _whole(positives, "numbers of positive tubes"),
        level=level,
    )


def count_plates(text: str, *, lowest: int = 10, highest: int = 300) -> tuple[room.PlateCount, room.PlateCount | None]:
    """Weighted mean of typed plates (`0.01:120 0.01:>300`), and the likelihood that also uses crowded plates if there are any.

    Raises
    ------
    UnusableReading
        If no plate is given, or one cannot be read.
    """
    plates = [_plate(part) for part in text.replace(";", " ").split()]
    if not plates:
        raise UnusableReading(
            "No plates given.", "Type mL of sample and colonies of each: 0.01:120 0.001:14; too many as 0.01:>300."
        )
    crowded = room.crowded_plates(plates) if any(plate.too_many for plate in plates) else None
    try:
        return room.weighted_mean(plates, lowest=lowest, highest=highest), crowded
    except NotEnoughData:
        if crowded is None:
            raise
        return crowded, crowded


def count_fields(counts: str, *, volume_ml: float, dilution: float = 1.0) -> room.Density:
    """Objects per mL from typed counts of fields, each of which shows `volume_ml` of the liquid as counted.

    Raises
    ------
    UnusableReading
        If counts, volume or dilution are impossible.
    """
    if volume_ml <= 0 or dilution < 1:
        raise UnusableReading(
            "The volume of a field or the dilution is impossible.",
            "Give mL shown in one field (1 mm2 of a 0.1 mm chamber: 0.0001) and a dilution of at least 1.",
        )
    return room.density_from_fields(numbers_typed(counts, "counts"), dilution / volume_ml)


def carbon_of_cells(cells_per_ml: str, cell_um3: str, group: str) -> room.CarbonEstimate:
    """Carbon of cells by every published factor. [ug C/mL]"""
    return room.carbon_from_volume(parse_number(cells_per_ml), parse_number(cell_um3), group)


def hyphae_of_crossings(
    crossings: str,
    *,
    grid_line_mm: float,
    filter_mm2: float,
    filtered_ml: float,
    width_um: float,
    dilution: float = 1.0,
) -> tuple[room.Density, room.CarbonEstimate]:
    """Hyphal length [m/mL] by crossings of grid lines, and its carbon by every published factor. [ug C/mL]"""
    length = room.hyphal_length_m_per_ml(
        numbers_typed(crossings, "crossings"),
        grid_line_mm=grid_line_mm,
        filter_mm2=filter_mm2,
        filtered_ml=filtered_ml,
        dilution=dilution,
    )
    return length, room.carbon_from_hyphae(length.value, width_um)


def result_on_basis(result: str, *, given: str, wanted: str, density: str, moisture: str = "0") -> room.PropagationAgreement:
    """A result per mL, per gram wet or per gram dry on another basis; each number typed alone or as `value +- uncertainty`."""
    material = room.Material(density_g_per_ml=_uncertain(density), moisture=_uncertain(moisture))
    return room.convert_basis(_uncertain(result), given=given, wanted=wanted, material=material)


def ratio_of_parts(
    fungi: str, bacteria: str, fungi_sd: str, bacteria_sd: str, kind: str
) -> tuple[room.FungalRatio, room.RatioInterval]:
    """A fungal to bacterial ratio with Fieller's interval, its kind kept with it."""
    f, b, sf, sb = (parse_number(item) for item in (fungi, bacteria, fungi_sd, bacteria_sd))
    return room.ratio_from_parts(f, b, sf, sb, kind), room.fieller(f, b, sf, sb, level=0.9)


def _uncertain(text: str) -> room.Uncertain:
    value, _, sd = text.replace("\u00b1", "+-").partition("+-")
    return room.Uncertain(value=parse_number(value), sd=parse_number(sd) if sd.strip() else 0.0)


def _plate(part: str) -> room.Plate:
    volume, _, count = part.partition(":")
    if not count:
        raise UnusableReading(
            f"'{part}' is no plate.", "Type mL of sample and colonies with a colon: 0.01:120, or 0.01:>300 if too many."
        )
    colonies = parse_number(count.lstrip(">"))
    return room.Plate(
        sample_ml=parse_number(volume),
        colonies=int(colonies) if colonies == int(colonies) else -1,
        too_many=count.startswith(">"),
    )


def _whole(text: str, what: str) -> Sequence[int]:
    found = numbers_typed(text, what)
    if any(value != int(value) for value in found):
        raise UnusableReading(f"The {what} are not whole.", "Type whole numbers with spaces between them.")
    return [int(value) for value in found]
