"""Which test a verdict rests on, and which others read the same trial: two tests can give two verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from aerobe.notebook import Notebook
from aerobe.records import Assay, Brew, Trial
from aerobe.usecases.trials._values import FROM_COURSE, assays_that_judge
from aerobe.verdicts import outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class RestsOn:
    """The test that a verdict rests on."""

    assay: Assay | None  # None: the verdict comes from the brew model or from oxygen logs
    others: tuple[Assay, ...] = ()  # further tests that read its brews and could be judged by
    says: str = ""
    how: str = ""  # how to judge by another; "" where there is none

    @property
    def words(self) -> str:
        """What it rests on and what else there is."""
        return f"{self.says} {self.how}".strip()


def rests_on(notebook: Notebook, key: str, *, outcome_key: str = "", assay: str = "") -> RestsOn:
    """The test by which `verdict_of_trial` judges a trial with the same outcome and assay.

    Parameters
    ----------
    notebook, key
        Where the trial is.
    outcome_key
        Judged by; the trial's own if empty.
    assay
        Key of the assay asked for; empty for the one that measured the most brews.

    Raises
    ------
    NotFound
        If there is no such trial, or no such assay that measures the outcome.
    """
    trial = notebook.get(Trial, key)
    kind = outcome(outcome_key or trial.outcome)
    brews = notebook.find(Brew, of=key)
    if kind.key == "oxygen":
        return RestsOn(assay=None, says="The verdict rests on the oxygen logs of the brews, on no test of microbes.")
    if kind.key in FROM_COURSE:
        names = ", ".join(_named(item) for item in _tests_of(notebook, brews))
        return RestsOn(assay=None, says=f"The verdict rests on the brew model, fitted to all tests of each brew: {names}.")
    found = [notebook.get(Assay, name) for name in assays_that_judge(notebook, brews, kind.key, assay)]
    if not found:
        return RestsOn(assay=None)
    one, others = found[0], tuple(found[1:])
    says = f"The verdict rests on one test: {_named(one)}."
    if not others:
        return RestsOn(assay=one, says=says)
    command = f"aerobe report trial {key} --assay"
    if len(others) == 1:
        by, listed, judge = "another test", _named(others[0]), f"by it: {command} {others[0].key}"
    else:
        listed = "; ".join(f"{_named(item)}, key {item.key}" for item in others)
        by, judge = f"{len(others)} other tests", f"by one of them: {command} KEY"
    how = (
        f"These brews were read by {by} too, which may tell another story: {listed}. To judge {judge}. "
        "Choose a test for what it measures, not for its verdict."
    )
    return RestsOn(assay=one, others=others, says=says, how=how)


def _tests_of(notebook: Notebook, brews: Sequence[Brew]) -> list[Assay]:
    used = {reading.assay for brew in brews for reading in notebook.readings(brew.key) if reading.role == "sample"}
    return [notebook.get(Assay, key) for key in sorted(used)]


def _named(assay: Assay) -> str:
    method = "method not stated" if assay.method == "other" else assay.method
    return f"'{assay.name}' ({method}, {assay.unit})"
