"""Passwords of other machines lie in the system's keyring where there is one, and in a file for its owner where not."""

from __future__ import annotations

import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from aerobe.web import open_state
from aerobe.web._keys import IN_RING

BROKER = {"host": "broker.example", "user": "me", "password": "hush-broker"}


class FakeRing:
    """A ring in memory; `fails` stands for one that is locked."""

    priority = 5.0

    def __init__(self, fails: bool = False) -> None:
        self.kept: dict[tuple[str, str], str] = {}
        self.fails = fails

    def get_password(self, service: str, username: str) -> str | None:
        return self.kept.get((service, username))

    def set_password(self, service: str, username: str, password: str) -> None:
        if self.fails:
            raise RuntimeError("locked")
        self.kept[service, username] = password


def use(monkeypatch: pytest.MonkeyPatch, ring: object) -> None:
    monkeypatch.setitem(sys.modules, "keyring", SimpleNamespace(get_keyring=lambda: ring))


def test_a_password_goes_into_the_ring_and_comes_back(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    ring = FakeRing()
    use(monkeypatch, ring)
    state = open_state(tmp_path / "app.json")
    state.change("broker", lambda _: dict(BROKER))
    assert state.get("broker") == BROKER
    assert "hush-broker" not in (tmp_path / "app.json").read_text() and IN_RING in (tmp_path / "app.json").read_text()
    assert open_state(tmp_path / "app.json").get("broker") == BROKER
    twin = open_state(tmp_path / "app.json")  # a second server sees what the first one changes
    state.change("broker", lambda kept: {**kept, "password": "newer"})
    assert twin.get("broker")["password"] == "newer"
    ring.kept.clear()  # another machine, another account: it is asked anew, and nothing else is lost
    assert open_state(tmp_path / "app.json").get("broker") == {**BROKER, "password": ""}


@pytest.mark.parametrize("ring", [FakeRing(fails=True), SimpleNamespace(priority=0), SimpleNamespace()])
def test_without_a_ring_that_works_the_file_of_its_owner_keeps_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, ring: object
) -> None:
    use(monkeypatch, ring)
    state = open_state(tmp_path / "app.json")
    state.change("broker", lambda _: dict(BROKER))
    assert open_state(tmp_path / "app.json").get("broker") == BROKER
    assert (tmp_path / "app.json").stat().st_mode & 0o077 == 0


def test_a_link_laid_beside_the_app_s_file_leads_nowhere(tmp_path: Path) -> None:
    prey = tmp_path / "prey"
    prey.write_text("precious")
    state = open_state(tmp_path / "app.json")
    (tmp_path / "app.part").symlink_to(prey)
    state.change("broker", lambda _: dict(BROKER))
    assert prey.read_text() == "precious" and open_state(tmp_path / "app.json").get("broker") == BROKER
