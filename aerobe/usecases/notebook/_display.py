"""In which units this notebook is shown and typed into: asked once, kept in its settings, used everywhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import datetime
from weakref import WeakKeyDictionary

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Assay, Brew, Compost, Harvest, Recipe, Trial, Vessel
from aerobe.units import CHOICES, DisplayUnits, display_units, shown_text

SETTING = "display units"
CHOSEN = (*CHOICES, "currency")
_SHORT = 500  # a longer note is shown as it is only where it stands as typed anyway [signs]
_typed_texts: WeakKeyDictionary[Notebook, tuple[int, tuple[str, ...]]] = (
    WeakKeyDictionary()
)  # of the notebook's last change, for no page reads all of it anew


def has_display_units(notebook: Notebook) -> bool:
    """Whether somebody chose them."""
    return notebook.setting(SETTING) is not None


def display_units_of(notebook: Notebook) -> DisplayUnits:
    """The display units of a notebook; house units where nobody chose."""
    kept = notebook.setting(SETTING)
    if not isinstance(kept, dict):
        return DisplayUnits()
    units = DisplayUnits().with_choices({str(name): str(choice) for name, choice in kept.items()})
    return units if units.is_house and not units.currency else replace(units, as_typed=_as_typed(notebook, units))


def display_units_for(notebook: Notebook, brew: str) -> DisplayUnits:
    """The display units in use, where a brew is shown: 100 % of saturation is that of its water and its height above the sea."""
    units = display_units()
    return replace(units, full_mg_per_l=_full(notebook, brew)) if units.oxygen == "%" else units


def set_display_units(
    notebook: Notebook, chosen: Mapping[str, str], *, now: datetime, who: str = "", onto: DisplayUnits | None = None
) -> DisplayUnits:
    """Keep a choice; what it does not name stays.

    Parameters
    ----------
    notebook
        Whose settings hold the choice.
    chosen
        Names of `DisplayUnits` with what was chosen, such as `{"volume": "US gal"}`.
    now, who
        For the audit trail.
    onto
        What stands where nothing was chosen: what the notebook has, if left out.

    Raises
    ------
    UnusableRecord
        If a name or a choice is none.
    """
    unknown = set(chosen) - set(CHOSEN)
    if unknown:
        raise UnusableRecord(f"'{min(unknown)}' is nothing that can be chosen.", f"Choose for: {', '.join(CHOSEN)}.")
    units = (onto or display_units_of(notebook)).with_choices(chosen)
    notebook.set_setting(SETTING, units.choices(), at=now, who=who)
    return display_units_of(notebook)


def _full(notebook: Notebook, key: str) -> float:
    from aerobe.oxygen import saturation_mg_per_l

    brew = next((item for item in notebook.find(Brew) if item.key == key), None)
    if brew is None or not 0.0 <= brew.temperature_degc <= 40.0:
        return DisplayUnits().full_mg_per_l
    vessel = notebook.get(Vessel, brew.vessel)
    return round(saturation_mg_per_l(brew.temperature_degc, altitude_m=vessel.altitude_m), 2)


def _as_typed(notebook: Notebook, units: DisplayUnits) -> tuple[str, ...]:
    """Names and notes that would read otherwise in these units: people wrote them, so they stay."""
    change, known = notebook.last_change(), _typed_texts.get(notebook)
    if known is None or known[0] != change:
        known = _typed_texts[notebook] = (change, tuple(sorted(_texts(notebook))))
    return tuple(text for text in known[1] if shown_text(units, f"oxygen {text}") != f"oxygen {text}")


def _texts(notebook: Notebook) -> set[str]:
    found: set[str] = set()
    nouns: tuple[type[Assay | Brew | Compost | Harvest | Recipe | Trial | Vessel], ...]
    nouns = (Assay, Brew, Compost, Harvest, Recipe, Trial, Vessel)
    records: list[object] = [record for noun in nouns for record in notebook.find(noun)]
    records += [reading for brew in notebook.find(Brew) for reading in notebook.readings(brew.key)]
    for record in records:
        for item in fields(record):  # type: ignore[arg-type]
            text = getattr(record, item.name)
            if isinstance(text, str) and item.name not in ("key", "unit", "typed_as") and any(sign.isdigit() for sign in text):
                found |= {text.strip(), *map(str.strip, text.splitlines())}
    return {text for text in found if text and len(text) <= _SHORT}
