"""Files as people bring them: nothing merged, nothing lost, nothing made up. Unless a source is named, the data are invented."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from aerobe.errors import AerobeError, ImportFault, NotEnoughData
from aerobe.notebook import Notebook, fingerprint
from aerobe.oxygen import uptake_from_log
from aerobe.records import Assay, Brew, Recipe, Trial, Vessel
from aerobe.usecases.brews import advise_brew
from aerobe.usecases.exchange import (
    Wishes,
    export_package,
    import_package,
    long_log_envelope,
    preview_table,
    take_in,
    take_in_long_log,
)
from aerobe.usecases.notebook import list_brews, open_notebook
from aerobe.usecases.oxygen import brew_uptake
from tests.conftest import DATA
from tests.notebook.conftest import NOW, furnish

LATER = NOW + timedelta(hours=60)
HEAD = "treatment,bottle,hours,cells/mL\n"
BODY = "kelp,A,0,1e6\nkelp,A,12,4e6\nplain,B,0,1.1e6\nplain,B,12,2e6\n"


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "a.notebook", at=NOW) as notebook:
        yield notebook


def take(book: Notebook, text: str, name: str = "x.csv", **wishes: object):
    return take_in(book, text.encode(), name, Wishes(**wishes), now=LATER)


def test_a_column_that_tells_bottles_of_one_name_apart_must_be_answered(book: Notebook) -> None:
    two = "shelf," + HEAD + "1,kelp,A,0,1e6\n1,kelp,A,12,4e6\n2,kelp,A,0,2e6\n2,kelp,A,12,9e6\n"
    with pytest.raises(ImportFault, match="shelf"):
        take(book, two)
    assert book.find(Brew) == []
    taken = take(book, two, replies={"column:shelf": "experiment"})
    assert len(taken.brews) == 2 and all(len(book.readings(key)) == 2 for key in taken.brews)


def test_where_nothing_is_kept_nothing_is_written_and_the_file_can_be_tried_again(book: Notebook) -> None:
    before = fingerprint(book)
    text = HEAD.replace("cells/mL", "glow (blinks)") + BODY
    for _ in range(2):  # the second try is not refused as a copy of the first
        with pytest.raises(ImportFault, match="blinks") as fault:
            take(book, text)
        assert "try again" in fault.value.remedy and fingerprint(book) == before
    assert take(book, text, columns={"glow (blinks)": "value [cells/mL]"}).readings == 4


def test_one_brew_named_never_covers_a_table_that_names_several(book: Notebook) -> None:
    furnish(book)
    log = "tank,hours,DO (mg/L)\nt1,0,8\nt1,1,7.5\nt2,0,6\nt2,1,5\n"
    with pytest.raises(ImportFault, match="names 't1'"):
        take(book, log, brew="b1")
    assert book.log("b1", "oxygen")[0].size == 0
    one = log.split("t2")[0]
    assert take(book, one, brew="b1").log_points == 2  # a table of one tank may be that brew


def test_what_is_taken_without_an_answer_and_what_is_ignored_is_said(book: Notebook) -> None:
    taken = take(book, "shed 7\n\nserial," + HEAD + "".join(f"77,{line}\n" for line in BODY.split()) + "\nby hand\n")
    said = " ".join((*taken.taken_for, *taken.ignored))
    assert "serial" in said and "shed 7" in said and "by hand" in said and "air reach" in said


def test_the_next_file_of_the_shape_is_read_the_same_way(book: Notebook) -> None:
    text = "time,tank,cells/mL\n0,A,1e6\n6,A,2e6\n"
    with pytest.raises(ImportFault, match="unit:time"):
        take(book, text)
    take(book, text, replies={"unit:time": "h"})
    preview = preview_table(text.replace("A", "B").encode(), "y.csv", Wishes(), notebook=book, now=LATER)
    assert preview.ready and preview.remembered


def test_rows_ahead_of_the_clock_and_far_off_are_asked_about_by_row(book: Notebook) -> None:
    furnish(book)
    late = "hours,biomass (ug C/mL)\n4,30\n400,31\n"
    with pytest.raises(ImportFault, match=r"row 3"):
        take(book, late, brew="b1", assay="card")
    assert take(book, late, brew="b1", assay="card", replies={"rows ahead of the clock": "leave out"}).readings == 1
    slip = "hours,biomass (ug C/mL)\n5,30\n6,3100\n7,31\n"
    with pytest.raises(ImportFault, match="far off"):
        take(book, slip, brew="b1", assay="card")
    assert take(book, slip, brew="b1", assay="card", replies={"far off": "leave out"}).readings == 2


def test_a_sealed_vessel_is_asked_for_and_its_uptake_is_that_of_the_log_alone(book: Notebook) -> None:
    hours = np.arange(0.0, 24.0, 0.25)
    oxygen = 8.0 + np.minimum(hours, 2.0) * 0.2 - 0.1 * hours  # warms up for two hours, then falls by 0.1 mg/L an hour
    log = "vial,hours,DO (mg/L)\n" + "".join(f"v1,{hour},{value:.4f}\n" for hour, value in zip(hours, oxygen, strict=True))
    with pytest.raises(ImportFault, match="transfer"):
        take(book, log)
    sealed = take(book, log, replies={"transfer": "sealed: no air comes in"})
    assert book.get(Vessel, book.get(Brew, sealed.brews[0]).vessel).air.kla_per_h == 0.0
    found = brew_uptake(book, sealed.brews[0])
    assert found.now_mg_per_l_h[1] == pytest.approx(0.1, rel=0.15) and "warming up" in found.says
    unknown = take(book, log.replace("v1", "v2"), "z.csv", trial="other", replies={"transfer": "not known"})
    with pytest.raises(NotEnoughData, match="not stated"):
        brew_uptake(book, unknown.brews[0])


def test_spreads_of_a_table_become_the_error_of_its_test(book: Notebook) -> None:
    rows = "kelp,A,0,1e6,1e5,4\nkelp,A,12,4e6,4e5,4\nplain,B,0,2e6,2e5,4\nplain,B,12,5e6,5e5,4\n"
    taken = take(book, HEAD.replace("\n", ",SD,n\n") + rows)
    error = book.get(Assay, taken.assays[0]).error
    assert error is not None and error.proportional_cv == pytest.approx(0.05) and "spreads" in error.origin  # 10 % over root 4


def test_optical_density_grazers_and_doses_can_be_said(book: Notebook) -> None:
    text = "molasses (g/L),hours,OD600,ciliates (cells/mL)\n" + "".join(
        f"{dose},{hour},{0.1 + dose * hour / 100},{100 + hour}\n" for dose in (0, 2, 5) for hour in (0, 12)
    )
    taken = take(book, text)
    assert taken.readings == 12
    by_name = {assay.name: assay for assay in book.find(Assay)}
    assert by_name["OD600"].method == "turbidity" and by_name["ciliates"].quantity == "grazers"
    trial = book.get(Trial, taken.trial)
    assert trial.question == "dose series" and sorted(arm.dose for arm in trial.arms) == [0.0, 2.0, 5.0]
    assert any("rough figure" in note for note in taken.notes)


def test_a_nominal_temperature_is_the_brews_and_no_log(book: Notebook) -> None:
    taken = take(book, HEAD.replace("\n", ",temp C\n") + BODY.replace("\n", ",24\n"))
    assert taken.log_points == 0 and book.get(Brew, taken.brews[0]).temperature_degc == 24.0


def test_a_brew_out_of_a_table_is_as_old_as_its_table(book: Notebook) -> None:
    take(book, HEAD + BODY, started_at=NOW - timedelta(hours=100))
    assert {(item["elapsed_h"], item["brewing"]) for item in list_brews(book, now=LATER)} == {(12.0, False)}


def test_a_recipe_without_compost_is_refused(book: Notebook) -> None:
    with pytest.raises(AerobeError, match="no compost"):
        book.add(Recipe(key="r", name="r", compost="", compost_g_per_l=50.0), at=NOW)


def test_out_and_in_again_is_the_same(book: Notebook, tmp_path: Path) -> None:
    take(book, HEAD + BODY + "kelp killed,A,12,2e4\n")
    content = export_package(book, now=LATER)
    with open_notebook(tmp_path / "b.notebook", at=NOW) as other:
        import_package(other, content, now=LATER)
        assert fingerprint(other) == fingerprint(book)
        again = export_package(other, now=LATER)
        assert _parts(again, other.origin) == _parts(content, book.origin)
        assert [len(_histories(package)) for package in (content, again)] == [1, 1]


def _parts(package: bytes, mark: str) -> dict[str, bytes]:
    """The files of a package, but for the mark of its notebook, and for what the order of writing there shows."""
    with zipfile.ZipFile(io.BytesIO(package)) as packed:
        parts = {name: packed.read(name).replace(mark.encode(), b"here") for name in packed.namelist()}
    results = [item for item in json.loads(parts.pop("data/results.json")) if item["kind"] != "plan history"]
    return parts | {"datapackage.json": b"", "results": json.dumps(results).encode()}


def _histories(package: bytes) -> list[dict[str, object]]:
    with zipfile.ZipFile(io.BytesIO(package)) as packed:
        return [item for item in json.loads(packed.read("data/results.json")) if item["kind"] == "plan history"]


PUBLISHED = {  # file: answers, brews, results kept, unit
    "c01_aerated_vs_nonaerated_weekly_batches.csv": ({"hour": "24 h"}, 8, 16, {"CFU/mL"}),
    "c02_pathogen_regrowth_vs_molasses.csv": ({}, 2, 8, {"CFU/mL"}),
    "s11_kelp_glucose_batch_2021_two_methods_and_O2.csv": ({}, 8, 60, {"cells/mL"}),
}
NO_BREWS = ("c03", "c04", "c05", "c06_", "c06b", "c07", "s07", "s12", "s13")


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_files_of_brews_are_taken_in_as_published(book: Notebook, name: str) -> None:
    replies, brews, results, units = PUBLISHED[name]
    taken = take_in(book, (DATA / name).read_bytes(), name, Wishes(replies=replies), now=LATER)
    assert len(taken.brews) == brews and taken.readings == results and taken.faults == ()
    assert {reading.unit for reading in book.readings()} == units
    if name.startswith("c02"):  # 1 CFU/mL at the start, over 1000 or about that after 72 h, as the abstract says
        above = [reading for reading in book.readings() if reading.above_range]
        assert sorted(reading.signal for reading in above) == [1000.0, 350000.0]


@pytest.mark.parametrize("start", NO_BREWS)
def test_published_files_that_hold_no_brews_are_asked_about_or_refused_and_leave_nothing(book: Notebook, start: str) -> None:
    path = next(DATA.glob(f"{start}*.csv"))
    before = fingerprint(book)
    with pytest.raises(ImportFault):
        take_in(book, path.read_bytes(), path.name, Wishes(), now=LATER)
    assert fingerprint(book) == before


def test_a_long_log_is_thinned_and_gives_the_same_uptake(book: Notebook) -> None:
    furnish(book)
    rng = np.random.default_rng(2)
    hours = np.arange(0.0, 6.0, 2.0 / 3600.0)
    oxygen = 8.5 - 0.3 * hours + rng.normal(0.0, 0.03, hours.size)
    lines = "".join(f"{hour:.6f},{value:.4f}\n" for hour, value in zip(hours, oxygen, strict=True))
    content = ("hours,DO_mg_per_L\n" + lines + "5.9,ERR\n").encode()
    taken = take_in_long_log(book, io.BytesIO(content), "long.csv", Wishes(brew="b1"), now=LATER)
    times, values = book.log("b1", "oxygen")
    assert taken.log_points == times.size == 360 and "1 values" in " ".join(taken.notes)
    kept = long_log_envelope(book, "b1", "oxygen")
    assert kept is not None and kept.points.sum() == hours.size
    assert (kept.low.min(), kept.high.max()) == (pytest.approx(oxygen.min(), abs=1e-4), pytest.approx(oxygen.max(), abs=1e-4))
    assert (kept.mean * kept.points).sum() == pytest.approx(np.round(oxygen, 4).sum())
    whole, thin = (uptake_from_log(t, v, kla20_per_h=5.0, kla_log_sd=0.1) for t, v in ((hours, oxygen), (times, values)))
    middle = np.interp([1.0, 3.0, 5.0], whole.elapsed_h, whole.median)
    assert np.interp([1.0, 3.0, 5.0], thin.elapsed_h, thin.median) == pytest.approx(middle, rel=0.02, abs=0.05)


def test_a_long_log_that_names_brews_goes_to_each_and_begins_those_that_are_new(book: Notebook) -> None:
    furnish(book)
    rows = "".join(
        f"{name},{at / 30 + 0.004:.5f},{8.0 - at / 1000:.3f}\n" for at in range(120) for name in ("b1", "north", "south")
    )
    content = ("tank,hours,DO_mg_per_L\n" + rows).encode()
    before = fingerprint(book)
    with pytest.raises(ImportFault, match=r"\[transfer\]"):
        take_in_long_log(book, io.BytesIO(content), "long.csv", Wishes(), now=LATER)
    assert fingerprint(book) == before
    said = Wishes(replies={"transfer": "not known"})
    taken = take_in_long_log(book, io.BytesIO(content), "long.csv", said, now=LATER)
    assert len(taken.brews) == 2 and taken.log_points == 360
    for key in ("b1", *taken.brews):
        times, values = book.log(key, "oxygen")
        assert (len(times), float(values[0]), float(values[-1])) == (120, 8.0, pytest.approx(7.881))
    assert take_in_long_log(book, io.BytesIO(content), "long.csv", said, now=LATER).log_points == 0  # once is enough


def test_limits_of_a_result_stay_with_its_reading(book: Notebook) -> None:
    take(book, "tank,hours,CFU/mL,95% LCL,95% UCL\nA,0,200,100,400\nA,24,2e5,1e5,4e5\n")
    assert {reading.notes for reading in book.readings()} == {
        "standard uncertainty 70.7293 CFU/mL",
        "standard uncertainty 70729.3 CFU/mL",
    }


def test_counts_in_a_gram_are_kept_beside_and_a_table_of_nothing_else_says_what_they_count(book: Notebook) -> None:
    taken = take(book, "tank,hours,CFU/mL,E. coli (MPN/g dw)\nA,0,1e6,<3\nA,24,4e7,9.2\n")
    assert taken.readings == 2 and taken.kept_beside == 2 and {item.unit for item in book.readings()} == {"CFU/mL"}
    before = fingerprint(book)
    with pytest.raises(ImportFault, match="MPN/g counts what is in a gram of a solid"):
        take(book, "tank,hours,MPN/g\nB,0,3\nB,24,240\n")
    assert fingerprint(book) == before


def test_a_mass_of_something_else_is_no_biomass(book: Notebook) -> None:
    taken = take(book, "tank,hours,cells/mL,protein (ug/mL),dry weight (mg/L)\nA,0,1e6,30,120\nA,6,2e6,40,300\n")
    assert taken.readings == 2 and {item.unit for item in book.readings()} == {"cells/mL"}
    with pytest.raises(ImportFault, match="protein"):
        take(book, "tank,hours,protein (ug/mL)\nB,0,30\nB,6,40\n")


def test_salinity_is_kept_and_counts_where_percent_becomes_mg_per_l(book: Notebook) -> None:
    furnish(book)
    taken = take(book, "hours,DO (%),Temp (C),Salinity (PSU)\n0,100,20,0\n1,100,20,35\n", brew="b1")
    # 9.09 and 7.38 mg/L at 20 degC, 1 atm and 0 and 35: Benson & Krause 1984, as tabled in APHA Standard Methods 4500-O
    # (the second from memory).
    assert book.log("b1", "oxygen")[1].tolist() == [pytest.approx(9.09, abs=0.01), pytest.approx(7.38, abs=0.03)]
    assert book.log("b1", "salinity")[1].tolist() == [0.0, 35.0] and any("salinities" in note for note in taken.notes)


@pytest.mark.parametrize("name", ["s11_kelp_glucose_batch_2021_two_methods_and_O2.csv"])
def test_a_published_brew_of_unknown_recipe_gets_a_call(book: Notebook, name: str) -> None:
    taken = take_in(book, (DATA / name).read_bytes(), name, Wishes(), now=LATER)
    brew = book.get(Brew, taken.brews[0])
    advice = advise_brew(book, brew.key, brew.started_at + timedelta(hours=100))
    assert advice.oxygen is None and any("readings alone" in note for note in advice.notes)
