"""Every address of the app under thousands of odd requests: whatever comes, no answer is a fault of ours."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, settings

from aerobe import desk
from aerobe.web import ServeSettings, create_app, open_state
from tests.web.conftest import START, Clock, form_token

FOLDER = Path(tempfile.mkdtemp(prefix="aerobe-contract-"))


@pytest.fixture(scope="module")
def schema():  # type: ignore[no-untyped-def]
    """The app's own OpenAPI page, over the invented yard; a form token is sent, so that the forms themselves are reached."""
    clock = Clock()
    notebook = desk.open_notebook(FOLDER / "tea.notebook", at=clock())
    desk.make_demo(notebook, now=START)
    options = ServeSettings(watching=False, photos=FOLDER / "photos", burst=1e9, per_s=1e9, names=("testserver",))
    app = create_app(notebook, state=open_state(None), clock=clock, settings=options, advise=_no_call)
    with TestClient(app, base_url="http://localhost") as client:
        client.headers["x-aerobe-form"] = form_token(client.get("/menu").text)
        cookie = f"aerobe_session={client.cookies['aerobe_session']}"
        loaded = schemathesis.openapi.from_asgi("/openapi.json", app)
        loaded.config.headers = {"x-aerobe-form": client.headers["x-aerobe-form"], "cookie": cookie, "host": "localhost"}
        yield loaded
    notebook.close()


def _no_call(*_: object) -> None:
    from aerobe.errors import NotEnoughData

    raise NotEnoughData("No call here.", "The requests are what is tried.")


lazy = schemathesis.pytest.from_fixture("schema")


@lazy.exclude(path_regex="^/live$").parametrize()
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
def test_no_request_makes_a_fault_of_ours(case) -> None:  # type: ignore[no-untyped-def]
    answer = case.call()
    assert answer.status_code < 500, f"{case.method} {case.formatted_path}: {answer.status_code}"
