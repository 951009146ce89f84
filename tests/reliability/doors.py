"""The readers behind the app's addresses, to be fed with rubbish as a stranger would."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode

from aerobe import usecases
from aerobe.errors import ImportFault
from aerobe.web._senders import add_sender
from tests.reliability.forms import USE, WISH, Form, forms
from tests.reliability.fuzz import WORDS, Broken, Parser, spoil_bytes, spoil_plain, spoil_text
from tests.reliability.world import World, fits

ANSWERS = {200, 303, 400, 403, 404, 405, 413, 422}
QUERIES: dict[str, dict[str, str]] = {
    "/brews/kelp-5/record": {"what": "oxygen", "replicate": "2"},
    "/oxygen": {"food": "molasses", "volume": "20 L", "dose": "1", "others": "kelp-meal 0.5 g/L", "vessel": "bucket-a"},
    "/parts/oxygen/answer": {"dose": "1", "air": "0.5", "temperature": "20", "kla": "20 /h"},
    "/compare": {"first": "kelp", "second": "plain", "outcome": "biomass", "margin": "1.25"},
    "/trials/kelp-question/verdict": {"outcome": "biomass"},
    "/safety/gear": {"water": "20", "chlorine": "2", "chloramine": "no", "bath": "10", "bleach": "5"},
    "/safety/use": {"brew": "kelp-5"},
    "/safety/tables": {"place": "Germany"},
    "/evidence/weigh": {"recipe": "kelp", "against": "plain", "outcome": "biomass"},
    "/pair": {"code": "ABCD-EFGH"},
    "/data/export": {"trial": "kelp-question"},  # the drawn one is blind once it has begun, and stays here
    "/api/assay/tubes": {"amounts": "10 1 0.1", "tubes": "3 3 3", "positives": "3 1 0", "level": "0.95"},
    "/api/assay/plates": {"plates": "0.01:120 0.001:14", "lowest": "10", "highest": "300"},
    "/parts/oxygen/brews/kelp-5/feed": {"food": "molasses"},
}
# The yard is there already, the packages are none, and no device is told yet.
REFUSED = ("/demo", "/reports/check", "/trials/kelp-question/site", "/notices/trial")
NOT_TOLD = ("/compare", "/trials/kelp-question/verdict")  # by its address alone nothing is told that nobody asked for
SLOW_QUERIES = ("/oxygen", "/parts/oxygen", "/compare", "/trials", "/evidence")
BODIES: dict[str, dict[str, Any]] = {
    "/api/safety/use": {name: value for name, value in USE.items() if not name.endswith("_unit")}
    | {"tea": "5 L", "water": "20 L", "area": "4 m2"},
    "/api/trials/plan": dict(WISH),
    "/api/assay/certificate": {"table": usecases.assay.example_study(), "name": "Card", "method": "colour test"},
}


def web_parsers(world: World) -> Iterator[Parser]:
    """Every form, every page with a question in its address, and every address for programs."""
    for number, form in enumerate(forms()):
        name = f"form {form.address} {form.fields.get('what') or form.fields.get('asked') or ''}".strip()
        yield Parser(
            name=f"{name} #{number}",
            samples=[form],
            samples_are_taken=form.address not in REFUSED,
            spoil=_spoil_form,
            read=lambda given: _usable(world.send(given)),
            slow_s=20.0 if form.heavy else 1.0,
            quick=0 if form.heavy else 3,
            long=300 if not form.heavy else 30,
        )
    for address, asked in QUERIES.items():
        yield Parser(
            name=f"page {address}",
            samples=[asked],
            samples_are_taken=address not in NOT_TOLD,
            spoil=_spoil_asked,
            quick=0 if address.startswith(SLOW_QUERIES) else 3,
            long=60 if address.startswith(SLOW_QUERIES) else 500,
            slow_s=20.0 if address.startswith(SLOW_QUERIES) else 1.0,
            read=lambda given, address=address: _usable(world.client.get(f"{address}?{_query(given)}")),
        )
    yield Parser(
        name="addresses",
        quick=40,
        long=2000,
        read=lambda given: _usable(world.client.get(given)),
        spoil=_spoil_address,
        samples=[
            "/brews/kelp-5",
            "/brews/kelp-1/readings/kelp-1-0.5h-sample-1",
            "/reports/brew/kelp-1.html",
            "/trials/drawn/sheet",
            "/safety/brews/kelp-5",
            "/oxygen/brews/kelp-5",
            "/trials/drawn/calendar.ics",
        ],
    )
    for address, body in BODIES.items():
        yield Parser(
            name=f"JSON {address}",
            samples=[body],
            spoil=spoil_plain,
            quick=0,
            long=100,
            slow_s=20.0,
            read=lambda given, address=address: _usable(_post_json(world, address, json.dumps(given).encode())),
        )
    token = add_sender(world.state, name="DO 1", place="kelp-5", now=world.clock())
    told = json.dumps({"channel": "oxygen", "unit": "mg/L", "points": [["2026-05-01T08:00+02:00", 7.9]]}).encode()
    yield Parser(
        name="values posted by a probe",
        samples=[told, b"7.9"],
        spoil=spoil_bytes,
        quick=40,
        long=2000,
        read=lambda body: _usable(
            world.client.post("/log/points?channel=oxygen&unit=mg/L", content=body, headers={"authorization": f"Bearer {token}"})
        ),
    )
    yield Parser(
        name="bodies of forms",
        samples=[_multipart()],
        spoil=spoil_bytes,
        quick=40,
        long=2000,
        read=lambda body: _usable(_post_raw(world, body)),
    )
    yield Parser(
        name="headers",
        samples=[_HEADERS],
        spoil=_spoil_headers,
        quick=40,
        long=2000,
        read=lambda headers: _usable(world.client.get("/menu", headers=_raw(headers)), {421, 429}),
    )


def covers(addresses: set[str]) -> set[str]:
    """The addresses that take a post and are not tried here."""
    tried = {form.address.format(drawn="drawn", standing="r", practice="p") for form in forms()} | {*BODIES, "/log/points"}
    return {pattern for pattern in addresses if not any(fits(address, pattern) for address in tried)}


def _usable(answer: Any, also: set[int] = frozenset()) -> Any:  # type: ignore[assignment]
    """Refusals are refusals; a fault of ours is one."""
    if answer.status_code not in ANSWERS | also:
        raise Broken(f"status {answer.status_code}")
    if answer.status_code in (200, 303):
        return answer
    if answer.status_code != 422:
        raise ImportFault("Refused.", "There is no such thing here, or it is not let in.")
    if "json" in answer.headers.get("content-type", ""):
        told = answer.json()
        if not (told.get("problem") and told.get("remedy")):
            raise Broken("a refusal without a remedy")
    elif 'role="alert"' not in answer.text:
        raise Broken("a refusal that says nothing")
    raise ImportFault("Refused.", "As it should be.")


def _spoil_form(rng: random.Random, form: Form) -> Form:
    names = sorted(form.fields) or ["what"]
    fields = dict(form.fields)
    for name in rng.sample(names, k=min(len(names), rng.choice((1, 1, 2, 3)))):
        fields[name] = _no_halves(spoil_text(rng, fields.get(name, "")))
    if rng.random() < 0.1:
        fields.pop(rng.choice(names), None)
    if rng.random() < 0.1:
        fields[rng.choice(("when", "age_s", "again", "replicate", "role", "notes"))] = _no_halves(rng.choice(WORDS))
    file = form.file and (form.file[0], _no_halves(spoil_text(rng, form.file[1]))[:200], spoil_bytes(rng, form.file[2]))
    body = form.body and spoil_plain(rng, form.body)
    return Form(address=form.address, fields=_with_needed(form, fields), file=file, body=body, heavy=form.heavy)


def _with_needed(form: Form, fields: dict[str, str]) -> dict[str, str]:
    """What the world fills in itself must be there for it to look at."""
    needed = [name for name in ("ticket", "sender", "device", "code") if name in form.fields and not form.fields[name]]
    return {**dict.fromkeys(needed, ""), **fields}


def _no_halves(text: str) -> str:
    """A browser sends no half characters."""
    return text.encode("utf-8", errors="replace").decode()


def _spoil_asked(rng: random.Random, asked: dict[str, str]) -> dict[str, str]:
    made = dict(asked)
    for name in rng.sample(sorted(made), k=min(len(made), rng.choice((1, 1, 2)))):
        made[name] = _no_halves(spoil_text(rng, made[name]))[:3000]
    return made


def _query(asked: dict[str, str]) -> str:
    return urlencode(asked)


def _spoil_address(rng: random.Random, address: str) -> str:
    from urllib.parse import quote

    parts = address.split("/")
    place = rng.randrange(1, len(parts))
    parts[place] = quote(_no_halves(spoil_text(rng, parts[place]))[:300], safe="")
    return "/".join(parts)


def _post_json(world: World, address: str, body: bytes) -> Any:
    headers = {"x-aerobe-form": world.token, "content-type": "application/json"}
    return world.client.post(address, content=body, headers=headers)


def _multipart() -> bytes:
    parts = [
        f'--xyz\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
        for name, value in (("what", "oxygen"), ("signal", "7,9"), ("signal_unit", "mg/L"))
    ]
    return ("".join(parts) + "--xyz--\r\n").encode()


def _post_raw(world: World, body: bytes) -> Any:
    headers = {"x-aerobe-form": world.token, "content-type": "multipart/form-data; boundary=xyz"}
    return world.client.post("/brews/kelp-5/readings", content=body, headers=headers, follow_redirects=False)


_HEADERS = {"host": "localhost", "cookie": "aerobe_session=" + "a" * 43, "content-length": "0", "accept": "text/html"}


def _raw(headers: dict[str, str]) -> list[tuple[bytes, bytes]]:
    """As they go over the wire: a stranger's need not be ASCII."""
    return [(name.encode(), value.encode("latin-1")) for name, value in headers.items()]


def _spoil_headers(rng: random.Random, headers: dict[str, str]) -> dict[str, str]:
    name = rng.choice([name for name in headers if name != "content-length"])
    spoiled = spoil_text(rng, headers[name])[:2000].encode("latin-1", errors="replace").decode("latin-1")
    return {**headers, name: "".join(letter for letter in spoiled if letter.isprintable())}
