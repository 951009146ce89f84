"""A trial that others can join: one file with the plan, a shed of their own, codes of their own, and a package sent back.

What the file fixes is what must be alike to be pooled: recipes by the litre, arms, rounds, hours, tests, and the difference worth
having. What it leaves to each site is its own: compost, vessels, days, and the seed that draws which brew stands where.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from aerobe.errors import AerobeError, ImportFault, UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Arm, Recipe, RunSheet, Trial, as_plain, content_hash, from_plain
from aerobe.reports import protocol_page
from aerobe.safety import cautions
from aerobe.usecases.reports._publishing import PROTOCOL
from aerobe.usecases.trials._view import sheet_of

FORMAT = "aerobe protocol"
VERSION = 1
LARGEST_BYTES = 1_000_000


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


def payload_of(protocol: Protocol) -> dict[str, object]:
    return {"fingerprint": protocol.fingerprint, "name": protocol.name}


def _keep(notebook: Notebook, key: str, protocol: Protocol, now: datetime) -> None:
    if all(item.payload != payload_of(protocol) for item in notebook.kept(PROTOCOL) if item.subject == key):
        notebook.keep(PROTOCOL, key, payload_of(protocol), at=now)
