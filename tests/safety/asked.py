"""An invented garden whose teas are asked about as a person would: compost, foods and water by name, answers as typed.

A row of the table names a compost, what went in beside it, what happened to the brew, and what was answered of the place.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from aerobe import usecases
from aerobe.notebook import Notebook
from aerobe.records import AirSupply, Brew, Compost, FoodDose, Harvest, HeatLog, Recipe, SensorLog, Vessel

START = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
NOW = START + timedelta(hours=24)
HOT = HeatLog(
    days=tuple(map(float, range(20))), temperatures_degc=(62.0,) * 19 + (30.0,), turned_on_days=(2.0, 5.0, 8.0, 11.0, 14.0)
)
COLD = HeatLog(days=tuple(map(float, range(20))), temperatures_degc=(38.0,) * 20)
DEGF = HeatLog(days=tuple(map(float, range(20))), temperatures_degc=(104.0,) * 19 + (30.0,), turned_on_days=HOT.turned_on_days)
# compost: process, heat log, what it was made of, certificate, soiled again, origin in words, animal material said
COMPOSTS: dict[str, tuple[str, HeatLog | None, str, str, str, str, bool | None]] = {
    "plants": ("windrow", None, "plants", "", "no", "leaves", False),
    "hot": ("windrow", HOT, "manure, plants", "", "no", "horse manure and straw", True),
    "hot-a": ("windrow", HOT, "manure, plants", "112.55(a)", "no", "", True),
    "hot-manure": ("windrow", HOT, "manure", "", "no", "", True),
    "hot-waste": ("windrow", HOT, "food waste, plants", "", "no", "", True),
    "hot-fish": ("windrow", HOT, "fish or animal, plants", "", "no", "", True),
    "soiled": ("windrow", HOT, "manure, plants", "", "yes", "", True),
    "soiled-unanswered": ("windrow", HOT, "manure, plants", "", "", "", True),
    "raw": ("windrow", COLD, "manure", "", "no", "", True),
    "raw-waste": ("windrow", COLD, "food waste, plants", "", "no", "", True),
    "cold-certified": ("windrow", COLD, "manure", "112.55(a)", "no", "", True),
    "degf": ("windrow", DEGF, "manure, plants", "", "no", "", True),
    "worm": ("worm", None, "manure, plants", "", "no", "", True),
    "worm-plants": ("worm", None, "plants", "", "no", "kitchen greens", None),
    "said-plants-but-animal": ("windrow", None, "plants", "", "no", "", True),
    "said-plants-but-dung": ("windrow", None, "plants", "", "no", "leaves with chicken litter", None),
    "leachate": ("windrow", COLD, "manure", "", "no", "leachate from a manure store", True),
    "bag": ("unknown", None, "", "", "", "", None),
    "sludge-a": ("windrow", HOT, "sewage sludge, plants", "class A", "no", "", True),
    "sludge-b": ("windrow", HOT, "sewage sludge, plants", "class B", "no", "", True),
    "sludge": ("windrow", HOT, "sewage sludge, plants", "", "no", "", True),
    "human": ("windrow", HOT, "human waste, plants", "", "no", "", True),
}
NOBODY = "seedling=no; smoked=no; grazed=no; people=no; organic=no; in_water=no; garden=no"
EATEN = f"{NOBODY}; edible=yes; there=yes"
NOT_EATEN = f"{NOBODY}; edible=no"
PLACES = {
    "lettuce": f"{EATEN}; crop=lettuce; raw=yes; soil=yes; in_soil=no; later=yes",
    "carrots": f"{EATEN}; crop=carrots; raw=yes; soil=yes; in_soil=yes; later=yes",
    "tomatoes": f"{EATEN}; crop=tomatoes; raw=yes; soil=no; in_soil=no; later=no",
    "apples": f"{EATEN}; crop=apples; raw=yes; soil=no; in_soil=no; later=yes",
    "kale": f"{EATEN}; crop=kale; raw=no; soil=no; in_soil=no; later=yes",
    "potatoes": f"{EATEN}; crop=potatoes; raw=no; listed=yes; soil=yes; in_soil=yes; later=yes",
    "roses": f"{NOT_EATEN}; crop=roses",
    "pasture": f"{NOT_EATEN}; crop=pasture; grazed=yes; pigs=no",
    "lawn": f"{NOT_EATEN}; crop=lawn; people=yes; weak=no",
    "hops": f"{NOT_EATEN}; crop=hops; smoked=yes; there=yes; soil=no; in_soil=no; later=no",
    "nothing said": "",
}
MIST = (
    "method=foliar spray; wind=2; inversion=no; coarse=yes; water_clear=yes; neighbours_clear=yes; people_away=yes; "
    "animals_away=yes; mask=yes; clear=12"
)
WAYS = {
    "pour": "method=watering can; touches=no",
    "spray": f"{MIST}; spray_place=outdoors; touches=yes",
    "spray beside": f"{MIST}; spray_place=outdoors; touches=no",
    "glass": f"{MIST}; spray_place=greenhouse; aired=yes; touches=yes",
    "": "",
}
KNOWN = {field.name for field in fields(usecases.safety.UseEntry)}


@dataclass(frozen=True)
class Asked:
    """One row: a tea, a place, and what the rule says of it."""

    id: str
    place: str
    tea: str
    answers: str
    wanted: str  # may or hold
    decides: str  # the paragraph, or the reason, that decides


def rows(file: str = "asked_uses.csv") -> list[Asked]:
    """The table beside this file."""
    with (Path(__file__).parent / file).open(encoding="utf-8", newline="") as text:
        return [Asked(**row) for row in csv.DictReader(text)]


def furnish(book: Notebook) -> None:
    """The vessel."""
    book.add(Vessel(key="bin", name="Bin", volume_l=20.0, depth_m=0.3, air=AirSupply(flow_l_per_min=10.0)), at=START)


def _heap(book: Notebook, kind: str, key: str) -> str:
    """A heap of the row's own: what is found in one tea of it is found in the others."""
    process, heat, made_of, certificate, soiled, origin, animal = COMPOSTS[kind]
    record = Compost(
        key=key, name="Heap", process=process, heat=heat, carbon_to_nitrogen=30.0, origin=origin, animal_origin=animal
    )
    book.add(record, at=START)
    usecases.safety.note_pieces(book, key, 50.0, now=START)
    if made_of or certificate or soiled:
        usecases.safety.note_material(book, key, made_of=made_of, certificate=certificate, soiled=soiled, now=START)
    return key


def make_tea(book: Notebook, key: str, tea: str) -> datetime:
    """Brew what a row describes, and give the moment at which it is asked about."""
    what, *happened = [part.strip() for part in tea.split(";")]
    compost, food, water = (*what.split("/"), "", "")[:3]
    compost = _heap(book, compost, f"{key}-heap")
    doses = tuple(FoodDose(food=name, g_per_l=1.0) for name in food.split("+") if name)
    book.add(
        Recipe(key=key, name=key, compost=compost, compost_g_per_l=50.0, water=water or "tap, dechlorinated", foods=doses),
        at=START,
    )
    book.add(Brew(key=key, name=key, recipe=key, vessel="bin", started_at=START), at=START)
    course: dict[float, float] = {}
    warmth, smell, asked = 21.0, "earthy", NOW
    later = []
    for part in happened:
        word, *rest = part.split(" ", 1)
        said = rest[0] if rest else ""
        if word == "oxygen":  # "4-9=0.1": hours and value
            span, value = said.split("=")
            first, last = map(float, span.split("-"))
            course |= {0.5 * step: float(value) for step in range(49) if first <= 0.5 * step <= last}
        elif word == "warmth":
            warmth = float(said)
        elif word == "smell":
            smell = said
        elif word == "after":
            asked = NOW + timedelta(hours=float(said))
        else:
            later.append((word, said))
    times = tuple(0.5 * step for step in range(49))
    values = tuple(course.get(at, 6.5 + 0.1 * (round(at * 2) % 3)) for at in times)
    book.append_log(SensorLog(brew=key, channel="oxygen", elapsed_h=times, values=values), at=NOW)
    book.append_log(SensorLog(brew=key, channel="temperature", elapsed_h=times, values=(warmth,) * 49), at=NOW)
    outlook = {"floor_mg_per_l": 2.0, "probability_below": 0.02, "holding_time_low_h": 0.5}
    book.keep("advice", key, {"oxygen": outlook}, at=NOW)
    if smell:
        usecases.safety.note_smell(book, key, smell, now=NOW)
    for word, said in later:
        _happened(book, key, word, said)
    return asked


def _happened(book: Notebook, key: str, word: str, said: str) -> None:
    if word == "test":  # "pass 3" or "fails 3": E. coli, and when it was entered
        outcome, hour = said.split()
        amounts = (1.0, 0.1, 0.01) if outcome == "unsharp" else (100.0, 10.0, 1.0)
        positives = {"pass": (0, 0, 0), "fails": (5, 5, 5), "unsharp": (2, 0, 0)}[outcome]
        test = usecases.safety.IndicatorTest(brew=key, germ="E. coli", amounts_ml=amounts, tubes=(5, 5, 5), positives=positives)
        usecases.safety.note_indicator_test(book, test, now=START + timedelta(hours=float(hour)))
    elif word == "germ":
        name, outcome = said.rsplit(":", 1)
        usecases.safety.note_germ(book, key, name, outcome, now=NOW)
    elif word == "sister":  # the same finding in another tea of the same compost
        record = book.get(Brew, key)
        book.add(replace(record, key=f"{key}-sister", name=f"{key}-sister"), at=START)
        name, outcome = said.rsplit(":", 1)
        usecases.safety.note_germ(book, f"{key}-sister", name, outcome, now=NOW)
    elif word == "water":
        usecases.safety.note_water_test(book, key, e_coli_found=said == "found", now=START)
    elif word == "harvest":
        book.add(Harvest(brew=key, elapsed_h=float(said), smell="earthy"), at=NOW)
    elif word == "event":  # "food molasses 1 g/L @ 3" or "air off @ 10"
        what, hour = said.rsplit("@", 1)
        name = next(known for known in ("air off", "air on", "food") if what.startswith(known))
        more = what.removeprefix(name).strip()
        food, _, amount = more.partition(" ")
        entry = usecases.brews.EventEntry(what=name, food=food, amount=amount, when=f"{float(hour):g} h")
        usecases.brews.note_event(book, key, entry, now=NOW)
    else:
        raise AssertionError(word)


def entry_of(row: Asked, brew: str) -> usecases.safety.UseEntry:
    """The answers of a row: a place and a way of the lists above, then what the row says itself."""
    named, way, *own = [part.strip() for part in row.answers.split("|")]
    typed: dict[str, str] = {}
    for text in (PLACES[named], WAYS[way], *own):
        for part in filter(None, (item.strip() for item in text.split(";"))):
            name, _, value = part.partition("=")
            assert name in KNOWN, name
            typed[name] = value
    return usecases.safety.UseEntry(brew=brew, **typed)


def answer(book: Notebook, row: Asked) -> usecases.safety.UseAnswer:
    """What the tool says of a row."""
    book.set_setting("safety place", row.place, at=START)
    asked = make_tea(book, row.id, row.tea)
    return usecases.safety.ask_use(book, entry_of(row, row.id), now=asked)
