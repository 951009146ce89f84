"""What is written down stays, as it was, for whoever asks."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import timedelta

import pytest

from aerobe.errors import NotAllowed, NotebookFault, NotFound, UnusableRecord
from aerobe.notebook import Notebook, brew_history, check, open_notebook
from aerobe.records import Brew, Compost, Harvest, Recipe, Sample, SensorLog, Trial, Use
from tests.notebook.conftest import NOW, reading


def test_a_record_comes_back_as_it_was_written(notebook: Notebook) -> None:
    compost = Compost(key="worm", name="Würmer № 2", process="worm", animal_origin=True, moisture=0.7)
    assert notebook.add(compost, at=NOW).was_new
    assert notebook.get(Compost, "worm") == compost
    assert [item.key for item in notebook.find(Compost)] == ["heap", "worm"]


def test_the_same_record_twice_is_no_fault_and_another_under_its_key_is(notebook: Notebook) -> None:
    assert not notebook.add(Compost(key="heap", name="Heap"), at=NOW).was_new
    with pytest.raises(UnusableRecord, match="another compost"):
        notebook.add(Compost(key="heap", name="Other heap"), at=NOW)


def test_a_change_keeps_what_stood_there(notebook: Notebook) -> None:
    notebook.change(replace(notebook.get(Recipe, "plain"), compost_g_per_l=70.0), at=NOW, who="Ada", why="scale was off")
    assert notebook.get(Recipe, "plain").compost_g_per_l == 70.0
    line = notebook.audit(key="plain")[-1]
    assert (line.did, line.who, line.why, line.before["compost_g_per_l"]) == ("change", "Ada", "scale was off", 50.0)


def test_a_change_that_changes_nothing_leaves_no_trace(notebook: Notebook) -> None:
    before = notebook.last_change()
    assert not notebook.change(notebook.get(Recipe, "plain"), at=NOW).was_new
    assert notebook.last_change() == before


@pytest.mark.parametrize(
    "record",
    [
        Recipe(key="lost", name="Lost", compost="no-heap", compost_g_per_l=10.0),
        Sample(key="s", brew="no-brew", elapsed_h=1.0),
        Harvest(brew="no-brew", elapsed_h=1.0),
    ],
    ids=lambda item: type(item).__name__,
)
def test_a_record_about_something_unknown_is_refused(notebook: Notebook, record: object) -> None:
    with pytest.raises(NotFound):
        notebook.add(record, at=NOW)


def test_nothing_of_a_group_of_writes_stays_if_one_fails(notebook: Notebook) -> None:
    before = notebook.last_change()
    with pytest.raises(NotFound), notebook.writing() as pen:
        pen.add(Compost(key="new", name="New"), at=NOW)
        pen.add(Sample(key="s", brew="no-brew", elapsed_h=1.0), at=NOW)
    assert notebook.last_change() == before
    with pytest.raises(NotFound):
        notebook.get(Compost, "new")


def test_readings_are_only_added(notebook: Notebook) -> None:
    notebook.add_reading(reading("r1"), at=NOW)
    with pytest.raises(NotAllowed):
        notebook.change(reading("r1", signal=13.0), at=NOW)
    with pytest.raises(UnusableRecord):
        notebook.add_reading(reading("r1", signal=13.0), at=NOW)
    assert notebook.reading("r1").signal == 12.5


def test_a_correction_stands_for_the_old_reading_and_both_stay(notebook: Notebook) -> None:
    notebook.add_reading(reading("r1", signal=125.0), at=NOW)
    notebook.add_reading(reading("r2", signal=12.5, replaces="r1"), at=NOW, why="a decimal slipped")
    assert [item.key for item in notebook.readings("b1")] == ["r2"]
    assert [item.key for item in notebook.readings("b1", with_corrected=True)] == ["r1", "r2"]
    assert notebook.audit(key="r2")[-1].did == "correct"


def test_a_reading_is_corrected_once_and_then_its_correction_is(notebook: Notebook) -> None:
    for key, old in (("r1", ""), ("r2", "r1"), ("r3", "r2")):
        notebook.add_reading(reading(key, replaces=old), at=NOW)
    with pytest.raises(NotAllowed, match="'r2'"):
        notebook.add_reading(reading("r4", replaces="r1"), at=NOW)
    assert [item.key for item in notebook.readings("b1")] == ["r3"]


def test_the_same_entry_token_adds_one_reading(notebook: Notebook) -> None:
    first = notebook.add_reading(reading("r1"), at=NOW, token="form-1")
    again = notebook.add_reading(reading("r9", signal=99.0), at=NOW, token="form-1")
    assert (first.was_new, again.was_new, again.key) == (True, False, "r1")
    assert len(notebook.readings("b1")) == 1


def test_a_token_of_a_refused_entry_is_not_used_up(notebook: Notebook) -> None:
    with pytest.raises(NotFound):
        notebook.add_reading(reading("r1", brew="no-brew"), at=NOW, token="form-1")
    assert notebook.add_reading(reading("r1"), at=NOW, token="form-1").was_new


def test_two_phones_that_send_at_once_both_get_in_and_a_doubled_form_once(notebook: Notebook) -> None:
    faults: list[BaseException] = []

    def send(phone: int) -> None:
        try:
            for number in range(10):
                token = f"same-{number}" if phone < 2 else f"{phone}-{number}"
                notebook.add_reading(reading(f"p{phone}-{number}"), at=NOW, token=token)
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=send, args=(phone,)) for phone in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert len(notebook.readings("b1")) == 30  # the first two phones sent the same ten forms


def test_history_gives_everything_of_a_brew_in_one_call(notebook: Notebook) -> None:
    notebook.add_reading(reading("late", hour=9.0), at=NOW)
    notebook.add_reading(reading("early", hour=2.0), at=NOW)
    notebook.add_reading(reading("mended", hour=2.0, replaces="early"), at=NOW)
    notebook.append_log(SensorLog(brew="b1", channel="oxygen", elapsed_h=(0.0, 1.0), values=(9.0, 8.0), probe="p"), at=NOW)
    notebook.add(Sample(key="s1", brew="b1", elapsed_h=2.0), at=NOW)
    notebook.add(Harvest(brew="b1", elapsed_h=30.0), at=NOW)
    notebook.add(Use(key="u1", brew="b1", used_at=NOW, place="bed"), at=NOW)
    notebook.add_advice("b1", {"call": "wait", "seed": 4, "versions": {"aerobe": "0"}}, at=NOW + timedelta(hours=1))
    history = brew_history(notebook, "b1")
    assert [item.key for item in history.readings] == ["mended", "late"]
    assert (history.recipe.key, history.compost.key, history.vessel.key) == ("plain", "heap", "barrel")
    assert list(history.assays) == ["card"]
    assert history.log("oxygen") == SensorLog(brew="b1", channel="oxygen", elapsed_h=(0.0, 1.0), values=(9.0, 8.0), probe="p")
    assert history.log("pH") is None
    assert (history.harvest and history.harvest.elapsed_h, history.uses[0].key, history.samples[0].key) == (30.0, "u1", "s1")
    assert history.advice[0].payload["seed"] == 4
    assert history.last_change == notebook.last_change("b1")


def test_the_number_of_the_last_change_grows_only_for_the_brew_that_changed(notebook: Notebook) -> None:
    notebook.add(Brew(key="b2", name="Second", recipe="plain", vessel="barrel", started_at=NOW), at=NOW)
    before = notebook.last_change("b1"), notebook.last_change("b2")
    notebook.add_reading(reading("r1"), at=NOW)
    assert notebook.last_change("b1") > before[0]
    assert notebook.last_change("b2") == before[1]


def test_kept_results_stay_in_order_and_the_newest_is_found(notebook: Notebook) -> None:
    notebook.keep("study", "card", {"points": [1.0, 2.0]}, at=NOW)
    notebook.keep("study", "card", {"points": [3.0]}, at=NOW)
    assert [item.payload["points"] for item in notebook.kept("study", "card")] == [[1.0, 2.0], [3.0]]
    newest = notebook.latest("study", "card")
    assert newest is not None and newest.payload == {"points": [3.0]}
    assert notebook.latest("study", "other") is None


def test_settings_change_and_the_old_one_is_in_the_trail(notebook: Notebook) -> None:
    assert notebook.setting("price", 3.0) == 3.0
    notebook.set_setting("price", 4.5, at=NOW)
    notebook.set_setting("price", 5.5, at=NOW)
    assert notebook.setting("price") == 5.5
    assert [line.before for line in notebook.audit(key="price")] == [None, 4.5]


def test_whole_numbers_given_for_lengths_do_not_count_as_damage(notebook: Notebook) -> None:
    # compost_g_per_l=50 was given as a whole number and is read back as 50.0.
    assert check(notebook) == []


def test_a_notebook_that_is_not_there_is_not_begun_by_reading(tmp_path) -> None:
    with pytest.raises(NotebookFault, match="no notebook at"):
        open_notebook(tmp_path / "none.notebook", at=NOW, create=False)
    assert not (tmp_path / "none.notebook").exists()


@pytest.mark.parametrize("content", [b"\x89PNG" * 400, b"hours,value\n1,2\n" * 99], ids=["picture", "table"])
def test_a_file_that_is_no_notebook_is_refused_and_left_as_it_was(tmp_path, content: bytes) -> None:
    path = tmp_path / "other.notebook"
    path.write_bytes(content)
    with pytest.raises(NotebookFault):
        open_notebook(path, at=NOW)
    assert path.read_bytes() == content


def test_a_database_with_other_data_is_refused(tmp_path) -> None:
    import sqlite3

    path = tmp_path / "others.db"
    with sqlite3.connect(path) as connection:
        connection.execute("create table recipes_of_cakes (name text)")
    with pytest.raises(NotebookFault, match="other data"):
        open_notebook(path, at=NOW)


def test_trials_and_their_brews_are_found_by_owner(notebook: Notebook) -> None:
    notebook.add(Trial(key="t", name="T", question="two recipes"), at=NOW)
    notebook.add(Brew(key="b2", name="Second", recipe="plain", vessel="barrel", started_at=NOW, trial="t"), at=NOW)
    assert [brew.key for brew in notebook.find(Brew, of="t")] == ["b2"]
