"""Tables become trials, readings and logs; twice is once; what a table does not say is not invented."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest

from aerobe.errors import ImportFault, NotFound
from aerobe.notebook import Notebook, check, fingerprint
from aerobe.records import Assay, Brew, Recipe, Trial
from aerobe.usecases.exchange import Wishes, preview_table, take_in
from aerobe.usecases.notebook import brew_history, open_notebook
from aerobe.usecases.trials import JudgedBy, verdict_of_trial
from tests.conftest import DATA
from tests.notebook.conftest import NOW, furnish

LATER = NOW + timedelta(hours=24)
KELP = DATA / "s11_kelp_glucose_batch_2021_two_methods_and_O2.csv"


@pytest.fixture
def book(where: str) -> Iterator[Notebook]:
    with open_notebook(where, at=NOW) as notebook:
        yield notebook


def test_four_foods_two_bottles_two_methods_import_as_a_trial_without_hand_editing(book: Notebook) -> None:
    # Source: public course data of UCSB EEMB 144L 2021 (see tests/data/README.md); the expected numbers are the file's own rows.
    taken = take_in(book, KELP.read_bytes(), KELP.name, now=NOW)
    assert taken.faults == () and taken.readings == 60
    trial = book.get(Trial, taken.trial)
    assert len(trial.arms) == 4 and [arm.key for arm in trial.arms if arm.is_standard] == ["control"]
    brews = book.find(Brew, of=trial.key)
    assert len(brews) == 8 and sorted({brew.arm for brew in brews}) == sorted(arm.key for arm in trial.arms)
    assert {assay.method for assay in book.find(Assay)} == {"flow cytometry", "direct microscopy"}
    with KELP.open(encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["variable"] == "all_cells" and row["method"] == "flow_cytometry"]
    wanted = sorted((row["treatment"], row["replicate_bottle"], float(row["time_h"]), float(row["value"])) for row in rows)
    names = {book.get(Recipe, arm.recipe).name: arm.key for arm in trial.arms}
    got = sorted(
        (row["treatment"], row["replicate_bottle"], item.elapsed_h, item.signal)
        for row in {(row["treatment"], row["replicate_bottle"]): row for row in rows}.values()
        for brew in brews
        if brew.arm == names[row["treatment"].replace("_", " ")] and brew.name.endswith(row["replicate_bottle"])
        for item in book.readings(brew.key)
    )
    assert got == wanted


def test_means_and_parts_are_kept_beside_and_not_as_brews(book: Notebook) -> None:
    taken = take_in(book, KELP.read_bytes(), KELP.name, now=NOW)
    beside = book.kept("rows beside", taken.trial)[0].payload["rows"]
    assert taken.kept_beside == len(beside) == 236 - 60
    oxygen = [row for row in beside if row["variable"] == "oxygen_change"]
    assert len(oxygen) == 32 and {row["unit"] for row in oxygen} == {"umol O2/L"} and all(row["sd"] is not None for row in oxygen)
    assert len([row for row in beside if row["method"] == "DAPI_microscopy" and row["variable"] == "all_cells"]) == 12


def test_the_same_file_twice_or_under_another_name_adds_nothing(book: Notebook) -> None:
    take_in(book, KELP.read_bytes(), KELP.name, now=NOW)
    before = fingerprint(book)
    again = take_in(book, KELP.read_bytes(), KELP.name, now=NOW)
    assert (again.readings, again.duplicates) == (0, 60)
    with pytest.raises(ImportFault, match="was taken in on"):
        take_in(book, KELP.read_bytes(), "renamed.csv", now=NOW)
    assert fingerprint(book) == before and check(book) == []


def test_what_the_table_does_not_say_is_marked_as_not_stated(book: Notebook) -> None:
    taken = take_in(book, KELP.read_bytes(), KELP.name, now=NOW)
    brew = book.get(Brew, taken.brews[0])
    assert brew.vessel == "not-stated" and "does not state" in brew.notes and "time of import" in brew.notes
    assert any("not stated" in note for note in taken.notes)
    content = b"treatment,bottle,hours,biomass (ug C/mL)\na,1,0,3\n"
    started = take_in(book, content, "two.csv", Wishes(columns={}, started_at=NOW), now=NOW)
    assert book.get(Brew, started.brews[0]).started_at == NOW


def test_a_logger_file_with_clock_times_goes_to_its_brew(book: Notebook) -> None:
    furnish(book)
    content = b"timestamp;DO (mg/L);Temp (C)\n01.05.2026 10:00;8,2;20\n01.05.2026 11:30;7,9;20,5\n"
    taken = take_in(book, content, "probe.csv", Wishes(columns={}, brew="b1", zone="+02:00"), now=LATER)
    assert taken.log_points == 4
    times, values = book.log("b1", "oxygen")  # the brew began at 08:00 UTC
    assert times.tolist() == [0.0, 1.5] and values.tolist() == [8.2, 7.9]
    assert take_in(book, content, "copy.csv", Wishes(columns={}, brew="b1", zone="+02:00"), now=LATER).log_points == 0


def test_percent_of_saturation_becomes_mg_per_l_and_says_so(book: Notebook) -> None:
    furnish(book)
    taken = take_in(book, b"hours,DO (%)\n0,100\n1,50\n", "p.csv", Wishes(columns={}, brew="b1"), now=LATER)
    # 9.09 mg/L at 20 degC and 1 atm: Benson & Krause 1984, as printed in APHA Standard Methods 4500-O (from memory).
    assert book.log("b1", "oxygen")[1].tolist() == [pytest.approx(9.09, abs=0.01), pytest.approx(4.545, abs=0.005)]
    assert any("saturation" in note and "20 degC" in note for note in taken.notes)
    # 11.29 mg/L at 10 degC: the same table. The colder hour of the file counts at its own temperature.
    colder = take_in(book, b"hours,DO (%),Temp (C)\n5,100,20\n6,100,10\n", "q.csv", Wishes(columns={}, brew="b1"), now=LATER)
    assert book.log("b1", "oxygen", from_h=5.0)[1].tolist() == [pytest.approx(9.09, abs=0.01), pytest.approx(11.29, abs=0.01)]
    assert any("temperatures of the table" in note for note in colder.notes)


def test_honest_twins_in_one_file_are_both_kept_and_their_copies_are_not(book: Notebook) -> None:
    furnish(book)
    wishes = Wishes(columns={}, brew="b1", assay="card")
    content = b"hours,biomass (ug C/mL)\n4,30\n4,30\n"
    assert take_in(book, content, "plates.csv", wishes, now=LATER).readings == 2
    more = content + b"4,30\n5,31\n"  # three at one hour and one at another: no longer plainly repeats
    with pytest.raises(ImportFault, match="doubles"):
        take_in(book, more.replace(b"4,30\n5", b"4,33\n5"), "plates2.csv", wishes, now=LATER)
    said = Wishes(brew="b1", assay="card", replies={"doubles": "repeated tests"})
    again = take_in(book, more, "plates2.csv", said, now=LATER)
    assert (again.readings, again.duplicates) == (2, 2)
    assert len(book.readings("b1")) == 4


def test_bad_rows_do_not_keep_good_rows_out(book: Notebook) -> None:
    furnish(book)
    content = b"brew,hours,biomass (ug C/mL)\nb1,4,30\nb1,4,abc\n,6,32\nb1,99999,33\n"
    taken = take_in(book, content, "x.csv", Wishes(columns={}, brew="b1", assay="card"), now=LATER)
    assert [item.elapsed_h for item in book.readings("b1")] == [4.0, 6.0]
    assert [fault.row for fault in taken.faults] == [3, 5]
    assert all(fault.reason and fault.remedy for fault in taken.faults)


def test_another_unit_than_the_assays_is_refused_row_by_row(book: Notebook) -> None:
    furnish(book)
    content = b"hours,value,unit\n4,30,ug C/mL\n5,31,mg C/L\n"
    taken = take_in(book, content, "x.csv", Wishes(columns={}, brew="b1", assay="card"), now=LATER)
    assert taken.readings == 1 and "mg C/L" in taken.faults[0].reason


def test_counts_get_a_stated_carbon_per_cell(book: Notebook) -> None:
    furnish(book)
    content = b"hours,method,value,unit\n4,plate count,1000000,CFU/mL\n"
    taken = take_in(book, content, "x.csv", Wishes(columns={}, brew="b1"), now=LATER)
    assay = book.get(Assay, taken.assays[0])
    # 20 fg of carbon a cell: Lee & Fuhrman 1987 (from memory).
    assert assay.method == "plate count" and assay.to_house * 1e6 == pytest.approx(0.02)
    assert any("Lee & Fuhrman" in note and "Dead" not in note for note in taken.notes)  # colonies were alive
    total = b"hours,method,variable,value,unit\n5,DAPI microscopy,total cells,1000000,cells/mL\n"
    said = take_in(book, total, "y.csv", Wishes(columns={}, brew="b1"), now=LATER).notes
    assert any("no measure of living biomass" in note for note in said)


def test_a_preview_writes_nothing_and_tells_what_it_understood(book: Notebook) -> None:
    before = book.last_change()
    preview = preview_table(KELP.read_bytes(), KELP.name)
    assert preview.ready and len(preview.brews) == 8 and book.last_change() == before
    assert not preview_table(b"time,DO\n0,8\n", "x.csv").ready


def test_a_wish_for_something_unknown_is_refused(book: Notebook) -> None:
    furnish(book)
    with pytest.raises(NotFound):
        take_in(book, b"hours,value\n0,1\n", "x.csv", Wishes(columns={}, brew="b1", assay="no-assay"), now=NOW)
    with pytest.raises(ImportFault):
        take_in(book, b"hours,DO (mg/L)\n0,1\n", "x.csv", Wishes(columns={}), now=NOW)


def test_an_imported_brew_has_a_history(book: Notebook) -> None:
    taken = take_in(book, KELP.read_bytes(), KELP.name, now=NOW + timedelta(days=1))
    history = brew_history(book, taken.brews[0])
    assert len(history.readings) == 9 and history.assays
    # The table ends at 100 h and has no clock: nothing in it may lie in the future.
    assert history.brew.started_at == datetime(2026, 5, 2, 8, 0, tzinfo=UTC) - timedelta(hours=100)


AIR = DATA / "c01_aerated_vs_nonaerated_weekly_batches.csv"


def test_logarithms_of_weekly_batches_become_counts_in_blocks_of_two_arms(book: Notebook) -> None:
    # Source: J Bioremed Biodegrad 2012, 3:149, Table 3; log10 CFU/mL, four weekly batches, two kinds of aeration.
    assert [item.key for item in preview_table(AIR.read_bytes(), AIR.name).open_questions] == ["hour"]
    taken = take_in(book, AIR.read_bytes(), AIR.name, Wishes(columns={}, trial="aeration", at_h=24.0), now=NOW)
    assert taken.faults == () and taken.readings == 16
    trial = book.get(Trial, "aeration")
    assert {arm.key: arm.is_standard for arm in trial.arms} == {"aerated": False, "non-aerated": True}
    assert trial.outcome == "count"  # no carbon was measured
    brews = book.find(Brew, of="aeration")
    weeks = [(arm, week) for arm in ("aerated", "non-aerated") for week in "1234"]
    assert sorted((brew.arm, brew.block) for brew in brews) == weeks
    assert {assay.key: assay.quantity for assay in book.find(Assay)} == {
        "bacteria-plate-count": "bacteria",
        "fungi-plate-count": "fungi",
    }
    first = {item.assay: item for item in book.readings("aeration.aerated.1")}
    assert first["bacteria-plate-count"].signal == pytest.approx(10**7.24) and first["bacteria-plate-count"].unit == "CFU/mL"
    assert first["fungi-plate-count"].typed_as == "4.4 log10" and first["fungi-plate-count"].elapsed_h == 24.0
    with pytest.raises(ImportFault, match="was taken in on"):
        take_in(book, AIR.read_bytes(), AIR.name, Wishes(columns={}, trial="again", at_h=24.0), now=NOW)


def test_each_assay_of_an_imported_trial_can_be_judged(book: Notebook) -> None:
    # As the guide tells: 12 (1.6 to 89) times the bacteria, 0.45 (0.02 to 11) times the fungi. The t interval of four
    # differences of the printed table: bacteria 1.085 log10, SD 0.733, t(3, 0.95) 2.353.
    take_in(book, AIR.read_bytes(), AIR.name, Wishes(columns={}, trial="aeration", at_h=24.0), now=NOW)
    bacteria, fungi = (
        verdict_of_trial(book, "aeration", by=JudgedBy(assay=f"{kind}-plate-count", margin=3.0), now=NOW).comparisons[0]
        for kind in ("bacteria", "fungi")
    )
    assert bacteria.effect is not None and bacteria.low is not None and fungi.effect is not None
    half = 2.353 * 0.733 / 2.0
    assert bacteria.effect == pytest.approx(1.085 * math.log(10), rel=0.01)
    assert bacteria.low == pytest.approx((1.085 - half) * math.log(10), rel=0.05)  # the table's own SEs widen it a little
    # Fungi: mean of the four weekly differences 4.40 - 4.16, 4.52 - 4.20, 4.20 - 6.36, 6.10 - 6.00.
    assert fungi.effect == pytest.approx((0.24 + 0.32 - 2.16 + 0.10) / 4 * math.log(10), abs=0.01)
    assert bacteria.call == fungi.call == "can't tell yet"
    counts = verdict_of_trial(book, "aeration", by=JudgedBy(assay="bacteria-plate-count"), now=NOW).results
    assert sorted(item.value for item in counts)[-1] == pytest.approx(10**10.4)  # counts, not carbon
    with pytest.raises(NotFound):
        verdict_of_trial(book, "aeration", by=JudgedBy(assay="no-assay"), now=NOW)


def test_a_scatter_of_logarithms_is_noted_and_a_wild_power_is_a_bad_row(book: Notebook) -> None:
    rows = b"a,1,0,plate count,5,log10(CFU/mL),0.1\na,2,0,plate count,500,log10 CFU/mL,\n"
    content = b"treatment,bottle,hours,method,value,unit,sd\n" + rows
    taken = take_in(book, content, "x.csv", now=NOW)
    (kept,) = book.readings(taken.brews[0])
    assert (kept.signal, kept.unit, kept.notes) == (1e5, "CFU/mL", "sd 23025.9 CFU/mL")  # ln(10) 0.1 of the count
    assert [fault.row for fault in taken.faults] == [3] and "no count" in taken.faults[0].reason


def test_a_table_with_clocks_but_no_start_begins_at_its_first_clock_time(book: Notebook) -> None:
    content = b"treatment,bottle,sampled at,biomass (ug C/mL)\na,1,2026-04-01T10:00+00:00,3\na,1,2026-04-01T16:00+00:00,5\n"
    taken = take_in(book, content, "clock.csv", now=NOW)
    assert [item.elapsed_h for item in book.readings(taken.brews[0])] == [0.0, 6.0]
    assert any("first clock time" in note for note in taken.notes)
