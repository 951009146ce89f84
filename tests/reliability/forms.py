"""Every form of the app, filled in as a person would over the invented yard."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from aerobe import usecases
from tests.web.conftest import BREW

TABLE = b"hours,oxygen [mg/L]\n1,8.5\n2,8.1\n3,7.9\n"
RATIOS = b"key,recipe,against,ratio,low,high\nshed-1,kelp,plain,1.4,1.1,1.8\nshed-2,kelp,plain,1.2,0.9,1.6\n"
# What a browser says of its notices; the two keys are those that RFC 8291 prints in section 5.
NOTICES = {
    "endpoint": "https://push.example.org/told",
    "keys": {
        "p256dh": "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4",
        "auth": "BTBZMqHH6r4Tts7J_aSIgg",
    },
}
PICTURE = b"\x89PNG\r\n\x1a\n" + b"0" * 50
RUN = "time [s], oxygen [mg/L]\n" + "\n".join(f"{5 * step},{9.0 - 8.5 * 0.965**step:.3f}" for step in range(90))
WISH = {
    "name": "Kelp or plain",
    "question": "two recipes",
    "arms": "plain, kelp",
    "money": "400",
    "vessels": "2",
    "days": "20",
    "days_per_round": "3",
    "scatter": "0.3",
    "sample_at": "24 h",
    "margin": "1.5",
    "seed": "1",
}
USE = {
    "brew": "kelp-1",
    "crop": "beans",
    "place": "bed 1",
    "edible": "yes",
    "touches": "no",
    "soil": "no",
    "days": "100",
    "method": "drench",
    "tea": "5",
    "tea_unit": "L",
    "water": "20",
    "water_unit": "L",
    "area": "4",
    "area_unit": "m2",
    "beds": "2",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """One form of the app, filled in. `writes`: something is kept that must then be there exactly once."""

    address: str
    fields: dict[str, str] = field(default_factory=dict)
    file: tuple[str, str, bytes] | None = None  # field, name, content; without content, the world has it
    body: dict[str, Any] | None = None  # sent as JSON in place of fields
    writes: bool = True
    queued: bool = False  # the page's own queue keeps it while the connection is away
    heavy: bool = False  # works for more than a second, by design


def forms() -> tuple[Form, ...]:
    """Every form; a test holds the list against the app's own addresses."""
    study = usecases.assay.example_study()
    brew = "/brews/kelp-5/readings"
    return (
        Form(
            address="/compare",
            fields={"first": "kelp", "second": "plain", "outcome": "biomass", "margin": "1.25"},
            writes=False,
            heavy=True,
        ),
        Form(address="/brews", fields=BREW),
        Form(
            address=brew,
            fields={"what": "assay:colour-test", "signal": "120,5", "dilution": "1:10", "when": "14:10"},
            queued=True,
            file=("photo", "s.png", PICTURE),
        ),
        Form(address=brew, fields={"what": "oxygen", "signal": "7,9", "signal_unit": "mg/L"}, queued=True),
        Form(address=brew, fields={"what": "temperature", "signal": "68", "signal_unit": "degF"}, queued=True),
        Form(address=brew, fields={"what": "pH", "signal": "7.1"}, queued=True),
        Form(address=brew, fields={"what": "conductivity", "signal": "1.2", "signal_unit": "mS/cm"}, queued=True),
        Form(address=brew, fields={"what": "smell", "signal": "earthy"}, queued=True),
        Form(
            address="/brews/kelp-1/readings/{standing}/correct",
            fields={"signal": "90", "when": "8.5 h", "why": "a nought too many"},
        ),
        Form(address="/brews/kelp-1/readings/{standing}/photo", file=("photo", "s.png", PICTURE), queued=True),
        Form(address="/brews/kelp-5/events", fields={"event": "water added", "amount": "1 L", "when": "1 h"}, queued=True),
        Form(
            address="/brews/kelp-5/harvest",
            queued=True,
            fields={"smell": "earthy", "volume": "15", "volume_unit": "L", "when": "", "notes": "clear"},
        ),
        Form(address="/data/import", file=("file", "log.csv", TABLE), writes=False),
        Form(address="/data/import/table", fields={"ticket": "", "brew": "kelp-5", "do": "take", "header": "hours"}),
        Form(address="/demo", writes=False),
        Form(
            address="/assay",
            fields={"table": study, "name": "Card", "method": "colour test", "price": "5", "assay": "colour-test"},
            heavy=True,
        ),
        Form(
            address="/assay/paper",
            fields={"table": study, "name": "Card", "method": "colour test"},
            writes=False,
            heavy=True,
        ),
        Form(
            address="/assay/count",
            writes=False,
            fields={"asked": "tubes", "amounts": "10 1 0.1", "tubes": "3 3 3", "positives": "3 1 0"},
        ),
        Form(
            address="/assay/count",
            fields={"asked": "plates", "plates": "0.01:120 0.001:14", "rule": "10-300"},
            writes=False,
        ),
        Form(address="/assay/count", fields={"asked": "fields", "counts": "12 15 9", "volume_ml": "0.0001"}, writes=False),
        Form(
            address="/assay/count",
            writes=False,
            fields={
                "asked": "ratio",
                "fungi": "12",
                "bacteria": "30",
                "fungi_sd": "2",
                "bacteria_sd": "3",
                "kind": "mass",
            },
        ),
        Form(address="/assay/compare", fields={"first": "1 2 3 4 5", "second": "1,1 2,2 2,9 4,2 5,1"}, writes=False),
        Form(
            address="/assay/tests",
            fields={"assay": "colour-test", "reading": "50", "expected": "40", "within": "20"},
            writes=False,
        ),
        Form(address="/safety/place", fields={"place": "EU"}),
        Form(address="/safety/own-rule", fields={"days": "14", "test": "no"}),
        Form(address="/safety/brews/kelp-5/germ", fields={"disease_germ": "Salmonella", "outcome": "not found"}),
        Form(address="/safety/brews/kelp-5/smell", fields={"smell": "earthy"}),
        Form(address="/safety/brews/kelp-5/air", fields={"unbroken": "yes"}),
        Form(
            address="/safety/brews/kelp-5/test",
            fields={"germ": "E. coli", "amounts": "10 1 0.1", "tubes": "3 3 3", "positives": "1 0 0"},
        ),
        Form(address="/safety/use", fields={**USE, "do": "keep"}),
        Form(
            address="/safety/compost/orchard-heap",
            fields={
                "process": "windrow",
                "log": "0 25\n3 61.5 turned\n5 60",
                "unit": "degC",
                "ratio": "30:1",
                "pieces": "20",
            },
        ),
        Form(address="/safety/water/plain", fields={"e_coli": "none", "brew": "kelp-5"}),
        Form(
            address="/oxygen/measure",
            fields={"run": RUN, "temperature": "20", "temperature_unit": "degC", "vessel": "bucket-a", "keep": "yes"},
        ),
        Form(
            address="/oxygen/probe",
            writes=False,
            fields={
                "temperature": "20",
                "temperature_unit": "degC",
                "reading": "8.9",
                "reading_unit": "mg/L",
                "zero": "0.1",
                "zero_unit": "mg/L",
            },
        ),
        Form(
            address="/oxygen/size",
            writes=False,
            fields={
                "volume": "60",
                "volume_unit": "L",
                "depth": "60",
                "depth_unit": "cm",
                "need": "20",
                "need_unit": "/h",
            },
        ),
        Form(address="/trials/plan", fields=WISH, writes=False, heavy=True),
        Form(address="/trials", fields=WISH, heavy=True),
        Form(address="/trials/kelp-question/judge", heavy=True),
        Form(address="/trials/join", file=("file", "kelp.protocol.json", b""), writes=False),
        Form(
            address="/trials/join/begin",
            fields={"ticket": "", "compost": "orchard-heap", "vessels": "bucket-a, bucket-b, bucket-c, bucket-d"},
        ),
        Form(address="/trials/kelp-question/protocol", fields={"form": "json"}, writes=False),
        Form(
            address="/trials/kelp-question/site",
            fields={"site": "river"},
            file=("file", "far.zip", b"PK\x03\x04 none"),
            writes=False,
        ),
        Form(
            address="/shelf/recipes",
            fields={
                "recipe_name": "With kelp meal",
                "compost": "(new)",
                "compost_name": "Bin",
                "animal": "no",
                "compost_amount": "1",
                "compost_amount_unit": "kg",
                "batch": "20",
                "batch_unit": "L",
                "food_1": "molasses",
                "food_1_amount": "20",
                "food_1_amount_unit": "g",
            },
        ),
        Form(
            address="/shelf/vessels",
            fields={
                "vessel_name": "Bucket",
                "how_many": "2",
                "volume": "20",
                "volume_unit": "L",
                "depth": "30",
                "depth_unit": "cm",
                "flow": "10",
                "flow_unit": "L/min",
                "diffuser": "coarse bubble",
                "altitude": "0",
                "altitude_unit": "m",
            },
        ),
        Form(
            address="/shelf/tests",
            fields={"assay_name": "Plates", "method": "plate count", "assay_unit": "ug C/mL", "price": "5"},
        ),
        Form(address="/evidence", fields={"site": "north"}, file=("file", "papers.csv", RATIOS), heavy=True),
        Form(address="/reports/check", file=("file", "report.zip", b"PK\x03\x04 none"), writes=False),
        Form(address="/settings/senders", fields={"sender_name": "DO 1", "place": "bucket-a"}),
        Form(address="/settings/senders/remove", fields={"sender": ""}),
        Form(
            address="/settings/broker",
            fields={"host": "192.0.2.20", "port": "1883", "topics": "shed/do | bucket-a | oxygen | mg/L"},
        ),
        Form(address="/settings/alarms", fields={"quiet_from": "22:00", "quiet_to": "6:00", "mail_port": "587"}),
        Form(address="/settings/units", fields={"units_currency": "USD"}),
        Form(address="/notices/trial", writes=False),
        Form(address="/notices", body=NOTICES),
        Form(address="/notices/end", body={"endpoint": NOTICES["endpoint"]}),
        Form(address="/settings/look", fields={"look": "dark"}, writes=False),
        Form(address="/settings/devices/offer", writes=False),
        Form(address="/settings/devices/role", fields={"device": "", "role": "viewer"}),
        Form(address="/settings/devices/remove", fields={"device": ""}),
        Form(address="/pair", fields={"code": "", "name": "phone"}),
        Form(address="/trials/{drawn}/begin", fields={"code": ""}),
        Form(address="/shelf/recipes/kelp/edit", fields={"name": "Kelp, put right", "why": "a slip"}),
        Form(address="/shelf/recipes/kelp/copy"),
        Form(address="/shelf/vessels/bucket-a/away"),
        Form(address="/shelf/vessels/bucket-a/away", fields={"back": "yes"}),
        Form(address="/brews/kelp-5/edit", fields={"name": "The third", "why": "a slip"}),
        Form(address="/brews/kelp-1/away"),
        Form(address="/brews/kelp-1/away", fields={"back": "yes"}),
        Form(address="/brews/kelp-5/test", fields={"assay": "colour-test", "tests": "2"}),
        Form(address="/brews/kelp-1/readings/{standing}/take-back"),
        Form(address="/data/export", writes=False),
        Form(address="/alarms/seen", fields={"mark": "kelp-5", "back": "/"}, writes=False),
        Form(address="/practise", fields={"how": "draw"}, writes=False),
        Form(address="/practise/{practice}/wait", fields={"until_h": "3"}, writes=False),
        Form(address="/practise/{practice}/test", fields={"at_h": "3"}, writes=False),
        Form(address="/blind/readings", fields={"code": "", "assay": "colour-test", "signal": "120,5"}),
    )
