"""What a person asks of a trial, as typed."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from aerobe.errors import NotAQuantity, NotEnoughData, NotFound, UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Arm, Assay, Brew, Costs, Recipe, Trial, Vessel
from aerobe.trials import (
    ONE_DAY_AND_HEAP,
    SCATTERS,
    Budget,
    Circumstances,
    Scatter,
    central_composite,
    factorial,
    informed,
    scatter_from,
    with_controls,
)
from aerobe.units import ELAPSED, parse_number
from aerobe.usecases.notebook._from_form import text_fields
from aerobe.usecases.notebook._moments import moment_of
from aerobe.usecases.notebook._records import new_key
from aerobe.usecases.trials._blinding import is_hidden
from aerobe.verdicts import COLOUR_SENSITIVE, outcome

COMPOSITE = "central composite"  # typed in the place of a number of arms
OWN_BREWS = "own brews"
LATEST_SAMPLE_H = 240.0  # ten days under air are no tea any more (our choice, no source) [h]
ENOUGH_REPEATS = 3  # brews beyond the first of their recipe (our choice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialWish:
    """A question and a budget: text fields as in the form.

    `arms` lists recipe keys, doses (`0, 1, 2 g/L` of the recipe given by `of_recipe`) or factors
    (`molasses: 0 / 2; kelp: 0 / 1`), as the question needs.
    """

    name: str = ""
    question: str = "two recipes"
    arms: str = ""
    of_recipe: str = ""
    runs: str = ""  # arms of a fractional factorial, or "central composite"; empty for all
    outcome: str = "biomass"
    margin: str = "1.5"
    money: str = "500"
    test_price: str = "10"
    brew_price: str = "20"
    tests: str = ""
    vessels: str = "2"
    vessel_names: str = ""  # keys of vessels in the notebook
    days: str = "28"
    days_per_round: str = "3"
    scatter: str = "one day and heap"  # a named one, "own brews", or an SD such as 0.4
    test_scatter: str = "0.15"
    scatter_brews: str = ""  # brews that a given SD was learnt from; empty: taken as known
    colour: str = "0"  # signal of the tea without its cells, as a multiple of the biomass
    lost: str = "0"  # share of brews that will give no result
    assay: str = ""
    sample_at: str = "24 h"
    start: str = ""
    seed: str = ""  # of the lots; empty: drawn by chance
    controls: str = "yes"
    token: str = ""

    @classmethod
    def from_form(cls, form: Mapping[str, object]) -> TrialWish:
        """From the fields of a form or a JSON object; unknown fields are left aside, empty ones take the default."""
        return cls(**text_fields(cls.__dataclass_fields__, form, empty_too=False))

    def to_trial(self, notebook: Notebook, *, planned_at: datetime) -> Trial:
        """The trial, with the arms it needs to mean something."""
        outcome(self.outcome)  # refused here, and not when the results are in
        if not self.name.strip():
            raise UnusableRecord("The trial has no name.", "Give it a short name, for example 'Kelp or plain'.")
        trial = Trial(
            key=new_key(notebook, Trial, self.name),
            name=self.name.strip(),
            question=self.question,
            outcome=self.outcome,
            arms=self._arms(notebook),
            margin_ratio=_number(self.margin, "difference worth having"),
            planned_at=planned_at,
        )
        return trial if self.controls == "no" else with_controls(trial)

    def _arms(self, notebook: Notebook) -> tuple[Arm, ...]:
        if self.question == "factors" and self.runs.strip().casefold() == COMPOSITE:
            return central_composite(_factors(self.arms))
        if self.question == "factors":
            return factorial(_factors(self.arms), runs=_whole(self.runs, "number of arms") if self.runs else None).arms
        words = _words(self.arms)
        if not words:
            raise UnusableRecord("The trial has no arms.", "Name the recipes, doses or factors to compare.")
        if self.question == "dose series":
            doses = sorted({_number(re.sub(r"\s*g/L$", "", word), "dose") for word in words})
            if doses[0] < 0.0:
                raise UnusableRecord(f"A dose of {doses[0]:g} g/L cannot be weighed.", "Give doses of nothing or more.")
            stem = self.of_recipe or "dose"
            return tuple(
                Arm(key=f"{stem}-{dose:g}", recipe=f"{stem}-{dose:g}", dose=dose, is_standard=i == 0)
                for i, dose in enumerate(doses)
            )
        if self.question == "brewing time":
            recipe = _existing(notebook, Recipe, self.of_recipe, "recipe")
            # Each arm is read at its own hour: `90 min` and `1 day` are hours, and a word is none.
            return tuple(
                Arm(key=f"{hour:g}-h", recipe=recipe, dose=hour, is_standard=i == 0) for i, hour in enumerate(map(_hour, words))
            )
        if self.question == "vessels":
            recipe = _existing(notebook, Recipe, self.of_recipe, "recipe")
            stand = [_existing(notebook, Vessel, word, "vessel") for word in words]
            return tuple(Arm(key=key, recipe=recipe, is_standard=i == 0) for i, key in enumerate(stand))
        is_field = self.question == "field response"
        return tuple(
            Arm(
                key=_key(word),
                recipe="" if is_field and _key(word) in ("water", "compost-solids") else _key(word),
                is_standard=_key(word) == "water" if is_field else i == 0,
            )
            for i, word in enumerate(words)
        )

    def to_budget(self) -> Budget:
        """Money, tests, vessels and days."""
        return Budget(
            costs=Costs(test=_number(self.test_price, "price of a test"), brew=_number(self.brew_price, "price of a brew")),
            money=_number(self.money, "budget"),
            tests=_whole(self.tests, "number of tests") if self.tests else 100000,
            vessels=_whole(self.vessels, "number of vessels"),
            days=_number(self.days, "days"),
            days_per_round=_number(self.days_per_round, "days of a round"),
            samplings=max(1, len(self.sampling_hours())),
        )

    def to_scatter(self, notebook: Notebook, *, now: datetime) -> Scatter:
        """A named scatter, that of the person's own brews with the prior, or a given SD."""
        if self.scatter != OWN_BREWS:
            return self._given_scatter()
        own = self.own_scatter(notebook, now=now)
        if own is not None:
            return informed(own)
        return replace(ONE_DAY_AND_HEAP, origin=f"your brews are too few to tell how they differ; {ONE_DAY_AND_HEAP.origin}")

    def own_scatter(self, notebook: Notebook, *, now: datetime) -> Scatter | None:
        """What the person's own brews alone say of their scatter; None where that was not asked for, or they are too few."""
        from aerobe.usecases.trials._values import results_of

        # How brews behind codes differ would tell which of them are alike.
        brews = {brew.key: brew for brew in notebook.find(Brew) if (brew.arm or brew.recipe) and not is_hidden(notebook, brew)}
        if self.scatter != OWN_BREWS or not brews:
            return None
        try:
            found = results_of(notebook, list(brews.values()), self.outcome, now=now)
            # Day 1 of one trial is not day 1 of another.
            return scatter_from([replace(item, block=f"{brews[item.brew].trial} {item.block}") for item in found])
        except NotEnoughData:
            return None

    def _given_scatter(self) -> Scatter:
        if self.scatter in SCATTERS:
            return SCATTERS[self.scatter]
        known_by = _number(self.scatter_brews, "brews behind the scatter") if self.scatter_brews else math.inf
        if known_by < 2.0:
            raise UnusableRecord(f"{known_by:g} brews show no scatter.", "Give how many brews it was learnt from, two or more.")
        return Scatter(
            brew_log_sd=_number(self.scatter, "scatter between brews"),
            test_log_sd=_number(self.test_scatter, "scatter of tests"),
            origin=f"as given, from {self.scatter_brews} brews" if self.scatter_brews else "as given",
            # Brews of two recipes leave two fewer degrees of freedom.
            df=max(1.0, known_by - 2.0),
        )

    def to_circumstances(self, notebook: Notebook) -> Circumstances:
        """Colour, controls and losses; a test that reads no colour sees none."""
        reads = self.reads_colour(notebook)
        lost = self.lost.strip().removesuffix("%") if self.lost.strip().endswith("%") else ""
        share = _number(lost, "share of brews lost") / 100.0 if lost else _number(self.lost, "share of brews lost")
        colour = _number(self.colour, "colour of the tea") if reads else 0.0
        return Circumstances(colour=colour, control_tests=1 if reads else 0, lost=share)

    def reads_colour(self, notebook: Notebook) -> bool:
        """Whether the method needs killed controls; yes where the assay is not known."""
        if self.outcome not in ("biomass", "peak biomass", "area under the curve", "count", "ratio", "cost per biomass"):
            return False
        if not self.assay:
            return True
        return notebook.get(Assay, self.assay).method in COLOUR_SENSITIVE

    def sampling_hours(self) -> tuple[float, ...]:
        """When each brew is sampled. [h]"""
        words = [word.strip() for word in re.split(r"[;,]\s*", self.sample_at) if word.strip()]
        typed = tuple(_hour(word) for word in words)
        if self.question != "brewing time":
            return typed
        # Every brew is sampled at the hours of all arms: an hour of its own would tell who reads it which arm it is.
        more = () if self.sample_at == TrialWish.__dataclass_fields__["sample_at"].default else typed
        return tuple(sorted({*map(_hour, _words(self.arms)), *more}))

    def first_start(self, now: datetime) -> datetime:
        """When the first brew starts: as given, else tomorrow at this time."""
        if not self.start:
            return (now + timedelta(days=1)).replace(second=0, microsecond=0)
        return moment_of(self.start, now=now)

    def vessel_keys(self, notebook: Notebook) -> tuple[str, ...]:
        """Vessels named in the wish, else those of the notebook, else numbered ones."""
        named = [word.strip() for word in re.split(r"[;,]\s*", self.vessel_names) if word.strip()]
        if named:
            return tuple(_existing(notebook, Vessel, word, "vessel") for word in named)
        known = [vessel.key for vessel in notebook.find(Vessel)]
        needed = _whole(self.vessels, "number of vessels")
        return tuple(known[:needed]) if len(known) >= needed else ()

    def seed_number(self) -> int | None:
        """The seed that was named; none where it is to be drawn by chance. [-]"""
        return _whole(self.seed, "seed") if self.seed.strip() else None


def usual_scatter(notebook: Notebook) -> str:
    """What a plan takes for the scatter if nobody chooses: the person's own brews, once enough of them repeat one another."""
    recipes = [brew.arm or brew.recipe for brew in notebook.find(Brew) if not is_hidden(notebook, brew)]
    return OWN_BREWS if len(recipes) - len(set(recipes)) >= ENOUGH_REPEATS else "one day and heap"


def scatter_of_words(text: str, test_text: str = "0.15") -> Scatter:
    """A named scatter, or one given as an SD of the log."""
    return TrialWish(scatter=text, test_scatter=test_text)._given_scatter()


def read_margin(text: str) -> float:
    """A difference worth having, as typed. [-]"""
    return _number(text, "difference worth having")


def _number(text: str, what: str) -> float:
    try:
        return parse_number(text)
    except NotAQuantity:
        raise UnusableRecord(f"The {what} '{text}' is no number.", "Write digits, with a decimal point or comma.") from None


def _words(arms: str) -> list[str]:
    return [word.strip() for word in re.split(r"[;\n]|,(?=\s)|,(?=\D)", arms) if word.strip()]


def _hour(word: str) -> float:
    """An hour since the air went on, as typed: `24`, `24 h`, `90 min`. [h]"""
    hour = ELAPSED.read(word if re.search(r"[a-z]", word) else f"{word} h")
    if not 0.0 <= hour <= LATEST_SAMPLE_H:
        raise UnusableRecord(
            f"A brew is not sampled at {hour:g} h.", f"Give hours since the air went on, up to {LATEST_SAMPLE_H:g} h."
        )
    return hour


def _whole(text: str, what: str) -> int:
    found = _number(text, what)
    if found != int(found) or found < 0.0:
        raise UnusableRecord(f"The {what} '{text}' is no whole number of 0 or more.", "Write it without a fraction or a minus.")
    return int(found)


def _factors(text: str) -> dict[str, tuple[float, float]]:
    """`molasses: 0 / 2; kelp: 0 / 1` as levels."""
    found = {}
    for part in filter(None, (piece.strip() for piece in re.split(r"[;\n]", text))):
        match = re.fullmatch(r"(.+?)\s*:\s*(\S+)\s*(?:/|to)\s*(\S+)", part)
        if match is None:
            raise UnusableRecord(f"'{part}' is no factor with two levels.", "Write it like 'molasses: 0 / 2; kelp: 0 / 1'.")
        low, high = _number(match[2], f"low level of {match[1]}"), _number(match[3], f"high level of {match[1]}")
        if not 0.0 <= min(low, high) <= max(low, high) < math.inf:
            raise UnusableRecord(
                f"A level of {min(low, high):g} of {match[1]} cannot be brewed.", "Give levels of nothing or more, with an end."
            )
        if match[1] in found:
            raise UnusableRecord(f"The factor {match[1]} stands there twice.", "Give each factor one line with its two levels.")
        found[match[1]] = low, high
    return found


def _key(word: str) -> str:
    return re.sub(r"[^A-Za-z0-9_.-]+", "-", word).strip("-")


def _existing(notebook: Notebook, cls: type, key: str, noun: str) -> str:
    records: list[Any] = notebook.find(cls)
    keys = [record.key for record in records]
    if key not in keys:
        raise NotFound(f"The notebook has no {noun} '{key}'.", f"Use one of: {', '.join(keys) or '(none yet)'}.")
    return key
