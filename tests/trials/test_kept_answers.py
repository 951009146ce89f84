"""The answers kept beside are those of today: a second line behind the worked numbers."""

from __future__ import annotations

import pytest

from tests.kept_answers import check, check_names, kept


@pytest.mark.parametrize("case", kept("trials"))
def test_the_answer_is_the_one_kept(case: str) -> None:
    check("trials", case)


def test_each_case_is_kept() -> None:
    check_names("trials")
