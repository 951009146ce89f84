"""An app over the invented yard, its clock, and what lies around it."""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient

from aerobe import usecases
from aerobe.web import ServeSettings, create_app, open_state
from tests.calls import no_call
from tests.reliability.forms import RATIOS, TABLE, WISH, Form
from tests.web.conftest import START, Clock, form_token


@cache
def yard() -> Path:
    """The invented yard in a file, made once; never written to again."""
    path = Path(tempfile.mkdtemp(prefix="aerobe-yard-")) / "yard.notebook"
    with usecases.notebook.open_notebook(path, at=START) as book:
        usecases.notebook.make_demo(book, now=START)
        wish = usecases.trials.TrialWish.from_form({**WISH, "name": "Drawn"})
        usecases.trials.start_trial(book, wish, now=START)
        usecases.evidence.take_evidence(book, RATIOS.replace(b"shed", b"paper"), "papers.csv", now=START)
    return path


@cache
def protocol() -> bytes:
    """The file of a trial that somebody elsewhere sent, made once."""
    path = yard().with_name("elsewhere.notebook")
    shutil.copy(yard(), path)
    with usecases.notebook.open_notebook(path, at=START) as book:
        return usecases.exchange.protocol_as_file(usecases.exchange.protocol_of_trial(book, "kelp-question", now=START))


@dataclass
class World:
    """An app, its client, its clock, and what lies around it."""

    app: Any
    client: TestClient
    clock: Clock
    notebook: Any
    state: Any
    folder: Path
    token: str = ""
    number: int = 0

    def send(self, form: Form, *, entry: str = "", json_answer: bool = False, **other: Any) -> Any:
        """Post a form as its page would; an `entry` given twice is the same form sent again."""
        self.number += 1
        entry = entry or f"entry-{self.number}"  # before what is still to be sent for this form has a number of its own
        fields = {
            **self.settled(form).fields,
            "form_token": self.token,
            "entry": entry,
            **other,
        }
        headers = {"x-aerobe-form": self.token, **({"accept": "application/json"} if json_answer else {})}
        settled = self.settled(form)
        if form.body is not None:
            # As any program may write it: not a number, endless, half a character.
            headers["content-type"] = "application/json"
            body = json.dumps(form.body).encode()
            return self.client.post(settled.address, content=body, headers=headers, follow_redirects=False)
        files = {settled.file[0]: settled.file[1:]} if settled.file else None
        return self.client.post(settled.address, data=fields, files=files, headers=headers, follow_redirects=False)

    def settled(self, form: Form) -> Form:
        """The form with what only this world knows: a ticket, a code, a key."""
        fields, address, file = dict(form.fields), form.address, form.file
        if not address.endswith("/away"):
            # Forms are tried in any order: what one of them put away is back before another needs it.
            for noun, key in sorted(usecases.brews.put_away(self.notebook)):
                usecases.brews.put_away_or_back(self.notebook, noun, key, away=False, now=self.clock())
        if form.address == "/trials/join" and file and not file[2]:
            file = (*file[:2], protocol())
        if form.address == "/trials/join/begin" and not fields["ticket"]:
            fields["ticket"] = self.app.state.uploads.put("kelp.protocol.json", protocol())
        if form.address == "/data/import/table" and not fields["ticket"]:
            fields["ticket"] = self.app.state.uploads.put("log.csv", TABLE)
        if form.address == "/settings/senders/remove" and not fields["sender"]:
            fields["sender"] = self._sender()
        if form.address.startswith("/settings/devices/") and fields.get("device") == "":
            fields["device"] = self._device()
        if form.address == "/blind/readings" and not fields["code"]:
            fields["code"] = self._blind_code()
        if form.address == "/pair" and not fields["code"]:
            fields["code"] = self.app.state.pairing.offer().code
        if "{standing}" in address:
            address = address.format(standing=self.notebook.readings("kelp-1")[0].key)  # one that was not corrected yet
        if "{practice}" in address:
            shelf = self.app.state.practising.shelf
            running = usecases.practice.running_practice(shelf)
            made = running[0] if running else usecases.practice.begin_practice(shelf, seed=3)
            address = address.format(practice=made.key)
        if "{drawn}" in address:
            waiting = usecases.trials.trial_view(self.notebook, "Drawn".lower()).waiting
            fields["code"] = fields["code"] or (waiting[0].blind_code if waiting else "none left")
            address = address.format(drawn="drawn")
        return replace(form, address=address, fields=fields, file=file)

    def _sender(self) -> str:
        from aerobe.web._senders import add_sender, senders

        add_sender(self.state, name="old", place="bucket-a", now=self.clock())
        return str(senders(self.state)[-1]["id"])

    def _device(self) -> str:
        pairing = self.app.state.pairing
        pairing.accept(pairing.offer().code, "old")
        return str(pairing.devices()[-1]["id"])

    def _blind_code(self) -> str:
        """A code under which a brew runs."""
        if not usecases.brews.codes_to_read(self.notebook):
            self.send(Form(address="/trials/{drawn}/begin", fields={"code": ""}))
        return usecases.brews.codes_to_read(self.notebook)[0]

    def holds(self) -> dict[str, int]:
        """How many of everything there are: what a double or a loss would change."""
        kinds = (
            "event",
            "air",
            "photo",
            "smell",
            "indicator test",
            "water test",
            "compost pieces",
            "use gates",
            "verdict",
            "evidence",
            "rows beside",
            "taken in",
        )
        counts = dict(usecases.notebook.notebook_summary(self.notebook))
        counts |= {f"kept {kind}": len(self.notebook.kept(kind)) for kind in kinds}
        counts["run sheet"] = len(self.notebook.find(_run_sheet()))
        counts |= {part: len(self.state.get(part)) for part in ("devices", "senders", "pushes")}
        counts["photo"] = len(list((self.folder / "photos").glob("*")))
        return counts


def _run_sheet() -> type:
    from aerobe.records import RunSheet

    return RunSheet


@contextmanager
def open_world(folder: Path) -> Iterator[World]:
    """An app over a copy of the invented yard."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copy(yard(), folder / "tea.notebook")
    clock = Clock()
    with usecases.notebook.open_notebook(folder / "tea.notebook", at=clock()) as notebook:
        state = open_state(folder / "app.json")
        settings = ServeSettings(
            watching=False, photos=folder / "photos", burst=1e9, per_s=1e9, address="https://192.168.1.5:8471"
        )
        app = create_app(notebook, state=state, clock=clock, settings=settings, advise=no_call)
        app.state.broker.use = _nowhere
        app.state.watch.notices.send = _not_sent
        with TestClient(app, base_url="http://localhost") as client:
            made = World(app=app, client=client, clock=clock, notebook=notebook, state=state, folder=folder)
            made.token = form_token(client.get("/menu").text)
            yield made


def _not_sent(*_: object) -> None:
    """No test speaks to a push service that a form names."""
    raise OSError("not from a test")


async def _nowhere(_: object) -> None:
    """No test speaks to a broker that a form names."""


def addresses(app: Any) -> set[str]:
    """The addresses that take a form, with their names of keys."""
    return {path for path, ways in app.openapi()["paths"].items() if "post" in ways}


def fits(address: str, pattern: str) -> bool:
    """Whether an address is one of a route's."""
    return re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", pattern), address) is not None
