"""In which units this notebook is shown and typed into: asked once, kept in its settings, used everywhere."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from datetime import datetime
from weakref import WeakKeyDictionary

from aerobe.errors import UnusableRecord
from aerobe.notebook import TAKEN_BACK, Notebook
from aerobe.records import Assay, Brew, Compost, Harvest, Recipe, Trial, Vessel
from aerobe.units import CHOICES, DisplayUnits, display_units, shown_text
from aerobe.usecases.brews._held import Held, cached, held_by

SETTING = "display units"
CHOSEN = (*CHOICES, "currency")
_SHORT = 500  # a longer note is shown as it is only where it stands as typed anyway [signs]
_NAMED = ("assays", "brews", "composts", "harvests", "recipes", "trials", "vessels")  # as the audit trail calls them
# Texts of the readings of each brew, with the change of it that they are of: no page reads all of a notebook anew.
_TYPED: WeakKeyDictionary[Held, dict[str, tuple[int, frozenset[str]]]] = WeakKeyDictionary()


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

    brew = held_by(notebook).brews.get(key)
    if brew is None or not 0.0 <= brew.temperature_degc <= 40.0:
        return DisplayUnits().full_mg_per_l
    vessel = notebook.get(Vessel, brew.vessel)
    return round(saturation_mg_per_l(brew.temperature_degc, altitude_m=vessel.altitude_m), 2)


def _as_typed(notebook: Notebook, units: DisplayUnits) -> tuple[str, ...]:
    """Names and notes that would read otherwise in these units: people wrote them, so they stay."""
    texts = _texts_of(notebook)

    def otherwise() -> tuple[str, ...]:
        return tuple(sorted(text for text in texts if shown_text(units, f"oxygen {text}") != f"oxygen {text}"))

    return cached(notebook, ("typed otherwise", units), len(texts), otherwise)


def _texts_of(notebook: Notebook) -> frozenset[str]:
    """What people typed and named; an entry costs the reading of its own brew."""
    held = held_by(notebook)

    def read() -> frozenset[str]:
        before, now = _TYPED.get(held, {}), dict[str, tuple[int, frozenset[str]]]()
        for brew in held.brews:
            noted, known = held.noted(brew), before.get(brew)
            now[brew] = known if known is not None and known[0] == noted else (noted, _texts_in(notebook.readings(brew)))
        _TYPED[held] = now
        named = cached(notebook, ("named",), held.version_of(*_NAMED), lambda: _texts_in(_named(notebook)))
        return named.union(*(texts for _, texts in now.values()))

    return cached(notebook, ("typed",), held.version_of(*_NAMED, "readings", TAKEN_BACK), read)


def _named(notebook: Notebook) -> list[object]:
    nouns: tuple[type[Assay | Brew | Compost | Harvest | Recipe | Trial | Vessel], ...]
    nouns = (Assay, Brew, Compost, Harvest, Recipe, Trial, Vessel)
    return [record for noun in nouns for record in notebook.find(noun)]


def _texts_in(records: Iterable[object]) -> frozenset[str]:
    found: set[str] = set()
    for record in records:
        for item in fields(record):  # type: ignore[arg-type]
            text = getattr(record, item.name)
            if isinstance(text, str) and item.name not in ("key", "unit", "typed_as") and any(sign.isdigit() for sign in text):
                found |= {text.strip(), *map(str.strip, text.splitlines())}
    return frozenset(text for text in found if text and len(text) <= _SHORT)
