"""A trial that others can join: one file with the plan, a shed of their own, codes of their own, and a package sent back.

What the file fixes is what must be alike to be pooled: recipes by the litre, arms, rounds, hours, tests, and the difference worth
having. What it leaves to each site is its own: compost, vessels, days, and the seed that draws which brew stands where.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from aerobe.errors import AerobeError, ImportFault, NotFound, UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Arm, Brew, Compost, Recipe, RunSheet, Trial, as_plain, content_hash, from_plain
from aerobe.reports import protocol_page
from aerobe.safety import cautions
from aerobe.trials import Controls, Plot, Starts, draw_run_sheet
from aerobe.usecases.evidence._pooling import TakenEvidence, take_evidence
from aerobe.usecases.exchange._packages import import_package
from aerobe.usecases.notebook._records import new_key
from aerobe.usecases.reports._publishing import PROTOCOL, empty_notebook
from aerobe.usecases.trials._view import sheet_of

FORMAT = "aerobe protocol"
VERSION = 1
LARGEST_BYTES = 1_000_000
NEXT_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPlace:
    """One brew of the plan: its arm, its round and its place in it, before anything is drawn by lot."""

    arm: int
    round: int
    place: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Protocol:
    """What a site needs to run the same trial.

    Parameters
    ----------
    name, question, outcome, margin_ratio, design
        Of the trial.
    arms, recipes
        Treatments, and what goes into a litre of each; the compost is each site's own.
    places
        Brews in their rounds.
    sample_at_h, tests_per_brew, controls, opening_controls
        When each brew is sampled [h], by how many tests, with which controls; and those of the first brew of a round.
    days_per_round
        From round to round. [d]
    """

    name: str
    question: str
    outcome: str
    margin_ratio: float
    design: str
    arms: tuple[Arm, ...]
    recipes: tuple[Recipe, ...]
    places: tuple[PlannedPlace, ...]
    sample_at_h: tuple[float, ...]
    tests_per_brew: int
    controls: tuple[str, ...]
    opening_controls: tuple[str, ...]
    days_per_round: float

    @property
    def fingerprint(self) -> str:
        """Of all that must be alike: the same at every site that follows it."""
        return str(content_hash(as_plain(self)))


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteTaken:
    """What a site sent back: its results as taken in, and what to know of them."""

    site: str
    taken: TakenEvidence
    says: tuple[str, ...]


def protocol_of_trial(notebook: Notebook, key: str, *, now: datetime) -> Protocol:
    """The plan of a trial as others can follow it; from now on packages that follow it are known.

    Parameters
    ----------
    key
        Of a trial with a run sheet.

    Raises
    ------
    UnusableRecord
        If there is no run sheet, or the trial compares composts.
    """
    trial, sheet = notebook.get(Trial, key), sheet_of(notebook, key)
    if sheet is None or not sheet.brews:
        raise UnusableRecord(f"Trial {key} has no run sheet to share.", "Plan it with 'aerobe trial plan ... --begin' first.")
    recipes = [notebook.get(Recipe, name) for name in dict.fromkeys(arm.recipe for arm in trial.arms) if name]
    if len({recipe.compost for recipe in recipes}) > 1:
        raise UnusableRecord(
            "This trial compares composts, and a site has its own.", "Share trials whose recipes differ in their foods only."
        )
    made = _protocol(trial, sheet, recipes)
    _keep(notebook, key, made, now)
    return made


def protocol_as_file(protocol: Protocol) -> bytes:
    """The file to hand on: JSON, the same bytes for the same plan."""
    plain = {"format": FORMAT, "version": VERSION, "fingerprint": protocol.fingerprint, "protocol": as_plain(protocol)}
    return json.dumps(plain, ensure_ascii=False, indent=1).encode()


def protocol_facts(protocol: Protocol) -> tuple[tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]]:
    """Named values of a plan, and each arm with what goes into a litre of it, in words."""
    rounds = 1 + max(item.round for item in protocol.places)
    hours = ", ".join(f"{hour:g}" for hour in protocol.sample_at_h)
    beside = ", ".join(dict.fromkeys((*protocol.controls, *protocol.opening_controls)))
    facts = (
        ("Question", protocol.question),
        ("Judged by", protocol.outcome),
        ("A difference worth having", f"a factor of {protocol.margin_ratio:g}"),
        ("Brews", f"{len(protocol.places)} in {rounds} rounds, {protocol.days_per_round:g} days from round to round"),
        ("Sample at", f"{hours} h after the air went on, {protocol.tests_per_brew} tests each"),
        ("Beside the samples", beside or "nothing"),
    )
    return facts, tuple((arm.key, _recipe_words(protocol, arm)) for arm in protocol.arms)


def protocol_as_page(protocol: Protocol) -> bytes:
    """The protocol as one page to read and to print, with its file in it."""
    facts, rows = protocol_facts(protocol)
    return protocol_page(
        name=protocol.name,
        facts=facts,
        arms=rows,
        fingerprint=protocol.fingerprint,
        cautions=[item.short for item in cautions("harvest", "spraying", "edible")],
        file=protocol_as_file(protocol),
    ).encode()


def _recipe_words(protocol: Protocol, arm: Arm) -> str:
    recipe = next((item for item in protocol.recipes if item.key == arm.recipe), None)
    if recipe is None:
        return "not brewed"
    foods = [f"{dose.g_per_l:g} g/L {dose.food}" + (f" at {dose.at_h:g} h" if dose.at_h else "") for dose in recipe.foods]
    return ", ".join([f"{recipe.name}: {recipe.compost_g_per_l:g} g/L of your compost", *foods])


def read_protocol(content: bytes) -> Protocol:
    """A protocol from its file.

    Raises
    ------
    ImportFault
        If it is no such file, is of another version, or was changed on the way.
    """
    try:
        plain = json.loads(content.decode("utf-8-sig")) if len(content) <= LARGEST_BYTES else None
    except (UnicodeDecodeError, ValueError, RecursionError):
        plain = None
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise ImportFault(
            "This is no protocol of a trial.", "Choose the file that ends in .protocol.json, as it was sent to you."
        )
    if plain.get("version") != VERSION:
        raise ImportFault(
            f"The protocol is of version {str(plain.get('version'))[:20]}, this program reads version {VERSION}.",
            "Bring both programs to the same release, or ask for the protocol written by yours.",
        )
    try:
        found = from_plain(Protocol, plain["protocol"])
        _require_whole(found)
    except (AerobeError, KeyError, TypeError, ValueError) as fault:
        raise ImportFault(f"The protocol cannot be followed: {str(fault)[:200]}", "Ask for the file again.") from None
    if plain.get("fingerprint") != found.fingerprint:
        raise ImportFault(
            "The protocol was changed after it was written: its fingerprint does not fit.", "Ask for the file as it was written."
        )
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnSite:
    """What whoever joins a trial brings of their own."""

    compost: str  # key of the compost that all recipes are made with
    seed: int  # draws which brew stands where; another at each site
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
        seed=site.seed,
        starts=Starts(first=site.first_start or now + NEXT_DAY, days_per_round=protocol.days_per_round),
        vessels=site.vessels,
    )
    with notebook.writing() as pen:
        for place, record in enumerate(recipes):
            pen.add(record, at=now, who=who, token=token and f"{token}-recipe-{place}")
        key = pen.add(trial, at=now, who=who, token=token).key
        if key == trial.key:
            pen.add(sheet, at=now, who=who)
            pen.keep(PROTOCOL, trial.key, _payload(protocol), at=now, who=who)
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


def _protocol(trial: Trial, sheet: RunSheet, recipes: list[Recipe]) -> Protocol:
    keys = [arm.key for arm in trial.arms]
    rounds = list(dict.fromkeys(item.block for item in sheet.brews))
    seen: dict[str, int] = {}
    places = []
    # By arm within a round: where each stood at home is nobody else's business, and would tell the draw.
    for item in sorted(sheet.brews, key=lambda brew: (rounds.index(brew.block), keys.index(brew.arm))):
        seen[item.block] = seen.get(item.block, -1) + 1
        places.append(PlannedPlace(arm=keys.index(item.arm), round=rounds.index(item.block), place=seen[item.block]))
    plain = min(sheet.brews, key=lambda brew: sum(len(sample.controls) for sample in brew.samples))
    first = max(sheet.brews, key=lambda brew: sum(len(sample.controls) for sample in brew.samples))
    starts = sorted(item.starts_at for item in sheet.brews if item.starts_at is not None)
    span_d = (starts[-1] - starts[0]) / timedelta(days=1) if starts else 0.0
    return Protocol(
        name=trial.name,
        question=trial.question,
        outcome=trial.outcome,
        margin_ratio=trial.margin_ratio,
        design=trial.design,
        arms=trial.arms,
        recipes=tuple(replace(item, notes="", compost="own-compost") for item in recipes),
        places=tuple(places),
        sample_at_h=tuple(sample.elapsed_h for sample in plain.samples),
        tests_per_brew=max(sample.tests for sample in plain.samples),
        controls=plain.samples[0].controls,
        opening_controls=first.samples[0].controls,
        days_per_round=float(max(1, round(span_d / max(1, len(rounds) - 1)))) if len(rounds) > 1 else 3.0,
    )


def _require_whole(protocol: Protocol) -> None:
    """What the records' own checks cannot see."""
    arms = range(len(protocol.arms))
    recipes = {recipe.key for recipe in protocol.recipes}
    lost = [arm.key for arm in protocol.arms if arm.recipe and arm.recipe not in recipes]
    if lost:
        raise ValueError(f"the recipe of arm {', '.join(lost)} is missing.")
    if len(protocol.arms) < 2 or not protocol.places or len(protocol.places) > 1000 or not 1 <= protocol.tests_per_brew <= 100:
        raise ValueError("it has fewer than two arms, or no brews that anyone could make.")
    bare = [protocol.arms[at].key for at in arms if all(item.arm != at for item in protocol.places)]
    if bare:
        raise ValueError(f"arm {', '.join(bare)} has no brew.")
    if any(item.arm not in arms or not 0 <= item.round < 1000 or not 0 <= item.place < 1000 for item in protocol.places):
        raise ValueError("a brew belongs to no arm or round.")
    if not protocol.sample_at_h or not all(0.0 <= hour <= 1000.0 for hour in protocol.sample_at_h):
        raise ValueError("it has no hour to sample at.")


def _payload(protocol: Protocol) -> dict[str, object]:
    return {"fingerprint": protocol.fingerprint, "name": protocol.name}


def _keep(notebook: Notebook, key: str, protocol: Protocol, now: datetime) -> None:
    if all(item.payload != _payload(protocol) for item in notebook.kept(PROTOCOL) if item.subject == key):
        notebook.keep(PROTOCOL, key, _payload(protocol), at=now)
