"""The whole job, done by a person: plan, brew, test, follow the call, harvest, judge, ask where the tea may go, publish."""

from __future__ import annotations

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
METER_H = (*range(2, 24, 2), 23.9)  # hours at which the oxygen is read by hand: no gap is longer than two


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
            self._trial()
            assert "Next to begin:" in self.browse.text()
            self.browse.press(f"Air is on in brew {code}")
            self.buckets[code] = self.world.brew(MOLASSES_G_PER_L if self.recipes[code] == "with-molasses" else 0.0)
            self.clock.now += timedelta(minutes=15)

    def rounds(self) -> None:
        """Go round with the hand meter until the sheet's hour: air that nobody watched lets no tea out."""
        for hour in METER_H:
            self.clock.now = MORNING + timedelta(days=1, hours=hour)
            if hour == EVENING_H:
                self._evening()
            for code in self.buckets:
                self._trial()
                self.browse.follow(code)
                self._meter(self.buckets[code], self._hours(code))

    def _evening(self) -> None:
        """Look at every bucket once before the sheet's hour: the tests of the sheet are not to be spent early."""
        for code in self.buckets:
            assert not self._call(code).startswith("Test")
            assert "With molasses" not in self.browse.text(), "the recipe stands beside its code"

    def sheet_hour(self) -> None:
        """Make the tests of the run sheet, each bucket at its own hour."""
        first = MORNING + timedelta(days=2)
        for place, code in enumerate(self.buckets):
            self.clock.now = first + timedelta(minutes=15 * place)
            self._trial()
            assert f"Test now: {code}" in self.browse.text(), self.browse.text()[:600]
            self.browse.follow(code)
            for role in re.findall(r"Record the (sample|killed control|blank)", self.browse.text()):
                self.browse.follow(f"Record the {role}")
                self._type(code, role)
            self._settle(self.buckets[code], self._hours(code))

    def follow_calls_to_harvest(self) -> None:
        """Harvest when the call says so; else come back at the hour it names, for two days at most."""
        self.clock.now += timedelta(minutes=15)
        back = dict.fromkeys(self.buckets, self.clock.now)  # when to look at each bucket again
        while back:
            code = min(back, key=back.__getitem__)
            self.clock.now = max(self.clock.now, back[code])
            said = self._call(code)
            if said.startswith("Hold back"):
                self._settle(self.buckets[code], self._hours(code))
                said = self._call(code)
            if said.startswith("Harvest now") or self._hours(code) > 44.0:
                self.browse.follow("Harvest")
                self.browse.press("Harvested", smell="earthy", volume="18", volume_unit="L")
                self.harvested_h[code] = self._hours(code)
                del back[code]
            else:
                back[code] = _moment(said, self.clock.now)
        self.clock.now += NEXT_LOOK

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
                self._settle(self.last, hour)
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

    def _settle(self, tea: Tea, hour: float) -> None:
        """What a harvest waits for: oxygen by a hand meter, and the smell."""
        self._meter(tea, hour)
        self.browse.follow("Note the smell")
        self.browse.press("Note the smell", smell="earthy")

    def _meter(self, tea: Tea, hour: float) -> None:
        self.browse.follow("Record")
        self.browse.follow("Oxygen")
        self.browse.press("Keep", signal=f"{tea.air(hour):.1f}".replace(".", ","), signal_unit="mg/L")

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
        """May the tea go to the roots of a young orchard? And to lettuce?"""
        self._trial()
        self.browse.follow(next(iter(self.buckets)))
        self.browse.follow("May this tea go there?")
        asked = {"crop": "lettuce", "edible": "yes", "days": "20", "method": "drench"}
        self.browse.press("May it go there?", **asked)
        assert "Still asked for this use" in self.browse.text()
        self.browse.press("May it go there?", touches="yes", soil="yes", **asked)
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
