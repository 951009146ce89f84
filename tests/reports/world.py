"""A small invented world: a finished trial of two recipes with three brews each, written without any fit."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from aerobe.notebook import Notebook, open_notebook
from aerobe.records import (
    AirSupply,
    Arm,
    Assay,
    AssayError,
    Brew,
    Compost,
    FoodDose,
    Harvest,
    PlannedBrew,
    PlannedSample,
    Reading,
    Recipe,
    RunSheet,
    Sample,
    SensorLog,
    Trial,
    Use,
    Vessel,
)

NOW = datetime(2026, 5, 20, 9, 0, tzinfo=UTC)
BEGAN = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
EVIL = "<script>alert('x')</script> #panic() =HYPERLINK(\"http://x\") $y$ \\ *z* {{ 7*7 }}"


def invented(
    path: Path,
    *,
    brews: int = 3,
    name: str = "Kelp or not (invented)",
    seed: int = 5,
    ratio: float = 1.8,
    notes: str = "",
    controls: bool = True,
) -> Notebook:
    """A notebook with trial `kelp`; the true ratio of biomass is `ratio`."""
    book = open_notebook(path, at=NOW)
    rng = np.random.default_rng(seed)
    with book.writing() as pen:
        pen.add(Compost(key="heap", name="Heap (invented)", origin="yard of A. Nobody", animal_origin=False), at=NOW)
        for key, extra in (("plain", ()), ("kelp", (FoodDose(food="kelp-extract", g_per_l=1.0),))):
            pen.add(
                Recipe(
                    key=key,
                    name=f"{key} (invented)",
                    compost="heap",
                    compost_g_per_l=50.0,
                    notes=notes,
                    foods=(FoodDose(food="molasses", g_per_l=1.0), *extra),
                ),
                at=NOW,
            )
        pen.add(Vessel(key="bucket", name="Bucket", volume_l=20.0, depth_m=0.3, air=AirSupply(flow_l_per_min=12.0)), at=NOW)
        pen.add(
            Assay(
                key="card",
                name="Colour test (invented)",
                method="colour test",
                error=AssayError(constant_sd=3.0, proportional_cv=0.12, origin="certificate: invented study"),
            ),
            at=NOW,
        )
        pen.add(
            Trial(
                key="kelp",
                name=name,
                question="two recipes",
                planned_at=BEGAN - timedelta(days=2),
                notes=notes,
                arms=(Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp")),
            ),
            at=NOW,
        )
        lines, begun = [], []
        for place in range(brews):
            for arm, level in (("plain", 60.0), ("kelp", 60.0 * ratio)):
                key = f"{arm}-{place + 1}"
                lines.append(
                    PlannedBrew(
                        brew=key,
                        arm=arm,
                        block=f"day-{place + 1}",
                        vessel="bucket",
                        starts_at=None,
                        blind_code=f"C{len(lines)}",
                        samples=(PlannedSample(elapsed_h=20.0),),
                    )
                )
                begun.append((key, arm, place, level))
        pen.add(RunSheet(trial="kelp", seed=3, brews=tuple(lines)), at=NOW)
        for key, arm, place, level in begun:
            _brew(pen, key, arm, place, level, rng, notes, controls)
    return book


def read_by_microscope(book: Notebook) -> None:
    """A second test of every brew: under the microscope kelp has fewer cells, whatever the colour says."""
    book.add(Assay(key="scope", name="Stain (invented)", method="direct microscopy", to_house=2e-8, unit="cells/mL"), at=NOW)
    for brew in book.find(Brew, of="kelp"):
        seen = (8e8 if brew.arm == "kelp" else 2.4e9 * 0.95 ** int(brew.key[-1])) * (1.0 + 0.03 * int(brew.key[-1]))
        book.add(
            Reading(
                key=f"{brew.key}-m",
                brew=brew.key,
                assay="scope",
                role="sample",
                elapsed_h=20.0,
                signal=seen,
                unit="cells/mL",
                typed_as=f"{seen:g}",
            ),
            at=NOW,
        )


def _brew(
    pen: object,
    key: str,
    arm: str,
    place: int,
    level: float,
    rng: np.random.Generator,
    notes: str,
    controls: bool,
) -> None:
    began = BEGAN + timedelta(days=place)
    pen.add(
        Brew(
            key=key,
            name=f"{arm} {place + 1} (invented)",
            recipe=arm,
            vessel="bucket",
            started_at=began,
            trial="kelp",
            arm=arm,
            block=f"day-{place + 1}",
            notes=notes,
        ),
        at=NOW,
    )
    pen.add(Sample(key=f"{key}-s", brew=key, elapsed_h=20.0, taken_by="A. Nobody", notes=notes), at=NOW)
    value = level * float(np.exp(rng.normal(0.0, 0.1)))
    for number in range(2):
        signal = round(value * float(np.exp(rng.normal(0.0, 0.1))) + 5.0, 1)
        pen.add(
            Reading(
                key=f"{key}-r{number}",
                brew=key,
                assay="card",
                role="sample",
                elapsed_h=20.0,
                signal=signal,
                unit="ug C/mL",
                typed_as=f"{signal}",
                replicate=number + 1,
                operator="A. Nobody",
                notes=notes,
            ),
            at=NOW,
        )
    if controls:
        pen.add(
            Reading(
                key=f"{key}-k",
                brew=key,
                assay="card",
                role="killed control",
                elapsed_h=20.0,
                signal=5.0,
                unit="ug C/mL",
                typed_as="5,0",
                operator="B. Nobody",
            ),
            at=NOW,
        )
    hours = tuple(float(h) for h in np.linspace(0.0, 21.0, 60))
    pen.append_log(SensorLog(brew=key, channel="oxygen", elapsed_h=hours, values=tuple(8.0 - 0.1 * h for h in hours)), at=NOW)
    pen.add(Harvest(brew=key, elapsed_h=21.0, smell="earthy", notes=notes), at=NOW)
    pen.add(Use(key=f"{key}-u", brew=key, used_at=began + timedelta(days=1), place="garden of A. Nobody", tea_l=1.0), at=NOW)


def unpacked(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def packed(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for name, content in files.items():
            target.writestr(name, content)
    return out.getvalue()


def with_table(content: bytes, path: str, change) -> bytes:
    """The package with one table changed and its hash made right again, as a forger would."""
    files = unpacked(content)
    files[path] = change(files[path])
    about = json.loads(files["datapackage.json"])
    for entry in about["resources"]:
        if entry["path"] == path:
            entry |= {"bytes": len(files[path]), "hash": f"sha256:{hashlib.sha256(files[path]).hexdigest()}"}
    files["datapackage.json"] = json.dumps(about).encode()
    return packed(files)


# -- the same again ------------------------------------------------------------------------------------------------------
