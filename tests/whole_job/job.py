"""The whole job, done by a person: plan, brew, test, follow the call, harvest, judge, ask where the tea may go, publish."""

from __future__ import annotations

import math
import re
import time
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone

from tests.whole_job.browse import Browser
from tests.whole_job.world import Tea, World

ZONE = timezone(timedelta(hours=2))
MORNING = datetime(2026, 5, 1, 8, 0, tzinfo=ZONE)
MOLASSES_G_PER_L = 2.0
BUCKETS, TESTS = 8, 20  # what it takes in the end
HOPED_BUCKETS, HOPED_TESTS = 4, 12  # what the person would rather spend
HOT_HEAP = "\n".join(f"{day} 61{' turned' if day in (3, 6, 9, 12, 15) else ''}" for day in range(19))
CURED_HEAP = "\n".join(f"{day} {warmth}" for day, warmth in ((25, 45), (35, 32), (50, 24), (80, 21)))
NEXT_LOOK = timedelta(minutes=31)  # when a call says no hour, or one that is past
PATIENCE_S = 120.0
LOOKS = 16
EVENING_H = 10
WARMTH = 20.0  # of the tea, by the same meter [degC]
ROUND_H = 1.75  # between two rounds with the hand meter: air that nobody watched for two hours lets no tea out


@dataclass
class Clock:
    """The clock of app and person."""

    now: datetime = MORNING

    def __call__(self) -> datetime:
        return self.now


@dataclass
class Person:
    """Somebody who wants to know whether molasses raises biomass, and hopes that four of the eight buckets will do."""

    browse: Browser
    clock: Clock
    world: World
    name: str = "Molasses or plain"
    plans: list[str] = field(default_factory=list)  # what the planner said, plan by plan
    sheet: str = ""  # the run sheet with its key
    buckets: dict[str, Tea] = field(default_factory=dict)  # by code
    recipes: dict[str, str] = field(default_factory=dict)  # by code, from the key of codes
    spent: int = 0  # tests made
    metered: dict[str, float] = field(default_factory=dict)  # to which hour the air was watched, by label
    typed: dict[tuple[str, str], list[float]] = field(default_factory=dict)  # what was written down, by code and kind
    calls: dict[str, list[str]] = field(default_factory=dict)  # what the call said, by code
    harvested_h: dict[str, float] = field(default_factory=dict)
    verdict: str = ""
    use: str = ""
    last: Tea | None = None  # the brew made for its own sake, and when it was harvested
    last_h: float = 0.0
    package: bytes = b""

    # -- before -----------------------------------------------------------------------------------------------------------

    def write_in(self) -> None:
        """Recipes, vessels and test, and where the compost comes from."""
        self.browse.open("/")
        self.browse.follow("Recipes and vessels")
        self._recipe("Plain", compost_name="Leaf mould", animal="no")
        self._recipe("With molasses", food_1="molasses", food_1_amount=f"{20 * MOLASSES_G_PER_L:g}", food_1_amount_unit="g")
        self.browse.press(
            "Add vessels",
            vessel_name="Bucket",
            how_many=str(BUCKETS),
            volume="20",
            volume_unit="L",
            depth="30",
            flow="12",
        )
        self.browse.press("Add the test", assay_name="Colour test", method="colour test", price="2,5")
        self.browse.open("/safety")
        self.browse.press("Choose", place="US")
        self.browse.open("/safety/compost/leaf-mould")
        self.browse.press("Keep", process="windrow", log=HOT_HEAP, ratio="30:1")
        assert "No curing after the hot time is logged" in self.browse.text()
        self.browse.press("Keep", log=f"{HOT_HEAP}\n{CURED_HEAP}")
        assert "US: shown to pass" in self.browse.text()

    def plan(self) -> None:
        """Ask too much of the budget, hear that it is too much and what would help most, and spend that."""
        self.browse.open("/trials")
        self.browse.follow("Plan a trial")
        hoped = {"vessels": str(HOPED_BUCKETS), "tests": str(HOPED_TESTS)}
        self._plan(margin="1,5", scatter="weekly batches", **hoped)
        self.browse.follow("Change the question or the budget")
        self._plan(margin="2", scatter="same-day bottles", **hoped)
        self.browse.follow("Change the question or the budget")
        self._plan(margin="2", scatter="same-day bottles", vessels=str(BUCKETS), tests=str(TESTS))
        self.browse.press("Write it down")
        self.browse.follow("With the key of codes")
        self.sheet = self._sheet()
        self.recipes = dict(re.findall(r"\b([A-Z]{2}\d) (plain|with-molasses) round-", self.sheet))

    def _plan(self, **asked: str) -> None:
        self.browse.press(
            "See what this can answer",
            name=self.name,
            arms=("plain", "with-molasses"),
            standard="plain",
            **asked,
        )
        self.plans.append(self.browse.text())

    def _recipe(self, name: str, **more: str) -> None:
        amounts = {
            "batch": "20",
            "batch_unit": "L",
            "compost_amount": "0,8",
            "compost_amount_unit": "kg",
            "water": "rain",
        }
        self.browse.press("Add the recipe", recipe_name=name, **{**amounts, **more})

    def _sheet(self) -> str:
        sheet = self.browse.text()
        self.browse.open("/trials")
        self.browse.follow(self.name)
        return sheet

    # -- brewing ----------------------------------------------------------------------------------------------------------

    def brew(self) -> None:
        """Turn the air on in each bucket when the sheet says."""
        self.clock.now += timedelta(days=1)
        for code in self.recipes:
            self.browse.take(code)
            self._trial()
            assert "Next to begin:" in self.browse.text()
            self.browse.press(f"Air is on in brew {code}")
            self.buckets[code] = self.world.brew(MOLASSES_G_PER_L if self.recipes[code] == "with-molasses" else 0.0)
            self.clock.now += timedelta(minutes=15)
        self.browse.take("")

    def rounds(self) -> None:
        """Go round with the hand meter until the sheet's hour, on paper: air that nobody watched lets no tea out."""
        self.clock.now = MORNING + timedelta(days=1, hours=EVENING_H)
        for code in sorted(self.recipes, key=self.recipes.__getitem__)[:: BUCKETS - 1]:
            # One bucket of each recipe, before the sheet's hour: the tests of the sheet are not to be spent early.
            assert not self._call(code).startswith("Test")
            assert "With molasses" not in self.browse.text(), "the recipe stands beside its code"
        self.clock.now = MORNING + timedelta(days=1, hours=23.9)
        self._watch(*self.buckets)

    def _watch(self, *codes: str) -> None:
        """Write down what the hand meter showed in these buckets since they were last written down."""
        self._log({code: (self.buckets[code], self._hours(code)) for code in codes}, self.name)

    def _log(self, seen: dict[str, tuple[Tea, float]], trial: str = "") -> None:
        """Type the paper of the rounds into a table, to the hours given and since the last, and take that in."""
        lines = ["brew,time_h,oxygen (mg/L),temperature (degC)"]
        for label, (tea, to_h) in seen.items():
            from_h = self.metered.get(label, 0.0)
            rounds = math.ceil((to_h - from_h) / ROUND_H)
            hours = [from_h + (to_h - from_h) * (place + 1) / rounds for place in range(rounds)]
            lines += [f"{label},{hour:.3f},{tea.air(hour):.1f},{WARMTH:.1f}" for hour in hours]
            self.metered[label] = to_h
        self.browse.open("/data")
        self.browse.press("Look at it", file=("rounds.csv", "\n".join(lines).encode(), "text/csv"))
        if trial:
            self.browse.press("Read it again as said above", trial=trial)
        self.browse.press("Take it in")

    def sheet_hour(self) -> None:
        """Make the tests of the run sheet, each bucket at its own hour."""
        first = MORNING + timedelta(days=2)
        for place, code in enumerate(self.buckets):
            self.clock.now = first + timedelta(minutes=15 * place)
            self.browse.take(code)
            self._trial()
            assert f"Test now: {code}" in self.browse.text(), self.browse.text()[:600]
            self.browse.follow(code)
            for role in re.findall(r"Record the (sample|killed control|blank)", self.browse.text()):
                self.browse.follow(f"Record the {role}")
                self._type(code, role)
            self._smell()
        self.browse.take("")
        self._watch(*self.buckets)

    def follow_calls_to_harvest(self) -> None:
        """Harvest when the call says so; else come back at the hour it names, for two days at most."""
        self.clock.now += timedelta(minutes=15)
        back = dict.fromkeys(self.buckets, self.clock.now)  # when to look at each bucket again
        while back:
            code = min(back, key=back.__getitem__)
            self.clock.now = max(self.clock.now, back[code])
            self.browse.take(code)
            if self._hours(code) - self.metered[code] > 0.5:
                self._watch(code)
            said = self._call(code)
            if said.startswith("Hold back"):
                self._smell()
                said = self._call(code)
            if said.startswith("Harvest now") or self._hours(code) > 44.0:
                self.browse.follow("Harvest")
                self.browse.press("Harvested", smell="earthy", volume="18", volume_unit="L")
                self.harvested_h[code] = self._hours(code)
                del back[code]
            else:
                back[code] = _moment(said, self.clock.now)
        self.clock.now += NEXT_LOOK
        self.browse.take("")

    def brew_for_the_beds(self) -> None:
        """The tests left over go into one brew more, whose call is followed to its harvest."""
        began = self.clock.now = self.clock.now + timedelta(days=1)
        self.browse.open("/")
        self.browse.follow("New brew")
        self.browse.press(
            "Start the clock",
            name="For the beds",
            tests=str(TESTS - self.spent),
            vessel="bucket-1",
            recipe="with-molasses",
        )
        self.last, address = self.world.brew(MOLASSES_G_PER_L), "/brews/for-the-beds"
        for _ in range(LOOKS):
            said = self._call("for the beds", address)
            hour = (self.clock.now - began) / timedelta(hours=1)
            if said.startswith("Harvest now"):
                break
            if said.startswith("Test now"):
                self.browse.follow("Record")
                self.browse.press("Keep", signal=self.world.test(self.last, hour, "sample"))
                self.spent += 1
            elif said.startswith("Hold back"):
                self._log({"for-the-beds": (self.last, hour)})
                self.browse.open(address)
                self._smell()
            else:
                self.clock.now = _moment(said, self.clock.now)
        else:
            raise AssertionError(f"the call never led to a harvest: {self.calls['for the beds']}\n{self.browse.text()[:2000]}")
        self.last_h = hour
        self.browse.follow("Harvest")
        self.browse.press("Harvested", smell="earthy", volume="19", volume_unit="L")

    def _call(self, code: str, address: str = "") -> str:
        """What the page of a brew says to do, once it has been worked out."""
        end = time.monotonic() + PATIENCE_S
        while True:
            if address:
                self.browse.open(address)
            else:
                self._trial()
                self.browse.follow(code)
            page = self.browse.text()
            if "Working out the call" not in page and "Looking again" not in page:
                break
            assert time.monotonic() < end, page[:800]
            time.sleep(0.3)
        said = re.search(r"(Harvest now|Hold back|Wait until|Test now|Test at|No call).*", page)
        assert said is not None and "No call" not in said[0], page[:800]
        self.calls.setdefault(code, []).append(said[0][:60])
        return said[0]

    def _smell(self) -> None:
        """Smell the tea of the brew on the page, and note it where the gates are."""
        self.browse.follow("Harvest")
        self.browse.follow("Gates")
        self.browse.press("Note the smell", smell="earthy")

    def _type(self, code: str, role: str) -> None:
        number = self.world.test(self.buckets[code], self._hours(code), role)
        self.browse.press("Keep", signal=number, role=role)
        self.typed.setdefault((code, role), []).append(float(number.replace(",", ".")))
        self.spent += 1

    def _hours(self, code: str) -> float:
        return (self.clock.now - MORNING - timedelta(days=1, minutes=15 * list(self.buckets).index(code))) / timedelta(hours=1)

    def _trial(self) -> None:
        self.browse.open("/trials")
        self.browse.follow(self.name)

    # -- afterwards -------------------------------------------------------------------------------------------------------

    def judge(self) -> None:
        """See the verdict."""
        self._trial()
        assert "Every brew is harvested" in self.browse.text()
        self.browse.press("Judge now")
        self.verdict = self.browse.text()

    def ask_where(self) -> None:
        """May the tea with molasses be poured between lettuce?"""
        self._trial()
        self.browse.follow(next(code for code, recipe in self.recipes.items() if recipe == "with-molasses"))
        self.browse.follow("May this tea go there?")
        asked = {"crop": "lettuce", "edible": "yes", "days": "20", "method": "drench", "made_of": ("plants", "manure")}
        self.browse.press("May it go there?", **asked)
        assert "Still asked for this use" in self.browse.text()
        nobody = dict.fromkeys(("smoked", "grazed", "people", "in_water", "organic", "soiled"), "no")
        known = {"seedling": "no", "raw": "yes", "there": "yes", "touches": "no", "soil": "yes", "in_soil": "no", "later": "yes"}
        self.browse.press("May it go there?", **asked, **nobody, **known)
        self.use = self.browse.text()

    def publish(self) -> tuple[bytes, bytes]:
        """The report and the data package, from the page of the verdict."""
        self.browse.open(f"/trials/{self.key}/verdict")
        report = self.browse.fetch("Report (PDF)")
        self.package = self.browse.fetch("Data to publish")
        return report, self.package

    def pool(self, package: bytes, site: str) -> str:
        """Take in what another garden found and weigh it with one's own."""
        self.browse.open(f"/trials/{self.key}/verdict")
        self.browse.follow("Weigh it with what others found")
        self.browse.press("Take in", file=(f"{site}.zip", package, "application/zip"), site=site)
        self.browse.follow("with molasses against plain")
        return self.browse.text()

    def check(self, package: bytes) -> str:
        """Compute another's report anew."""
        self.browse.open("/reports")
        self.browse.press("Compute and compare", file=("data.zip", package, "application/zip"))
        return self.browse.text()

    @property
    def key(self) -> str:
        """The trial's short name in addresses."""
        return re.sub(r"[^a-z0-9]+", "-", self.name.lower())


def _moment(said: str, now: datetime) -> datetime:
    """The hour that a call names, or half an hour from now if that is past."""
    found = re.match(r"(?:Wait until|Test at)\D*(\d\d):(\d\d)( tomorrow)?", said)
    if found is None:
        return now + NEXT_LOOK
    named = now.replace(hour=int(found[1]), minute=int(found[2])) + timedelta(days=1 if found[3] else 0)
    return named if named > now else now + NEXT_LOOK


def do_the_job(person: Person) -> None:
    """From the empty notebook to the verdict and the use."""
    person.write_in()
    person.plan()
    person.brew()
    person.rounds()
    person.sheet_hour()
    person.follow_calls_to_harvest()
    person.judge()
    person.ask_where()
