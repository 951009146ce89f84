"""Every address of the app under thousands of odd requests: whatever comes, no answer is a fault of ours."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from aerobe import usecases
from aerobe.web import ServeSettings, create_app, open_state
from tests.calls import no_call
from tests.web.conftest import START, Clock, form_token

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """The app's own OpenAPI page, over the invented yard; a form token is sent, so that the forms themselves are reached."""
    clock, folder = Clock(), tmp_path_factory.mktemp("contract")
    notebook = usecases.notebook.open_notebook(folder / "tea.notebook", at=clock())
    usecases.notebook.make_demo(notebook, now=START)
    options = ServeSettings(watching=False, photos=folder / "photos", burst=1e9, per_s=1e9, names=("testserver",))
    app = create_app(notebook, state=open_state(None), clock=clock, settings=options, advise=no_call)
    with TestClient(app, base_url="http://localhost") as client:
        client.headers["x-aerobe-form"] = form_token(client.get("/menu").text)
        cookie = f"aerobe_session={client.cookies['aerobe_session']}"
        loaded = schemathesis.openapi.from_asgi("/openapi.json", app)
        loaded.config.headers = {"x-aerobe-form": client.headers["x-aerobe-form"], "cookie": cookie, "host": "localhost"}
        loaded.aerobe_client = client
        yield loaded
    notebook.close()


def tries(count: int) -> Callable[[Any], Any]:
    """So many requests of each kind, the same ones each time."""
    return settings(max_examples=count, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True, database=None)


@pytest.mark.parametrize("count", [2, pytest.param(40, marks=pytest.mark.night)])
def test_no_request_makes_a_fault_of_ours(schema, count: int) -> None:  # type: ignore[no-untyped-def]
    tried, let_in = 0, []
    for found in schema.get_all_operations():
        operation = found.ok()
        if operation.path == "/live":
            continue  # it never ends; tests/web/test_live.py listens to it

        @tries(count)
        @given(case=operation.as_strategy())
        def one(case) -> None:  # type: ignore[no-untyped-def]
            answer = case.call()
            let_in.append(answer.status_code not in (403, 421))
            assert answer.status_code < 500, f"{case.method} {case.formatted_path}: {answer.status_code}"

        one()
        tried += 1
    assert tried > 40 and sum(let_in) > 0.8 * len(let_in)  # the guard did not do all the work


WORDS = (
    "",
    "0",
    "-1",
    "1e400",
    "NaN",
    "inf",
    "1,5",
    "12 L",
    "99999999999999",
    "' or 1=1",
    "../..",
    "2026-05-01",
    "2026-05-01T08:00+02:00",
    "25:61",
    "<b>",
    "\0",
    "ß",
    "1 in 10",
    "a" * 5000,
)
LINE = tuple(item for word in WORDS for item in (word, None))  # every other field is left alone


def turned(names: list[str], turn: int) -> dict[str, str]:
    """A form filled in with odd words: each turn gives each field another one, or leaves it alone."""
    found = {name: LINE[(5 * place + turn) % len(LINE)] for place, name in enumerate(names)}
    return {name: word for name, word in found.items() if word is not None}


def forms_of(client: TestClient) -> dict[str, list[str]]:
    """Names of the fields of every form, by its address: OpenAPI does not spell them out, so they are read from the pages."""
    forms: dict[str, list[str]] = {}
    for path in client.app.openapi()["paths"]:  # type: ignore[attr-defined]
        if "{" in path or path == "/live" or path.endswith(".zip"):
            continue
        for action, inside in re.findall(
            r'<form[^>]*method="post"[^>]*action="([^"]+)"[^>]*>(.*?)</form>', client.get(path).text, re.S
        ):
            forms[action] = [name for name in re.findall(r'name="([^"]+)"', inside) if name != "form_token"]
    return forms | {f"/brews/{BREW}/{end}": names for end, names in OF_A_BREW.items()}


def sent(client: TestClient, action: str, typed: dict[str, str]) -> None:
    answer = client.post(action, data=typed, follow_redirects=False)
    assert answer.status_code < 500, f"{action} {typed}: {answer.status_code}"


@pytest.mark.parametrize("turns", [range(0, len(LINE), 5), pytest.param(range(len(LINE)), marks=pytest.mark.night)])
def test_every_form_takes_odd_words_without_a_fault_of_ours(schema, turns: range) -> None:  # type: ignore[no-untyped-def]
    forms = forms_of(schema.aerobe_client)
    assert len(forms) > 8
    for action, names in forms.items():
        for turn in turns:
            sent(schema.aerobe_client, action, turned(names, turn))


@pytest.mark.night
def test_every_form_takes_any_text_without_a_fault_of_ours(schema) -> None:  # type: ignore[no-untyped-def]
    odd = st.one_of(st.text(max_size=40), st.sampled_from(WORDS))
    for action, names in forms_of(schema.aerobe_client).items():

        @tries(40)
        @given(action=st.just(action), typed=st.fixed_dictionaries({}, optional=dict.fromkeys(names, odd)))
        def one(action: str, typed: dict[str, str]) -> None:
            sent(schema.aerobe_client, action, typed)

        one()


BREW = "kelp-5"
OF_A_BREW = {
    "readings": [
        "what",
        "signal",
        "signal_unit",
        "when",
        "age_s",
        "sent_at_ms",
        "dilution",
        "role",
        "replicate",
        "operator",
        "kit_lot",
        "notes",
        "entry",
        "again",
    ],
    "harvest": ["when", "age_s", "smell", "volume", "volume_unit", "notes", "entry"],
}
