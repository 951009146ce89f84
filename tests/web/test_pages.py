"""Pages: what a person types is kept, shown and never lost."""

from __future__ import annotations

import re

import pytest

from aerobe import usecases
from aerobe.web._app import page_modules
from tests.web.conftest import BREW, Shed


def test_an_empty_notebook_offers_the_demo_and_a_first_brew(shed: Shed) -> None:
    text = shed.client.get("/").text
    assert 'action="/demo"' in text and 'href="/brews/new"' in text


def test_the_demo_fills_an_empty_notebook_only(brewing: Shed) -> None:
    assert brewing.post("/demo").status_code == 422


def test_a_first_brew_writes_all_that_it_needs(brewing: Shed) -> None:
    view = usecases.brews.brew_view(brewing.notebook, "barrel-1", now=brewing.clock())
    assert view.card.state == "under way" and view.card.elapsed_h == pytest.approx(8.0)
    assert view.vessel.volume_l == 100.0 and view.vessel.depth_m == pytest.approx(0.6)
    assert view.recipe.compost_g_per_l == pytest.approx(30.0)
    assert view.recipe.foods[0].g_per_l == pytest.approx(0.7)
    assert view.card.brew.costs.test == 10.0


def test_a_double_tap_on_start_makes_one_brew(shed: Shed) -> None:
    first, second = (shed.post("/brews", **BREW, entry="once") for _ in range(2))
    assert first.headers["location"] == second.headers["location"]
    assert usecases.notebook.notebook_summary(shed.notebook)["brew"] == 1
    assert usecases.notebook.notebook_summary(shed.notebook)["vessel"] == 1


def test_a_start_with_a_slip_of_the_pen_writes_nothing_and_keeps_what_was_typed(shed: Shed) -> None:
    answer = shed.post("/brews", **{**BREW, "depth": "60 apples"})
    assert answer.status_code == 422
    assert "Depth of the water" in answer.text and "Leaf mould" in answer.text
    assert not any(usecases.notebook.notebook_summary(shed.notebook).values())


def test_a_reading_with_a_decimal_comma_is_kept_as_typed(brewing: Shed) -> None:
    answer = brewing.post("/brews/barrel-1/readings", what="assay:home-colour-test", signal="120,5", entry="e1")
    assert answer.status_code == 303
    kept = brewing.notebook.reading("r-e1")
    assert kept.signal == 120.5 and kept.typed_as == "120,5" and kept.elapsed_h == pytest.approx(8.0)


def test_an_entry_that_waited_on_the_phone_keeps_its_own_time(brewing: Shed) -> None:
    brewing.post("/brews/barrel-1/readings", what="assay:home-colour-test", signal="90", entry="e1", age_s="7200")
    assert brewing.notebook.reading("r-e1").elapsed_h == pytest.approx(6.0)


@pytest.mark.parametrize(
    ("way_s", "elapsed_h"),
    [(36.0, 5.99), (0.0, 6.0), (-90.0, 6.0), (7200.0, 6.0)],
    ids=["a slow line", "at once", "its clock is ahead", "its clock is wrong"],
)
def test_the_time_that_an_entry_was_under_way_is_part_of_its_age(brewing: Shed, way_s: float, elapsed_h: float) -> None:
    sent = brewing.clock().timestamp() - way_s
    brewing.post(
        "/brews/barrel-1/readings",
        what="assay:home-colour-test",
        signal="90",
        entry="e1",
        age_s="7200",
        sent_at_ms=f"{1000 * sent:.0f}",
    )
    assert brewing.notebook.reading("r-e1").elapsed_h == pytest.approx(elapsed_h, abs=1e-4)


@pytest.mark.parametrize("entries", [["a", "a"], ["a", "b", "a"]], ids=["twice", "again later"])
def test_an_entry_sent_again_is_kept_once(brewing: Shed, entries: list[str]) -> None:
    for entry in entries:
        answer = brewing.post(
            "/brews/barrel-1/readings", json_answer=True, what="assay:home-colour-test", signal="90", entry=entry
        )
        assert answer.status_code == 200
    assert len(brewing.notebook.readings("barrel-1")) == len(set(entries))


def test_a_reading_that_cannot_be_read_comes_back_with_its_remedy(brewing: Shed) -> None:
    page = brewing.post("/brews/barrel-1/readings", what="assay:home-colour-test", signal="twelve", entry="e1")
    assert page.status_code == 422 and 'value="twelve"' in page.text and 'role="alert"' in page.text
    told = brewing.post("/brews/barrel-1/readings", json_answer=True, what="assay:home-colour-test", signal="twelve", entry="e1")
    assert told.status_code == 422 and told.json()["remedy"]
    # The token was not spent by the refusal.
    assert brewing.post("/brews/barrel-1/readings", what="assay:home-colour-test", signal="12", entry="e1").status_code == 303


@pytest.mark.parametrize(("typed", "below", "above"), [("<5", True, False), ("> 500", False, True), ("5", False, False)])
def test_limits_are_typed_as_signs(brewing: Shed, typed: str, below: bool, above: bool) -> None:
    brewing.post("/brews/barrel-1/readings", what="assay:home-colour-test", signal=typed, entry="e1")
    kept = brewing.notebook.reading("r-e1")
    assert (kept.below_detection, kept.above_range) == (below, above)


def test_a_hand_meter_goes_into_the_log_in_house_units(brewing: Shed) -> None:
    brewing.post("/brews/barrel-1/readings", what="oxygen", signal="250", signal_unit="umol/L", entry="e1")
    brewing.post("/brews/barrel-1/readings", what="temperature", signal="68", signal_unit="degF", entry="e2")
    oxygen = usecases.brews.brew_view(brewing.notebook, "barrel-1", now=brewing.clock()).card.oxygen
    assert oxygen is not None
    # 250 umol/L x 31.998 g/mol (molar mass of O2, IUPAC 2021) = 8.00 mg/L
    assert oxygen.mg_per_l == pytest.approx(8.0, abs=0.001) and oxygen.temperature_degc == pytest.approx(20.0)


def test_a_percentage_of_saturation_becomes_milligrams(brewing: Shed) -> None:
    brewing.post("/brews/barrel-1/readings", what="oxygen", signal="100", signal_unit="% saturation", entry="e1")
    oxygen = usecases.brews.brew_view(brewing.notebook, "barrel-1", now=brewing.clock()).card.oxygen
    # Benson & Krause 1984, printed table: 9.09 mg/L at 20 degC and 1 atm (from memory).
    assert oxygen is not None and oxygen.mg_per_l == pytest.approx(9.09, abs=0.01)


def test_keep_and_repeat_counts_the_repeats(brewing: Shed) -> None:
    answer = brewing.post(
        "/brews/barrel-1/readings", what="assay:home-colour-test", signal="90", entry="e1", again="yes", replicate="1"
    )
    page = brewing.client.get(answer.headers["location"])
    assert "This is repeat 2" in page.text


def test_a_correction_leaves_both_values_to_be_seen(brewing: Shed) -> None:
    brewing.post("/brews/barrel-1/readings", what="assay:home-colour-test", signal="900", entry="e1")
    answer = brewing.post("/brews/barrel-1/readings/r-e1/correct", signal="90", entry="e2", why="one nought too many")
    page = brewing.client.get(answer.headers["location"]).text
    assert "It corrects" in page and "900" in page
    assert [reading.signal for reading in brewing.notebook.readings("barrel-1")] == [90.0]


def test_a_photo_is_stored_and_shown_beside_its_reading(brewing: Shed) -> None:
    picture = b"\x89PNG\r\n\x1a\n" + b"0" * 50
    brewing.post(
        "/brews/barrel-1/readings",
        what="assay:home-colour-test",
        signal="90",
        entry="e1",
        photo=("s.png", picture, "image/png"),
    )
    answer = brewing.client.get("/brews/barrel-1/readings/r-e1/photo")
    assert answer.content == picture and answer.headers["content-type"] == "image/png"


def test_a_photo_that_is_none_does_not_cost_the_reading(brewing: Shed) -> None:
    answer = brewing.post(
        "/brews/barrel-1/readings",
        json_answer=True,
        what="assay:home-colour-test",
        signal="90",
        entry="e1",
        photo=("s.svg", b"<svg onload='x'/>", "image/svg+xml"),
    )
    assert answer.status_code == 200 and "no JPEG" in answer.json()["says"]
    assert brewing.notebook.reading("r-e1").signal == 90.0
    assert brewing.client.get("/brews/barrel-1/readings/r-e1/photo").status_code == 404


def test_a_harvest_ends_the_brew_once(brewing: Shed) -> None:
    for _ in range(2):
        assert (
            brewing.post("/brews/barrel-1/harvest", smell="earthy", volume="90", volume_unit="L", entry="h1").status_code == 303
        )
    view = usecases.brews.brew_view(brewing.notebook, "barrel-1", now=brewing.clock())
    assert view.harvest is not None and view.harvest.volume_l == 90.0 and view.card.state == "harvested"


def test_a_clock_time_of_last_night_is_last_night(brewing: Shed) -> None:
    brewing.clock.turn(hours=10)  # 02:00 of the next day
    brewing.post("/brews/barrel-1/readings", what="assay:home-colour-test", signal="90", entry="e1", when="23:30")
    assert brewing.notebook.reading("r-e1").elapsed_h == pytest.approx(15.5)


def test_names_with_angle_brackets_do_no_harm(shed: Shed) -> None:
    shed.post("/brews", **{**BREW, "name": "<script>alert(1)</script>", "compost_name": '"><img src=x onerror=alert(1)>'})
    for path in ("/", "/brews/new", "/data", "/settings"):
        text = shed.client.get(path).text
        assert "<script>alert" not in text and "<img src=x" not in text


def test_faults_of_programs_and_of_persons_look_different(shed: Shed) -> None:
    assert shed.client.get("/brews/none").status_code == 404
    told = shed.client.get("/brews/none", headers={"accept": "application/json"})
    assert told.status_code == 404 and set(told.json()) == {"problem", "remedy"}


def test_every_page_in_the_menu_answers(brewing: Shed) -> None:
    for entry in brewing.app.state.menu:
        assert brewing.client.get(entry.href).status_code == 200, entry.href


def test_no_page_asks_anything_from_elsewhere(brewing: Shed) -> None:
    for entry in brewing.app.state.menu:
        text = brewing.client.get(entry.href).text
        assert not re.findall(r'(?:src|action)="(?:https?:)?//', text), entry.href


def test_every_page_file_has_a_router() -> None:
    assert {module.__name__.rsplit(".", 1)[-1] for module in page_modules()} >= {
        "brews",
        "record",
        "settings",
        "data",
        "pair",
    }


def test_everything_comes_out_as_a_package(brewing: Shed) -> None:
    answer = brewing.client.get("/data/export")
    assert answer.content[:2] == b"PK" and "attachment" in answer.headers["content-disposition"]


def test_a_table_is_shown_before_it_is_taken_in(brewing: Shed) -> None:
    table = b"hours,oxygen [mg/L]\n1,8.5\n2,8.1\n3,abc\n"
    shown = brewing.post("/data/import", file=("log.csv", table, "text/csv"))
    assert shown.status_code == 200 and "Nothing is kept yet" in shown.text
    assert len(brewing.notebook.log("barrel-1", "oxygen")[0]) == 0
    ticket = re.search(r'name="ticket" value="([^"]+)"', shown.text)
    assert ticket is not None
    taken = brewing.post("/data/import/table", ticket=ticket[1], brew="barrel-1", do="take")
    assert taken.status_code == 200 and "abc" in taken.text
    assert brewing.notebook.log("barrel-1", "oxygen")[1].tolist() == [8.5, 8.1]


def test_a_package_goes_into_another_notebook_once(brewing: Shed) -> None:
    package = brewing.client.get("/data/export").content
    answer = brewing.post("/data/import", file=("aerobe.zip", package, "application/zip"))
    assert answer.status_code == 200 and "there already" in answer.text
    assert usecases.notebook.notebook_summary(brewing.notebook)["brew"] == 1


@pytest.mark.parametrize("number", ["²", "٣", "9" * 5000, "-1", "1e3"])
def test_a_number_of_other_letters_or_without_end_breaks_nothing(brewing: Shed, number: str) -> None:
    fields = {"signal": "7.9", "again": "yes", "replicate": number, "clock_doubt_s": number}
    for what in ("oxygen", "assay:home-colour-test"):
        assert brewing.post("/brews/barrel-1/readings", what=what, **fields).status_code in (303, 422)
