"""What pages ask of a full notebook: no more for a hundred brews than for ten, and nothing old after a write."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from threading import Event, Thread

import pytest
import sqlalchemy as sa
from fastapi.testclient import TestClient

from aerobe import usecases
from aerobe.notebook import Notebook, open_notebook
from aerobe.records import AirSupply, Assay, Brew, Compost, Harvest, Reading, Recipe, SensorLog, Vessel
from aerobe.usecases.brews import brew_glance, brew_pictures, brew_view, brews_overview, one_look, put_away, put_away_or_back
from aerobe.usecases.brews._held import held_by
from aerobe.usecases.notebook import display_units_of, set_display_units
from aerobe.web import ServeSettings, create_app

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)


def filled(notebook: Notebook, brews: int) -> Notebook:
    """One brew under air and so many ended ones, each with a reading that has a note."""
    with notebook.writing() as pen:
        pen.add(Compost(key="c", name="Compost"), at=NOW)
        pen.add(Recipe(key="r", name="Recipe", compost="c", compost_g_per_l=30.0), at=NOW)
        pen.add(Vessel(key="v", name="Vessel", volume_l=100, depth_m=0.6, air=AirSupply(flow_l_per_min=30.0)), at=NOW)
        pen.add(Assay(key="a", name="Colour test", method="colour test"), at=NOW)
        for number in range(brews + 1):
            key, began = f"b{number}", NOW - timedelta(hours=6 if number == 0 else 100 + number)
            pen.add(Brew(key=key, name=f"Brew {number}", recipe="r", vessel="v", started_at=began), at=NOW)
            pen.add(sample(key, 2.0, notes=f"{number} L poured off"), at=NOW)
            if number:
                pen.add(Harvest(brew=key, elapsed_h=24.0), at=NOW)
    return notebook


def sample(brew: str, hour: float, notes: str = "") -> Reading:
    return Reading(
        key=f"{brew}-{hour:g}",
        brew=brew,
        assay="a",
        role="sample",
        elapsed_h=hour,
        unit="ug C/mL",
        signal=40.0,
        typed_as="40",
        notes=notes,
    )


def point(notebook: Notebook, hour: float) -> None:
    notebook.append_log(SensorLog(brew="b0", channel="oxygen", elapsed_h=(hour,), values=(7.0 + hour / 100,)), at=NOW)


@contextmanager
def counted(notebook: Notebook) -> Iterator[Callable[[], int]]:
    """How often the store is asked inside."""
    asked = [0]

    def one(*_: object) -> None:
        asked[0] += 1

    sa.event.listen(notebook.store.engine, "before_cursor_execute", one)
    try:
        yield lambda: asked[0]
    finally:
        sa.event.remove(notebook.store.engine, "before_cursor_execute", one)


@pytest.mark.parametrize("units", [{}, {"temperature": "\u00b0F", "volume": "US gal"}], ids=["house", "others"])
def test_a_probes_value_costs_the_first_screen_as_little_in_a_full_notebook(tmp_path: Path, units: dict[str, str]) -> None:
    told = []
    for brews in (3, 60):
        with filled(open_notebook(tmp_path / f"{brews}.notebook", at=NOW), brews) as notebook:
            if units:
                set_display_units(notebook, units, now=NOW)
            app = create_app(notebook, clock=lambda: NOW, settings=ServeSettings(watching=False))
            app.state.thinker.advise = None
            with TestClient(app, base_url="http://localhost") as client:
                point(notebook, 1.0)
                assert "Brew 3" in client.get("/").text
                point(notebook, 2.0)
                with counted(notebook) as asked:
                    assert client.get("/").status_code == 200
                told.append(asked())
    assert told[0] == told[1] <= 40


def test_a_look_lasts_for_one_page_and_sees_what_the_page_itself_writes(tmp_path: Path) -> None:
    path = tmp_path / "tea.notebook"
    with filled(open_notebook(path, at=NOW), 1) as notebook, open_notebook(path, at=NOW) as elsewhere:

        def there() -> int:
            return brews_overview(notebook, now=NOW).earlier_in_all + len(brews_overview(notebook, now=NOW).under_way)

        more = Brew(key="more", name="More", recipe="r", vessel="v", started_at=NOW)
        with one_look():
            assert there() == 2
            elsewhere.add(more, at=NOW)
            assert there() == 2  # one page is of one moment
            notebook.add(Harvest(brew="b0", elapsed_h=6.0), at=NOW)
            assert there() == 3
        elsewhere.add(Brew(key="most", name="Most", recipe="r", vessel="v", started_at=NOW), at=NOW)
        assert there() == 4


def test_a_page_is_no_older_than_the_place_it_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with filled(open_notebook(tmp_path / "tea.notebook", at=NOW), 1) as notebook:
        set_display_units(notebook, {"temperature": "\u00b0F"}, now=NOW)
        with open_notebook(tmp_path / "tea.notebook", at=NOW) as elsewhere:
            more = Brew(key="more", name="Written meanwhile", recipe="r", vessel="v", started_at=NOW)

            def asked(of: Notebook) -> object:
                found = display_units_of(of)  # looks at what is typed
                elsewhere.add(more, at=NOW)  # between this and the page
                return found

            monkeypatch.setattr(usecases.notebook, "display_units_of", asked)
            app = create_app(notebook, clock=lambda: NOW, settings=ServeSettings(watching=False))
            app.state.thinker.advise = None
            with TestClient(app, base_url="http://localhost") as client:
                assert "Written meanwhile" in client.get("/").text


def test_what_a_page_began_beside_itself_looks_for_itself(tmp_path: Path) -> None:
    from contextvars import copy_context

    path, ended, seen = tmp_path / "tea.notebook", Event(), list[int]()
    with filled(open_notebook(path, at=NOW), 1) as notebook, open_notebook(path, at=NOW) as elsewhere:
        with one_look():
            held_by(notebook)

            def beside() -> None:
                ended.wait()
                seen.append(len(held_by(notebook).brews))

            thread = Thread(target=copy_context().run, args=(beside,))
            thread.start()
        elsewhere.add(Brew(key="more", name="More", recipe="r", vessel="v", started_at=NOW), at=NOW)
        ended.set()
        thread.join()
    assert seen == [3]


def test_lists_are_not_changed_under_whoever_goes_through_them(tmp_path: Path) -> None:
    with filled(open_notebook(tmp_path / "tea.notebook", at=NOW), 2) as notebook:
        going = iter(held_by(notebook).brews.values())
        next(going)
        notebook.add(Brew(key="more", name="More", recipe="r", vessel="v", started_at=NOW), at=NOW)
        assert "more" in held_by(notebook).brews
        assert len(list(going)) == 2


def test_a_probes_point_draws_the_oxygen_anew_and_nothing_else(tmp_path: Path) -> None:
    with filled(open_notebook(tmp_path / "tea.notebook", at=NOW), 0) as notebook:
        for hour in (1.0, 2.0, 3.0):
            point(notebook, hour)
        before = brew_pictures(notebook, brew_view(notebook, "b0", now=NOW), None, now=NOW)
        small = brew_glance(notebook, brew_view(notebook, "b0", now=NOW), None, now=NOW)
        point(notebook, 4.0)
        after = brew_pictures(notebook, brew_view(notebook, "b0", now=NOW), None, now=NOW)
        assert after[0] is before[0] and after[1] != before[1]
        assert brew_glance(notebook, brew_view(notebook, "b0", now=NOW), None, now=NOW) is small
        notebook.add(sample("b0", 5.0), at=NOW)
        view = brew_view(notebook, "b0", now=NOW)
        assert len(view.readings) == 2 and brew_pictures(notebook, view, None, now=NOW)[0] != before[0]
        assert brew_glance(notebook, view, None, now=NOW) != small


def test_a_chart_goes_by_the_clock_of_whoever_looks_at_it(tmp_path: Path) -> None:
    with filled(open_notebook(tmp_path / "tea.notebook", at=NOW), 0) as notebook:
        for hour in (1.0, 2.0, 3.0):
            point(notebook, hour)
        now = NOW.astimezone(timezone(timedelta(hours=9, minutes=30)))
        drawn = brew_pictures(notebook, brew_view(notebook, "b0", now=now), None, now=now)
        assert '+09:30"' in drawn[-1].read_out


def test_where_nothing_was_tested_the_first_screen_shows_the_oxygen(tmp_path: Path) -> None:
    with filled(open_notebook(tmp_path / "tea.notebook", at=NOW), 0) as notebook:
        notebook.take_back_reading("b0-2", at=NOW)
        assert brew_glance(notebook, brew_view(notebook, "b0", now=NOW), None, now=NOW) is None
        for hour in (1.0, 2.0):
            point(notebook, hour)
        seen = brew_glance(notebook, brew_view(notebook, "b0", now=NOW), None, now=NOW)
        assert seen is not None and "xygen" in seen.says


def test_what_is_put_away_and_back_is_seen_at_once(tmp_path: Path) -> None:
    with filled(open_notebook(tmp_path / "tea.notebook", at=NOW), 1) as notebook:
        assert put_away(notebook) == set()
        put_away_or_back(notebook, "brew", "b1", away=True, now=NOW)
        assert put_away(notebook) == {("brew", "b1")}
        put_away_or_back(notebook, "brew", "b1", away=False, now=NOW)
        assert put_away(notebook) == set()


def test_a_note_written_now_stays_as_typed_in_other_units(tmp_path: Path) -> None:
    with filled(open_notebook(tmp_path / "tea.notebook", at=NOW), 1) as notebook:
        set_display_units(notebook, {"volume": "US gal"}, now=NOW)
        assert "1 L poured off" in display_units_of(notebook).as_typed
        notebook.add(sample("b1", 7.0, notes="7 L poured off"), at=NOW)
        assert {"1 L poured off", "7 L poured off"} <= set(display_units_of(notebook).as_typed)
        notebook.add(Brew(key="more", name="More than 9 L", recipe="r", vessel="v", started_at=NOW), at=NOW)
        assert "More than 9 L" in display_units_of(notebook).as_typed
