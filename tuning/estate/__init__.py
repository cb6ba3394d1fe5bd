"""An estate: many buildings in a tree of folders or an object store, analysed by many processes or machines, ranked and pooled."""

from tuning.estate.run import EstateRun, run_estate

__all__ = ["EstateRun", "run_estate"]
