"""What several rooms take from statistics and none of them owns: a likelihood, a quantile."""

from aerobe.statistics._likelihood import gaussian_deviance
from aerobe.statistics._quantiles import normal_mixture_below, normal_mixture_quantile, quantile

__all__ = ["gaussian_deviance", "normal_mixture_below", "normal_mixture_quantile", "quantile"]
