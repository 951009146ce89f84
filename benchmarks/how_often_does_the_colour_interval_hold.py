"""How often do the stated intervals of the colour bias hold the truth, over many kinds of test?

Prints the share of simulated studies whose 90 % interval holds the true bias, for tests from precise to poor, and the
same with intervals spoiled on purpose. Run: python benchmarks/how_often_does_the_colour_interval_hold.py [studies]
"""

from __future__ import annotations

import sys
import time
from itertools import product

from aerobe.assay import TrueTest, colour_coverage


def main() -> None:
    """Print the table."""
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    began = time.perf_counter()
    print(f"{studies} studies each\nconstant  cv    slope  bias held  slope held")
    for constant, cv, slope in product((1.0, 6.0, 15.0), (0.0, 0.12, 0.3), (0.0, 45.0, 150.0)):
        found = colour_coverage(TrueTest(constant_sd=constant, proportional_cv=cv, tea_slope=slope), studies=studies, seed=1)
        print(f"{constant:8g}  {cv:4g}  {slope:5g}  {100 * found.of_bias:8.1f} %  {100 * found.of_slope:8.1f} %")
    for words, options in (("intervals x 0.8", {"spoil": 0.8}), ("covariance forgotten", {"ignore_covariance": True})):
        found = colour_coverage(TrueTest(), studies=studies, seed=1, **options)  # type: ignore[arg-type]
        print(f"spoiled, {words}: {100 * found.of_bias:.1f} %, {100 * found.of_slope:.1f} %")
    print(f"{time.perf_counter() - began:.1f} s")


if __name__ == "__main__":
    main()
