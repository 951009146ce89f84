"""Display units that go with a region: a first guess for who has not chosen yet."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from functools import cache
from importlib.resources import files

from aerobe.units._display import DisplayUnits

# Unicode CLDR, measurementData: systems "US" and "temperature" by territory (from memory).
GALLONS = ("US", "LR", "PR")
FAHRENHEIT = (*GALLONS, "BS", "BZ", "FM", "KY", "MH", "PW")
WELL_KNOWN = 200  # signs of a list of languages that are looked at


def guess_display_units(languages: str) -> DisplayUnits | None:
    """What people of a region mostly use; None where the region is not known.

    Parameters
    ----------
    languages
        As a browser lists them, most wanted first (`de-AT,de;q=0.9,en;q=0.8`), or the name of a locale (`de_AT.UTF-8`).

    Source: Unicode CLDR, through `regions.toml`.
    """
    regions, likely = _table()
    for tag in re.split(r"[,;\s]+", languages[:WELL_KNOWN].partition(".")[0]):
        language, *parts = tag.replace("_", "-").split("-")
        region = next((part.upper() for part in parts if re.fullmatch("[A-Za-z]{2}", part)), likely.get(language.lower(), ""))
        if region in regions:
            units = DisplayUnits().with_choices(regions[region])
            if region in GALLONS:
                units = replace(units, volume="US gal", weight="oz", length="ft")
            return replace(units, temperature="\u00b0F") if region in FAHRENHEIT else units
    return None


@cache
def _table() -> tuple[dict[str, dict[str, str]], dict[str, str]]:
    found = tomllib.loads(files("aerobe.units").joinpath("regions.toml").read_text(encoding="utf-8"))
    likely: dict[str, str] = found.pop("likely")
    return found, likely
