"""In what the plans of a group may differ, when whoever pools them says so."""

from __future__ import annotations

__all__ = ["ALLOWABLE"]

ALLOWABLE: dict[str, str] = {
    "question": "the question is worded otherwise",
    "names": "a treatment of the same code has another name",
    "recipe": "a treatment of the same code has another recipe",
    "treatments": "a treatment is missing, or there is one more",
    "batches": "treatments are given to whole batches here, to single bags there",
    "unit": "what one unit is called differs: bag, bucket, log",
    "flushes": "another number of flushes was planned",
    "claim": "another claim, or another confidence",
    "margin": "another smallest difference worth having",
    "draw": "two growers used one and the same drawn layout",
    "unreadable": "files with mistakes: the grower is left out, and the page says so",
}
"""The words of ``--allow`` and what each lets pass. Another outcome or control never passes."""
