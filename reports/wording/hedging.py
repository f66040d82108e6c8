"""What each verdict may say, and may not: the one table that every sentence about it is taken from.

A row belongs to a claim and to what the interval shows of it. `alone` is the sentence of one
comparison, `together` of several alike, `action` what may be advised. What a row may never say
stands in it too, so that the tests can hold the finished sentences against it.

Fields that the sentences are filled with: ``{it}`` and ``{control}`` are names; ``{better}``,
``{worse}`` and ``{apart}`` verb phrases in the past for the good way, the bad way and the way the
whole interval lies; ``{would_better}`` and ``{would_worse}`` the same behind “would”;
``{open_size}`` how much or how many more; ``{at_most}`` the bound on the bad side;
``{gain_enough}`` what an outcome calls a gain that is too small.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from trials.trial import Claim

__all__ = [
    "EXPLORED", "HEDGES", "NEVER", "ONE_BATCH", "VERDICT_WORDS", "Action", "Hedge", "Kind",
]  # fmt: skip

Kind: TypeAlias = Literal[
    "enough",
    "gain",
    "size open",
    "small gain",
    "small",
    "bounded",
    "small loss",
    "enough less",
    "loss",
    "loss, open",
    "apart, open",
    "not enough",
    "no gain",
    "open",
    "withheld",
    "explored",
]
Action: TypeAlias = Literal["adopt", "repeat", "stop", "choose", "note", "redesign"]

NEVER = (
    "significan", "proved", "proven", "no effect", "trend", "always gives more", "as safe as",
    "p =", "p <", "p value", "degrees of freedom", "guarantee",
)  # fmt: skip
"""What no sentence of the main text says, whatever the verdict."""

EXPLORED = "Looked at afterwards; treat as a hint for the next trial."
ONE_BATCH = "One batch a side cannot tell a better method from a luckier batch."

VERDICT_WORDS = {
    "shown": "shown",
    "shown, size open": "shown, size open",
    "ruled out": "ruled out",
    "not settled": "cannot tell",
    "withheld": "no comparison",
}
"""A verdict in a table."""

_ENDS = ("enough to matter", "change to", "stop here")
_UNSURE = (*_ENDS, "any difference", "the same", "no difference")


@dataclass(frozen=True, slots=True, kw_only=True)
class Hedge:
    """What one verdict may say.

    Parameters
    ----------
    alone, together : str
        Sentences to be filled; `together` may begin with a small letter.
    action : str
        adopt: change over; repeat: a larger trial would settle it; stop: keep the
        control; choose: by price and work; note: a hint for the next plan; redesign: this
        design could not answer.
    never : tuple of str
        What its sentences and its advice may not say, beside `NEVER`.
    """

    alone: str
    together: str
    action: Action
    never: tuple[str, ...]


_SMALL = Hedge(
    alone="Any difference between {it} and {control} is smaller than the one you said would "
    "matter.",
    together="for {it} any difference from {control} is smaller than the one you said would "
    "matter.",
    action="choose",
    never=("no difference", "the same", "more than", "less than", "change to"),
)
_WITHHELD = Hedge(
    alone="This trial cannot compare {it} with {control}.",
    together="{it} cannot be compared with {control} in this trial.",
    action="redesign",
    never=(*_UNSURE, "more than", "fits"),
)
_HINT = Hedge(
    alone=EXPLORED,
    together=EXPLORED,
    action="note",
    never=(*_ENDS, "worth changing for", "cannot tell"),
)


def _plain(told: str, action: Action, *never: str) -> Hedge:
    """Make a row whose sentence is the same for one and for several."""
    return Hedge(alone=told, together=told, action=action, never=never)


HEDGES: dict[tuple[Claim, Kind], Hedge] = {
    ("better", "enough"): _plain(
        "{it} {better} {control}, and by enough to matter.", "adopt",
        "always", "is open", "cannot tell",
    ),
    ("better", "gain"): _plain("{it} {better} {control}.", "adopt", "cannot tell", "to matter"),
    ("better", "size open"): _plain(
        "{it} {better} {control}; {open_size} is open.", "repeat", *_UNSURE, "cannot tell"
    ),
    ("better", "small gain"): _plain(
        "{it} {better} {control}, but by less than you said would matter.", "choose",
        *_ENDS, "cannot tell",
    ),
    ("better", "small"): _SMALL,
    ("better", "loss"): _plain("{it} {worse} {control}.", "stop", "change to", "to matter"),
    ("better", "not enough"): _plain(
        "{it} {gain_enough} {control} to matter.", "stop", "change to", "the same", "any difference"
    ),
    ("better", "no gain"): _plain(
        "{it} gained nothing over {control} in this trial.", "stop", "change to", "the same"
    ),
    ("better", "open"): Hedge(
        alone="This trial cannot tell whether {it} {would_better} {control}.",
        together="for {it} this trial cannot tell.",
        action="repeat",
        never=_UNSURE,
    ),
    ("no worse", "gain"): _plain("{it} {better} {control}.", "adopt", "cannot tell", "to matter"),
    ("no worse", "bounded"): Hedge(
        alone="{at_most}, as far as this trial can tell.",
        together="{it} stayed within what you allowed against {control}, as far as this trial can "
        "tell.",
        action="adopt",
        never=("as good as", "as safe as", "the same", "no difference", "cannot tell"),
    ),
    ("no worse", "small loss"): _plain(
        "{it} {worse} {control}, but by less than you allowed.", "adopt", "as good as", "the same"
    ),
    ("no worse", "enough less"): _plain(
        "{it} {worse} {control}, and by more than you allowed.", "stop", "change to", "cannot tell"
    ),
    ("no worse", "loss, open"): _plain(
        "{it} {worse} {control}; whether by more than you allowed is open.", "repeat", *_UNSURE
    ),
    ("no worse", "open"): Hedge(
        alone="This trial cannot tell whether {it} {would_worse} {control} by more than you "
        "allowed.",
        together="for {it} this trial cannot tell whether the gap is more than you allowed.",
        action="repeat",
        never=_UNSURE,
    ),
    ("same", "small"): _SMALL,
    ("same", "small gain"): _plain(
        "{it} {apart} {control}, but by less than you said would matter.", "choose", *_ENDS
    ),
    ("same", "small loss"): _plain(
        "{it} {apart} {control}, but by less than you said would matter.", "choose", *_ENDS
    ),
    ("same", "enough"): _plain(
        "{it} {better} {control}, and by enough to matter.", "adopt",
        "always", "is open", "cannot tell",
    ),
    ("same", "enough less"): _plain(
        "{it} {worse} {control}, and by enough to matter.", "stop", "change to", "is open"
    ),
    ("same", "apart, open"): _plain(
        "{it} {apart} {control}; whether by enough to matter is open.", "repeat",
        "change to", "stop here", "any difference", "the same",
    ),
    ("same", "open"): Hedge(
        alone="This trial cannot tell whether {it} and {control} differ by enough to matter.",
        together="for {it} this trial cannot tell.",
        action="repeat",
        never=("change to", "stop here", "any difference", "the same", "more than", "less than"),
    ),
    ("better", "withheld"): _WITHHELD,
    ("no worse", "withheld"): _WITHHELD,
    ("same", "withheld"): _WITHHELD,
    ("better", "explored"): _HINT,
    ("no worse", "explored"): _HINT,
    ("same", "explored"): _HINT,
}  # fmt: skip
"""By claim and by what the interval shows; in the order in which several are told."""
