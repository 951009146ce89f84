"""A site joins a trial by its protocol, with a shed and codes of its own, and its package comes back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from aerobe.errors import ImportFault, NotFound
from aerobe.notebook import Notebook
from aerobe.records import Brew, Compost, Recipe, Trial
from aerobe.trials import Controls, Plot, Starts, draw_run_sheet
from aerobe.usecases.evidence._pooling import TakenEvidence, take_evidence
from aerobe.usecases.exchange._packages import import_package
from aerobe.usecases.exchange._protocol import Protocol, payload_of
from aerobe.usecases.notebook._records import new_key
from aerobe.usecases.reports._publishing import PROTOCOL, empty_notebook
from aerobe.usecases.trials._lots import new_seed

NEXT_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteTaken:
    """What a site sent back: its results as taken in, and what to know of them."""

    site: str
    taken: TakenEvidence
    says: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnSite:
    """What whoever joins a trial brings of their own."""

    compost: str  # key of the compost that all recipes are made with
    seed: int | None = None  # draws which brew stands where, another at each site; by chance if left out
    first_start: datetime | None = None  # of the first brew; the same hour tomorrow if left out
    vessels: tuple[str, ...] = ()  # keys or names; numbered if left out


def join_trial(
    notebook: Notebook,
    protocol: Protocol,
    site: OwnSite,
    *,
    now: datetime,
    who: str = "",
    token: str = "",
) -> str:
    """Write the trial down in one's own notebook, with a run sheet and codes of one's own. Gives the trial's key.

    Parameters
    ----------
    site
        What is one's own: compost, vessels, start, seed.
    token
        Of the form, so that a form sent twice is joined once.

    Raises
    ------
    NotFound
        If there is no such compost.
    UnusableRecord
        If fewer vessels are named than brews stand side by side.
    """
    known = [item.key for item in notebook.find(Compost)]
    if site.compost not in known:
        raise NotFound(f"There is no compost '{site.compost}'.", f"Yours: {', '.join(known) or 'none yet; write one in first'}.")
    recipes, key_of = [], {}
    for recipe in protocol.recipes:
        key_of[recipe.key] = new_key(notebook, Recipe, recipe.name)
        recipes.append(replace(recipe, key=key_of[recipe.key], compost=site.compost, notes=""))
    trial = Trial(
        key=new_key(notebook, Trial, protocol.name),
        name=protocol.name,
        question=protocol.question,
        outcome=protocol.outcome,
        margin_ratio=protocol.margin_ratio,
        design=protocol.design,
        planned_at=now,
        arms=tuple(replace(arm, recipe=key_of.get(arm.recipe, "")) for arm in protocol.arms),
    )
    more = tuple(role for role in protocol.opening_controls if role not in protocol.controls)
    sheet = draw_run_sheet(
        trial,
        [Plot(arm=item.arm, round=item.round, place=item.place) for item in protocol.places],
        controls=Controls(roles=protocol.controls, round_roles=more, tests_per_brew=0, tests_per_round=0, reasons=()),
        sample_times_h=protocol.sample_at_h,
        tests_per_brew=protocol.tests_per_brew,
        seed=new_seed() if site.seed is None else site.seed,
        starts=Starts(first=site.first_start or now + NEXT_DAY, days_per_round=protocol.days_per_round),
        vessels=site.vessels,
    )
    with notebook.writing() as pen:
        for place, record in enumerate(recipes):
            pen.add(record, at=now, who=who, token=token and f"{token}-recipe-{place}")
        key = pen.add(trial, at=now, who=who, token=token).key
        if key == trial.key:
            pen.add(sheet, at=now, who=who)
            pen.keep(PROTOCOL, trial.key, payload_of(protocol), at=now, who=who)
    return key


def take_site(notebook: Notebook, key: str, content: bytes, name: str, *, site: str, now: datetime) -> SiteTaken:
    """Take in the package of a site that followed a trial's protocol; it is pooled with the others by site.

    Parameters
    ----------
    key
        Of the own trial whose protocol was sent out.
    content, name
        The package.
    site
        What to call the site; each has one voice.

    Raises
    ------
    NotFound
        If the trial's protocol was never sent out.
    ImportFault
        If the package is refused, or follows no protocol or another. Nothing is taken in then.
    """
    mine = next((item.payload for item in notebook.kept(PROTOCOL) if item.subject == key), None)
    if mine is None:
        raise NotFound(f"No protocol of trial '{key}' was sent out.", f"Write it first: aerobe trial protocol {key}.")
    if not site.strip():
        raise ImportFault("The site has no name.", "Name it, for example --site 'shed by the river'.")
    says = _checked(content, mine, now)
    return SiteTaken(site=site, taken=take_evidence(notebook, content, name, now=now, site=site.strip()), says=says)


def _checked(content: bytes, mine: Mapping[str, object], now: datetime) -> tuple[str, ...]:
    """What to know of a package that follows the protocol."""
    if content[:2] != b"PK":
        raise ImportFault(
            "This is no data package.", "Ask the site for the zip file of 'aerobe report trial' or 'aerobe export'."
        )
    with empty_notebook(now) as copy:
        import_package(copy, content, now=now)
        theirs = copy.kept(PROTOCOL)
        if not theirs:
            raise ImportFault(
                "The package follows no protocol.",
                "Ask for the package of the trial that the site joined; any other can be weighed as evidence, with its flags.",
            )
        ours = [item for item in theirs if item.payload.get("fingerprint") == mine["fingerprint"]]
        if not ours:
            other = str(theirs[0].payload.get("name", ""))[:80]
            raise ImportFault(
                f"The package follows another protocol ({other}).", "Take it in under the trial whose protocol it follows."
            )
        trial = copy.get(Trial, ours[0].subject)
        started = {brew.arm for brew in copy.find(Brew, of=trial.key) if copy.readings(brew.key)}
        missing = [arm.key for arm in trial.arms if arm.recipe and arm.key not in started]
    return tuple(
        f"Arm {arm} has no result at this site: what the others show is taken in, and the package can be sent again."
        for arm in missing
    )
