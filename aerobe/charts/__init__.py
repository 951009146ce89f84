"""Results in, one picture out: a chart that page and report share, the sentence it says and its figures as text."""

from aerobe.charts._assay import colour_without_cells, meaning_of_readings, ratio_by_phase, two_tests
from aerobe.charts._bars import named_bars
from aerobe.charts._brew import Expected, HarvestSpan, Moments, RawPoint, brew_curve, oxygen_curve
from aerobe.charts._courses import Course, PastCall, calls_replayed, courses_by_arm
from aerobe.charts._evidence import RatioRow, arm_points, forest, funnel
from aerobe.charts._look import COLOURS, FONTS_FOLDER, Look
from aerobe.charts._overlay import OverlaidBrew, oxygen_overlaid, readings_overlaid
from aerobe.charts._oxygen import biomass_by_dose, kla_by_flow, lowest_oxygen_by_dose, reaeration_run, uptake_curve
from aerobe.charts._poster import SIZES, Poster, on_one_scale, poster_png, poster_svg
from aerobe.charts._practice import practice_course
from aerobe.charts._readings import readings_chart
from aerobe.charts._style import FigureTable, Picture
from aerobe.charts._surface import surface_profiles
from aerobe.charts._trials import best_dose_words, designs_by_cost, dose_curve
from aerobe.charts._weighed import weighed_pictures

__all__ = [
    "COLOURS",
    "FONTS_FOLDER",
    "Course",
    "FigureTable",
    "Look",
    "OverlaidBrew",
    "PastCall",
    "Picture",
    "RatioRow",
    "Expected",
    "Moments",
    "RawPoint",
    "SIZES",
    "Poster",
    "HarvestSpan",
    "arm_points",
    "best_dose_words",
    "biomass_by_dose",
    "brew_curve",
    "calls_replayed",
    "colour_without_cells",
    "courses_by_arm",
    "designs_by_cost",
    "dose_curve",
    "forest",
    "funnel",
    "kla_by_flow",
    "lowest_oxygen_by_dose",
    "meaning_of_readings",
    "named_bars",
    "on_one_scale",
    "practice_course",
    "oxygen_curve",
    "oxygen_overlaid",
    "poster_png",
    "poster_svg",
    "ratio_by_phase",
    "readings_chart",
    "readings_overlaid",
    "reaeration_run",
    "surface_profiles",
    "two_tests",
    "uptake_curve",
    "weighed_pictures",
]
