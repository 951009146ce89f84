"""A notebook with the invented trial, and its report."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from aerobe import usecases
from aerobe.notebook import Notebook
from aerobe.reports import Report
from tests.reports.world import NOW, invented


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Notebook]:
    with invented(tmp_path_factory.mktemp("book") / "a.notebook") as found:
        yield found


@pytest.fixture(scope="module")
def trial(book: Notebook) -> Report:
    return usecases.reports.report_of_trial(book, "kelp", now=NOW)
