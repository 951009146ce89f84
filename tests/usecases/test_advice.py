"""From the notebook to the call and back into it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from aerobe import usecases
from aerobe.errors import NotAllowed, NotEnoughData
from aerobe.notebook import back_up
from aerobe.records import Assay, Brew, Recipe, Vessel
from aerobe.usecases.brews import _beliefs
from aerobe.usecases.brews._behind_code import BEHIND_CODE
from aerobe.web._alarms import alarms_for
from tests.fewer import fewer_courses
from tests.notebook.conftest import NOW, furnish, reading


@pytest.fixture(scope="module")
def advised(tmp_path_factory):
    """The same, and the call that was asked for once; nobody adds to it but by asking again."""
    with usecases.notebook.open_notebook(str(tmp_path_factory.mktemp("advised") / "tea.notebook"), at=NOW) as notebook:
        brew = usecases.notebook.make_demo(notebook, now=NOW)
        assert not notebook.kept("summary")
        with fewer_courses():
            first = usecases.brews.advise_brew(notebook, brew, NOW)
        yield notebook, brew, first


def test_the_call_is_kept_with_versions_and_seed(advised):
    notebook, brew, advice = advised
    kept = notebook.latest("advice", brew).payload
    assert kept["call"] == advice.call and kept["seed"] == advice.seed
    assert set(kept["versions"]) == {"aerobe", "numpy", "scipy", "numba"}


@pytest.mark.usefixtures("few_courses")
def test_asking_again_at_once_writes_nothing_new(advised):
    notebook, brew, _ = advised
    count = len(notebook.kept("advice", brew))
    usecases.brews.advise_brew(notebook, brew, NOW + timedelta(minutes=5))
    assert len(notebook.kept("advice", brew)) == count


def test_a_harvested_brew_gets_no_call(advised):
    with pytest.raises(NotAllowed, match=r"was harvested 31\.0 h after"):
        usecases.brews.advise_brew(advised[0], "kelp-1", NOW)


def test_earlier_brews_are_summed_up_once(advised):
    notebook, brew, _ = advised
    history = usecases.notebook.brew_history(notebook, brew)
    count = len(notebook.kept("summary"))
    assert count
    first = usecases.brews.past_of(notebook, history, now=NOW)
    again = usecases.brews.past_of(notebook, history, now=NOW)
    assert first and len(again) == len(first) and len(notebook.kept("summary")) == count


def test_what_an_earlier_brew_taught_is_worked_out_anew_once_it_is_put_right(advised, tmp_path, monkeypatch) -> None:
    book, brew, _ = advised
    back_up(book.store, at=NOW, to=tmp_path / "copy.notebook")
    asked = []

    def nothing(story, seed):
        asked.append(story)
        return {"settled": False}

    monkeypatch.setattr("aerobe.usecases.brews._beliefs._taught_alone", nothing)
    with usecases.notebook.open_notebook(tmp_path / "copy.notebook", at=NOW) as copy:
        history = usecases.notebook.brew_history(copy, brew)
        usecases.brews.past_of(copy, history, now=NOW)
        assert asked == []
        older = max((item for item in copy.find(Brew) if item.key != brew), key=lambda item: item.started_at)
        recipe, vessel = copy.get(Recipe, older.recipe), copy.get(Vessel, older.vessel)
        test = copy.get(Assay, copy.readings(older.key)[0].assay)
        for right in (
            replace(recipe, compost_g_per_l=2.0 * recipe.compost_g_per_l),
            replace(vessel, volume_l=3.0 * vessel.volume_l),
            replace(older, temperature_degc=older.temperature_degc - 6.0),
            replace(test, error=replace(test.error, proportional_cv=3.0 * test.error.proportional_cv)),
        ):
            asked.clear()
            copy.change(right, at=NOW)
            usecases.brews.past_of(copy, history, now=NOW)
            assert asked, right


def test_the_same_story_is_worked_out_once_and_another_anew(advised) -> None:
    book, brew, _ = advised
    story, _ = usecases.brews.story_of_history(usecases.notebook.brew_history(book, brew))
    with fewer_courses():
        once = _beliefs._taught_alone(story, 1)
        assert _beliefs._taught_alone(replace(story, oxygen=replace(story.oxygen)), 1) is once
        warmer = replace(story.oxygen, values=story.oxygen.values - 0.001)
        read = replace(story.measurements[0], value=story.measurements[0].value + 0.001)
        for other in (replace(story, oxygen=warmer), replace(story, measurements=(read, *story.measurements[1:]))):
            assert _beliefs._content(other) != _beliefs._content(story)
        assert _beliefs._taught_alone(story, 2) != once
    assert _beliefs._taught_alone(story, 1) != once  # few courses taught it


def test_a_call_behind_a_code_says_so_wherever_it_goes(advised):
    """The window goes into calendars and onto the wall, the reason into reminders, the oxygen into mails and notices."""
    notebook, brew, advice = advised
    record, crossing = notebook.get(Brew, brew), replace(advice.oxygen, crosses_at_h=advice.now_h + 1.0, probability_below=0.9)
    for notes, said in (((BEHIND_CODE, "x"), 1), (("x",), 0)):
        coded = replace(advice, notes=notes, call="test at", oxygen=crossing)
        call = usecases.brews.call_in_words(record, coded, now=NOW)
        words = [item.says for item in usecases.brews.reminders_of(record, call)]
        words += [item.says for item in alarms_for(record, call=call, oxygen=None, troubles=(), now=NOW)]
        assert len(words) == 3 and [text.count(BEHIND_CODE) for text in [*words, call.window]] == [said] * 4


@pytest.mark.usefixtures("few_courses")
def test_a_brew_of_unknown_recipe_gets_a_call_from_its_readings_and_hears_what_that_costs(where: str) -> None:
    """A table tells treatments, not what is in them; carbon that nobody weighed limits nothing."""
    rows = ((0, 30), (6, 60), (12, 130), (24, 210), (30, 170), (36, 120))
    content = "treatment,bottle,hours,biomass (ug C/mL)\n" + "".join(f"a,1,{hour},{value}\n" for hour, value in rows)
    with usecases.notebook.open_notebook(where, at=NOW) as book:
        brew = usecases.exchange.take_in(book, content.encode(), "two.csv", now=NOW).brews[0]
        start = book.get(Brew, brew).started_at
        advice = usecases.brews.advise_brew(book, brew, start + timedelta(hours=36))
        said = " ".join(advice.notes)
        assert "readings alone" in said and "costs certainty" in said and "not known" in said
        assert advice.settled and advice.window.best_h == pytest.approx(36.0, abs=0.6)  # it falls: what is left is best now
        # Nobody said what takes up oxygen or how air comes in: neither a forecast nor an open gate is made up.
        assert advice.oxygen is None and advice.forecast.oxygen is None
        assert "oxygen forecast" in [gate.name for gate in advice.held_back_by]
        call = usecases.brews.call_in_words(book.get(Brew, brew), advice, now=start + timedelta(hours=36))
        assert "No oxygen is forecast" in call.oxygen_says and call.crosses_at is None
        replayed = usecases.brews.replay_brew(book, brew, [0.0, 12.0, 60.0], now=NOW)
        assert [item.now_h for item in replayed] == [0.0, 12.0]  # nothing is replayed of hours to come
        assert replayed[1].window.best_h > 12.0
        with pytest.raises(NotEnoughData, match="has passed"):
            usecases.brews.replay_brew(book, brew, [60.0], now=NOW)
        for refused in (
            lambda: usecases.oxygen.feed_now(book, brew, "molasses", now=start + timedelta(hours=36)),
            lambda: usecases.brews.beliefs_of_brew(book, brew, NOW),
        ):
            with pytest.raises(NotEnoughData, match="neither compost nor food"):
                refused()


def test_a_brew_by_hand_of_unknown_recipe_needs_one_reading(where: str) -> None:
    with usecases.notebook.open_notebook(where, at=NOW) as book:
        furnish(book)
        book.change(replace(book.get(Recipe, "plain"), compost_g_per_l=0.0, foods=()), at=NOW)
        with pytest.raises(NotEnoughData, match="nothing is known of it"):
            usecases.brews.advise_brew(book, "b1", NOW)
        book.add(reading("x1", hour=4.0, signal=40.0), at=NOW)
        advice = usecases.brews.advise_brew(book, "b1", NOW + timedelta(hours=5))
    assert advice.settled and "readings alone" in " ".join(advice.notes)


def test_the_course_of_a_long_brew_reaches_past_its_last_reading(where: str) -> None:
    """A reading at 100 h on a course that ends at 72 h used to be taken for one at 72 h."""
    content = b"treatment,bottle,hours,biomass (ug C/mL)\na,1,0,30\na,1,100,20\na,2,0,30\n"
    with usecases.notebook.open_notebook(where, at=NOW) as book:
        long, short = usecases.exchange.take_in(book, content, "long.csv", now=NOW).brews
        horizons = [
            usecases.brews.story_of_history(usecases.notebook.brew_history(book, brew))[0].horizon_h for brew in (long, short)
        ]
    assert horizons == [112.0, 72.0]


@pytest.mark.usefixtures("few_courses")
def test_a_brew_left_to_itself_is_followed_for_a_week_and_then_said_to_be_forgotten(advised, tmp_path):
    brew = advised[1]
    back_up(advised[0].store, at=NOW, to=tmp_path / "copy.notebook")
    with usecases.notebook.open_notebook(str(tmp_path / "copy.notebook"), at=NOW) as notebook:
        one = usecases.notebook.brew_history(notebook, brew).brew
        started = one.started_at
        fourth, tenth = (usecases.brews.advise_brew(notebook, brew, started + timedelta(hours=hours)) for hours in (100.0, 240.0))
    assert fourth.now_h == 100.0 and fourth.times_h[-1] == 112.0
    assert not any("never ended" in note for note in fourth.notes)
    assert tenth.now_h == 180.0 and any("10 days ago" in note for note in tenth.notes)
    # No hour that is over is named for a harvest, and nothing is promised of it.
    start = usecases.brews.call_in_words(one, tenth, now=started + timedelta(hours=240.0))
    said = " ".join((start.say, start.because, start.window, start.oxygen_says))
    assert start.hold and "Nothing is forecast" in said and "catch" not in said and "Lowest ahead" not in said
    assert usecases.brews.reminders_of(one, start) == ()
    assert "Harvest" in usecases.brews.call_in_words(one, fourth, now=started + timedelta(hours=100.0)).window
