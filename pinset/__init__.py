"""Plan, read and tell fair side-by-side grow trials.

The public names live in the rooms `trials`, `analyses` and `reports`; they are offered here too and
loaded when first used.

Examples
--------
>>> import pinset
>>> layout = pinset.draw(pinset.check_trial(pinset.starter("yield", folder="t", seed=1)))
>>> len(layout.slots)
32
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

from pinset.rooms import check_rooms
from pinset.version import __version__

if TYPE_CHECKING:
    from analyses.analysis import Analysis
    from analyses.estimate import Estimate
    from analyses.finding import Finding
    from analyses.models.mixed import fit_mixed
    from analyses.pooling.pool import pool
    from analyses.questions import analyse
    from reports.group_report import write_group_report
    from reports.report import Report, write_report
    from trials.designs import draw
    from trials.layout import Layout
    from trials.problems import Problem, Problems
    from trials.records import Records, read
    from trials.starters import starter
    from trials.together import read_together
    from trials.trial import Trial
    from trials.trial_file import check_trial, read_trial
    from trials.trial_text import to_toml

__all__ = [
    "Analysis",
    "Estimate",
    "Finding",
    "Layout",
    "Problem",
    "Problems",
    "Records",
    "Report",
    "Trial",
    "__version__",
    "analyse",
    "check_trial",
    "draw",
    "fit_mixed",
    "pool",
    "read",
    "read_together",
    "read_trial",
    "starter",
    "to_toml",
    "write_group_report",
    "write_report",
]

_HOMES = {
    "Analysis": "analyses.analysis",
    "Estimate": "analyses.estimate",
    "Finding": "analyses.finding",
    "Layout": "trials.layout",
    "Problem": "trials.problems",
    "Problems": "trials.problems",
    "Records": "trials.records",
    "Report": "reports.report",
    "Trial": "trials.trial",
    "analyse": "analyses.questions",
    "check_trial": "trials.trial_file",
    "draw": "trials.designs",
    "fit_mixed": "analyses.models.mixed",
    "pool": "analyses.pooling.pool",
    "read": "trials.records",
    "read_together": "trials.together",
    "read_trial": "trials.trial_file",
    "starter": "trials.starters",
    "to_toml": "trials.trial_text",
    "write_group_report": "reports.group_report",
    "write_report": "reports.report",
}

check_rooms()


def __getattr__(name: str) -> object:
    """Load a public name from its room when it is first asked for."""
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module “pinset” has no name “{name}”")
    return getattr(importlib.import_module(home), name)


def __dir__() -> list[str]:
    """List the public names."""
    return sorted(__all__)
