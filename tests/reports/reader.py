"""Reads a finished sentence back, by patterns of its own, and holds it against the numbers.

Nothing here looks at how a sentence was made: what it claims is taken from its words alone.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from analyses.finding import BETTER_WHEN
from trials.measures import GRAMS_IN

NEVER = re.compile(
    r"\bsignifican|\bproved?\b|\bproven\b|\bno effect\b|\btrend|\balways\b|\bas safe as\b"
    r"|\bp\s*[=<>]|\bp.value|\bnan\b|\bNone\b(?! of)|\binf\b",
    re.IGNORECASE,
)
_NUMBER = r"(\d+(?:\.\d+)?|nothing)(?: (?:g|kg|oz|lb|days?|points|%))?"
_WORD = r"(more|less|fewer|longer)"
_SPAN = re.compile(rf"[Aa]nything from {_NUMBER}(?: {_WORD})? to {_NUMBER}(?: {_WORD})?")
_BETWEEN = re.compile(rf"between {_NUMBER} and {_NUMBER} {_WORD}")
_ABOUT = re.compile(rf"(?:gave|lost|kept|took) about {_NUMBER} {_WORD}")
_RESTS = re.compile(r"This rests on (\d+) ")
_REPEAT = re.compile(r"repeat with about (\d+) ")


@dataclass(frozen=True)
class Reading:
    """What a sentence says."""

    text: str
    low: float | None
    high: float | None
    about: float | None
    units: int | None
    repeat: int | None


def read(text):
    """Take the numbers out of a sentence, more positive and less negative."""
    low, high = _limits(text)
    about = _ABOUT.search(text)
    rests, repeat = _RESTS.search(text), _REPEAT.search(text)
    return Reading(
        text=text, low=low, high=high,
        about=_signed(about.group(1), about.group(2)) if about else None,
        units=int(rests.group(1)) if rests else None,
        repeat=int(repeat.group(1)) if repeat else None,
    )  # fmt: skip


def contradictions(text, finding, trial):
    """List everything in a sentence that the numbers do not bear out."""
    said, wrong, estimate = read(text), [], finding.estimate
    if NEVER.search(text):
        wrong.append(f"forbidden: {NEVER.search(text).group()}")
    if estimate.units and said.units != estimate.units:
        wrong.append(f"units {said.units} for {estimate.units}")
    per = GRAMS_IN[trial.weights] if estimate.unit == "g" else 1.0
    if finding.verdict != "withheld":
        wrong += _numbers(said, estimate, per)
    wrong += [claim for claim, holds in _claims(text, finding) if not holds]
    wrong += _advice(said, finding)
    return wrong


def _numbers(said, estimate, per):
    wrong = []
    tolerance = max(0.051 * (estimate.high - estimate.low) / 2, _coarsest(estimate, per)) / per
    for name, told, true in (
        ("low", said.low, estimate.low / per),
        ("high", said.high, estimate.high / per),
    ):
        if told is None or abs(told - true) > tolerance:
            wrong.append(f"{name} limit {told} for {true}")
        elif told * true < 0:
            wrong.append(f"{name} limit on the other side of nothing: {told} for {true}")
    if said.about is not None and abs(said.about - estimate.value / per) > tolerance:
        wrong.append(f"best guess {said.about} for {estimate.value / per}")
    return wrong


def _coarsest(estimate, per):
    """Half of the coarsest step that the page is allowed: ounces, whole bags, tenths of a day."""
    if estimate.unit == "g":
        return 0.126 * per if per not in (1.0, 1000.0, GRAMS_IN["lb"]) else 0.0
    return 0.501 if estimate.unit.endswith("in 100") else 0.051


def _claims(text, finding):
    """Pair each claim of the words with whether the interval bears it out."""
    estimate, margin = finding.estimate, finding.worthwhile
    low, high = estimate.low, estimate.high
    good_low, good_high = (
        (low, high) if BETTER_WHEN[estimate.outcome] == "higher" else (-high, -low)
    )
    head = text.split(". ")[0]
    more = re.search(r"\b(gave more|lost more|kept more|took longer)", head)
    less = re.search(r"\b(gave less|lost fewer|kept less|took less)", head)
    yield "more", not more or low > 0
    yield "less", not less or high < 0
    tells = {
        "cannot tell whether": finding.verdict == "not settled" and finding.planned,
        "by enough to matter.": _enough(finding, good_low, good_high, margin),
        "Any difference between": margin is not None and -margin < low and high < margin,
        "is open.": finding.verdict in ("shown, size open", "not settled"),
        "and by more than you allowed": margin is not None and good_high < -margin,
        "by less than you allowed": margin is not None and good_low > -margin,
        "by less than you said would matter": margin is not None
        and max(abs(low), abs(high)) < margin,
        "did not gain enough": margin is not None and good_high < margin,
        "gained nothing": good_high <= 0,
        "at most": margin is not None and good_low > -margin,
        "but not yet that it is that big": margin is not None and 0 < good_low < margin,
        "Looked at afterwards": not finding.planned,
        "cannot compare": finding.verdict == "withheld",
        "One batch a side": finding.verdict == "withheld" and estimate.unit_counted == "batch",
    }  # fmt: skip
    yield (
        "planned told as explored",
        finding.planned
        or finding.verdict == "withheld"
        or ("Looked at afterwards" in text and "to matter" not in text and "change to" not in text),
    )
    for words, holds in tells.items():
        yield words, words not in text or holds


def _enough(finding, good_low, good_high, margin):
    if margin is None:
        return False
    if finding.claim == "same":
        return finding.verdict == "not settled" or good_low > margin or good_high < -margin
    return good_low >= margin


def _advice(said, finding):
    """Hold the next step against the verdict."""
    text, wrong = said.text, []
    advice = text[text.index("Next: ") :] if "Next: " in text else ""
    if not advice:
        return ["no next step"]
    open_ends = finding.verdict in ("not settled", "shown, size open") and finding.planned
    if "repeat with about" in advice and not open_ends:
        wrong.append("repeat although settled")
    if "change to" in advice:
        better = said.low is not None and (
            said.low >= 0 if BETTER_WHEN[finding.estimate.outcome] == "higher" else said.high <= 0
        )
        if not (finding.verdict == "shown" or (finding.claim == "same" and better)):
            wrong.append("change although not shown")
    if "stop here" in advice and finding.verdict != "ruled out":
        wrong.append("stop although not ruled out")
    if said.repeat is not None and said.repeat < finding.estimate.units:
        wrong.append("repeat with fewer")
    return wrong


def _limits(text):
    span = _SPAN.search(text)
    if span:
        return (
            _signed(span.group(1), span.group(2) or "less"),
            _signed(span.group(3), span.group(4) or "more"),
        )
    between = _BETWEEN.search(text)
    if not between:
        return None, None
    ends = sorted(_signed(between.group(n), between.group(3)) for n in (1, 2))
    return ends[0], ends[1]


def _signed(number, word):
    value = 0.0 if number == "nothing" else float(number)
    return math.copysign(value, -1 if word in ("less", "fewer") else 1) if value else 0.0
