"""Commands about readings."""

from __future__ import annotations

from cyclopts import App

from aerobe.cli._common import OWN, Where, now, say, table, then
from aerobe.cli._typed import NOTED, NoteOptions
from aerobe.records import Brew

reading = App(name="reading", help="Add, correct and list readings.")


@reading.command(name="add")
def reading_add(
    brew: str,
    signal: str,
    /,
    *,
    assay: str,
    role: str = "sample",
    dilution: str = "1",
    replicate: str = "1",
    noted: NoteOptions = NOTED,
    where: Where = OWN,
) -> None:
    """Keep a reading, as typed.

    Parameters
    ----------
    brew
        Key of the brew.
    signal
        The result: a number, "<0.1" below detection or ">500" above range.
    assay
        Key of the assay.
    role
        sample, blank, "filtered blank", "killed control", spike or standard.
    dilution
        Final volume over sample volume: 10, or 1:10.
    replicate
        Which of several tests of one sample: 1, 2, 3.
    """
    from aerobe.usecases.notebook import ReadingEntry, add_reading, impossible

    entry = ReadingEntry(
        brew=brew,
        assay=assay,
        signal=signal,
        when=noted.when,
        role=role,
        dilution=dilution,
        replicate=replicate,
        notes=noted.notes,
        token=noted.token,
    )
    with where.open(create=False) as open_one:
        receipt = add_reading(open_one, entry, now=now())
        odd = impossible(open_one.reading(receipt.key).elapsed_h, open_one.get(Brew, brew), now=now())
    say(
        receipt,
        as_json=where.json,
        text=[
            f"Kept as '{receipt.key}'." if receipt.was_new else f"'{receipt.key}' was kept before.",
            *([f"Look again at its time: {odd} `aerobe reading correct` mends it."] if odd else []),
            *then(f"call {brew}"),
        ],
    )


@reading.command(name="correct")
def reading_correct(key: str, signal: str, /, *, why: str, when: str = "", where: Where = OWN) -> None:
    """Correct a reading; the old one stays in the notebook.

    Parameters
    ----------
    key
        Key of the reading that is wrong.
    signal
        The right result.
    why
        What went wrong.
    when
        The right time, if that was wrong too.
    """
    from aerobe.usecases.notebook import ReadingEntry, correct_reading

    with where.open(create=False) as open_one:
        old = open_one.reading(key)
        entry = ReadingEntry(
            brew=old.brew,
            assay=old.assay,
            signal=signal,
            when=when,
            role=old.role,
            dilution=repr(old.dilution),
            replicate=str(old.replicate),
            sample=old.sample,
            kit_lot=old.kit_lot,
        )
        receipt = correct_reading(open_one, key, entry, now=now(), why=why)
    say(receipt, as_json=where.json, text=f"'{receipt.key}' now stands for '{key}'; both are kept.")


@reading.command(name="list")
def reading_list(brew: str, /, *, all: bool = False, where: Where = OWN) -> None:
    """Readings of a brew.

    Parameters
    ----------
    brew
        Key of the brew.
    all
        Also those that were corrected, and which reading corrects which.
    """
    with where.open(create=False) as open_one:
        found = open_one.readings(brew, with_corrected=all)
    rows = [
        (
            item.key,
            f"{item.elapsed_h:g}",
            item.role,
            item.assay,
            f"{item.typed_as} {item.unit}",
            f"{item.dilution:g}",
            *([item.replaces] if all else []),
        )
        for item in found
    ]
    head = ("key", "h", "role", "assay", "result", "dilution", *(["corrects"] if all else []))
    say(found, as_json=where.json, text=table(head, rows))
