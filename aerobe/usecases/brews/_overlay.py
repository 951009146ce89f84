"""Brews beside each other on one chart: which can be chosen, and what is drawn of those that are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook
from aerobe.units import display_units
from aerobe.usecases.brews._held import cached
from aerobe.usecases.brews._pictures import DrawnPicture, drawn, points_of
from aerobe.usecases.brews._under_way import BrewCard, BrewView, brew_view, brews_overview
from aerobe.usecases.trials._blinding import is_hidden

if TYPE_CHECKING:
    from aerobe.charts import OverlaidBrew

AT_MOST = 6  # more cannot be told apart on one chart
OFFERED = 40  # newest brews to choose from


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlaid:
    """Brews on one chart: the cards to choose from, the keys that are chosen, the charts, and what to keep in mind of them."""

    offered: tuple[BrewCard, ...]
    chosen: tuple[str, ...]
    pictures: tuple[DrawnPicture, ...]
    notes: tuple[str, ...]


def overlaid_brews(notebook: Notebook, keys: Sequence[str], *, now: datetime, recipe: str = "") -> Overlaid:
    """Readings and oxygen of several brews by the hours since each began.

    Parameters
    ----------
    notebook
        Where they are written down.
    keys
        Keys of at most six brews, in the order in which they were chosen.
    recipe
        Key of a recipe: its newest brews join those chosen, while there is room. Brews whose recipe lies behind a code do not.
    now
        For brews under way.

    Returns
    -------
    Overlaid
        Without pictures while nothing is chosen, or nothing was read of what is.

    Raises
    ------
    UnusableRecord
        If more than six are chosen.
    NotFound
        If there is no such brew.
    """
    chosen = list(dict.fromkeys(keys))
    if len(chosen) > AT_MOST:
        raise UnusableRecord(
            f"{len(chosen)} brews are too many for one chart: at most {AT_MOST} can be told apart.", "Take some ticks away."
        )
    overview = brews_overview(notebook, now=now, earlier=OFFERED)
    offered = (*overview.under_way, *overview.earlier)[:OFFERED]
    if recipe:
        same = [card.brew for card in offered if card.brew.recipe == recipe and not is_hidden(notebook, card.brew)]
        chosen += [brew.key for brew in same if brew.key not in chosen][: AT_MOST - len(chosen)]
    views = [brew_view(notebook, key, now=now) for key in chosen]
    known = {card.brew.key for card in offered}
    offered = (*(view.card for view in views if view.card.brew.key not in known), *offered)
    version = (display_units(), *((view.card.brew.key, view.last_change) for view in views))
    pictures = cached(notebook, ("overlaid", *chosen), version, lambda: _draw(views)) if views else ()
    return Overlaid(offered=offered, chosen=tuple(chosen), pictures=pictures, notes=_notes(views, pictures))


def _draw(views: Sequence[BrewView]) -> tuple[DrawnPicture, ...]:
    from aerobe.charts import oxygen_overlaid, readings_overlaid

    brews = [_brew(view, name) for view, name in zip(views, _names(views), strict=True)]
    made = []
    if any(brew.points for brew in brews):
        made.append(drawn(readings_overlaid(brews).in_units(display_units())))
    if any(len(brew.logged_h) > 1 for brew in brews):
        made.append(drawn(oxygen_overlaid(brews).in_units(display_units())))
    return tuple(made)


def _brew(view: BrewView, name: str) -> OverlaidBrew:
    from aerobe.charts import OverlaidBrew

    log = view.oxygen_log
    return OverlaidBrew(
        name=name,
        points=tuple(point for point in points_of(view) if point.kind != "control"),
        logged_h=tuple(log.elapsed_h.tolist()),
        logged_mg_per_l=tuple(log.mean.tolist()),
        harvested_h=view.harvest.elapsed_h if view.harvest is not None else None,
    )


def _names(views: Sequence[BrewView]) -> list[str]:
    """Names that differ: brews of one name carry their key as well."""
    names = [view.card.brew.name for view in views]
    return [f"{name} ({view.card.brew.key})" if names.count(name) > 1 else name for name, view in zip(names, views, strict=True)]


def _notes(views: Sequence[BrewView], pictures: Sequence[DrawnPicture]) -> tuple[str, ...]:
    notes = []
    if views and not pictures:
        notes.append("Nothing was read or logged of these brews yet.")
    tests = {key: item.name for view in views for key, item in view.assays.items() if any(points_of(view))}
    if len(tests) > 1:
        notes.append(
            f"Read with {len(tests)} tests: {', '.join(sorted(tests.values()))}. Two tests rarely agree in height: "
            "hold heights against each other only where the tests were compared."
        )
    if pictures:
        notes.append("Curves side by side are no verdict: brews differ by chance. A trial says how sure a difference is.")
    return tuple(notes)
