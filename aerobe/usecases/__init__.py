"""One function for each thing a person wants done, by subject: the only room that holds notebook and science together."""

from aerobe.usecases import assay, brews, evidence, exchange, notebook, oxygen, practice, reports, safety, trials

__all__ = ["assay", "brews", "evidence", "exchange", "notebook", "oxygen", "practice", "reports", "safety", "trials"]
