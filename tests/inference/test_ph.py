"""pH that is kept is not ignored: acids and ammonia are said."""

from __future__ import annotations

import numpy as np
import pytest

from aerobe.inference import Log, ph_notes
from aerobe.inference._ph import ammonia_share


@pytest.mark.parametrize(
    ("ph", "degc", "share"), [(7.0, 20.0, 0.00396), (8.0, 20.0, 0.0382), (9.0, 20.0, 0.284), (9.0, 25.0, 0.362)]
)
def test_free_ammonia_is_that_of_the_published_table(ph, degc, share):
    # Table of emerson-1975, percent un-ionised ammonia; from memory.
    assert ammonia_share(ph, degc) == pytest.approx(share, rel=0.01)


def said(values):
    return " ".join(ph_notes(Log(elapsed_h=np.arange(len(values)) / 2.0, values=np.array(values)), 20.0))


def test_a_sour_brew_and_an_alkaline_one_are_said_and_a_usual_one_is_not():
    assert "ferments" in said([7.0, 6.0, 4.8, 4.4, 4.3]) and "4.3" in said([7.0, 6.0, 4.8, 4.4, 4.3])
    assert "free ammonia" in said([7.5, 8.8, 9.2, 9.4])
    assert said([7.2, 6.8, 6.2, 7.9, 8.3]) == ""


def test_one_odd_value_or_what_is_no_ph_is_no_warning_but_the_only_value_counts():
    assert said([7.0, 7.0, 3.0, 7.0, 7.0, np.nan, 0.0, 40.0]) == ""
    assert "ferments" in said([4.2])
    assert ph_notes(None, 20.0) == ()
