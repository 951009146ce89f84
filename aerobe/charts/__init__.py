"""Results in, one picture out: a chart that page and report share, the sentence it says and its figures as text."""

from aerobe.charts._brew import RawPoint, Window, brew_curve, oxygen_curve
from aerobe.charts._readings import readings_chart
from aerobe.charts._style import COLOURS, FONTS_FOLDER, FigureTable, Look, Picture, config, picture, records_of, series_scales

__all__ = [
    "COLOURS", "FONTS_FOLDER", "FigureTable", "Look", "Picture", "RawPoint", "Window", "brew_curve", "config", "oxygen_curve",
    "picture", "readings_chart", "records_of", "series_scales",
]
