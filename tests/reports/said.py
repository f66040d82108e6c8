"""What the sentences of a page say, taken from their words alone by patterns of its own.

Nothing here looks at how a sentence was made. Amounts come out signed: more, and longer, positive.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

__all__ = ["Advice", "Size", "Verdict", "advice", "names_in", "share", "signed", "size", "verdict"]

NUMBER = r"(?:\d+(?:\.\d+)?(?: (?:g|kg|oz|lb|days?|points|%))?)"
MORE_LESS = r"(?:more|less|fewer|longer)"
TAIL = (
    r"(?: per (?:(?! than | with |:).)+?| in a hundred(?: from one flush to the next)?"
    r"| to colonise| to first pins)?"
)
_WAY = re.compile(
    r"(?:(?P<gave>gave|give) (?P<gave_way>more|less)"
    r"|(?P<lost>lost|lose) (?P<lost_way>more|fewer) \S+(?: \S+)?"
    r"|(?P<kept>kept|keep) (?P<kept_way>more|less) from one flush to the next"
    r"|(?P<took>took|take) (?P<took_way>longer|less time) to (?P<goal>colonise|first pins))"
)


@dataclass(frozen=True)
class Size:
    """A sentence that gives a difference with its range."""

    it: str | None
    control: str | None
    outcome: str
    fruited: bool
    low: float
    high: float
    about: float | None
    units: str
    odds: str | None


@dataclass(frozen=True)
class Verdict:
    """A sentence that gives a verdict."""

    kind: str
    who: tuple[str, ...]
    control: str | None
    outcome: str | None = None
    way: int = 0
    bound: float | None = None


@dataclass(frozen=True)
class Advice:
    """What is to be done, and how many units it would take."""

    action: str
    who: tuple[str, ...] | None
    numbers: tuple[tuple[str | None, int], ...] = ()
    now: int | None = None
    name: str | None = None


def _any(names):
    return "(?:" + "|".join(re.escape(one) for one in sorted(names, key=len, reverse=True)) + ")"


def names_in(text, names):
    """Take a list of names apart; None where something else is in it."""
    found = re.findall(_any(names), text, re.IGNORECASE)
    rest = re.sub(_any(names), "", text, flags=re.IGNORECASE)
    by_lower = {one.lower(): one for one in names}
    return (
        None if re.sub(r"[,;\s]|\band\b", "", rest) else tuple(by_lower[x.lower()] for x in found)
    )


def signed(amount, word):
    """Turn 20 g less into -20."""
    if amount == "nothing":
        return 0.0
    value = math.inf if amount == "far" else float(amount.split()[0])
    return -value if word in ("less", "fewer") else value


def size(text, names):
    """Read the sentence that says how large a difference is; None where there is none."""
    who = _any(names)
    bound = rf"(?P<{{0}}>far|nothing|{NUMBER})(?: (?P<{{0}}_way>{MORE_LESS}))?"
    behind = r"fits these (?P<units>[^.(]+?)(?: \((?P<odds>[^)]*)\))?\."
    told = re.search(
        rf"(?P<it>{who}|\bit) (?:gave|lost|kept|took) about (?P<about>{NUMBER}) "
        rf"(?P<way>{MORE_LESS})(?P<tail>{TAIL})(?: than (?P<control>{who}))?: "
        rf"(?:between (?P<near>{NUMBER}) and (?P<far>{NUMBER}) (?P<limits_way>{MORE_LESS})"
        rf"|(?P<beyond>{NUMBER}) {MORE_LESS} or beyond) " + behind,
        text, re.IGNORECASE,
    )  # fmt: skip
    if told:
        ends = (
            [signed(told[end], told["limits_way"]) for end in ("near", "far")]
            if told["near"]
            else [signed(told["beyond"], told["way"]), signed("far", told["way"])]
        )
        ends.sort()  # fmt: skip
        about = signed(told["about"], told["way"])
    else:
        told = re.search(
            rf"anything from {bound.format('low')} to {bound.format('high')}(?P<tail>{TAIL})"
            rf"(?: with (?P<it>{who}) than with (?P<control>{who}))? {behind}",
            text, re.IGNORECASE,
        )  # fmt: skip
        if not told:
            return None
        ends = [signed(told["low"], told["low_way"]), signed(told["high"], told["high_way"])]
        about = None
    it = told["it"] if told["it"] and told["it"].lower() != "it" else None
    return Size(
        it=_same(it, names), control=_same(told["control"], names), outcome=_outcome(told["tail"]),
        fruited="counting only those that fruited" in text[: told.start()].lower()[-40:],
        low=ends[0], high=ends[1], about=about, units=told["units"], odds=told["odds"],
    )  # fmt: skip


def _same(name, names):
    return next((one for one in names if name and one.lower() == name.lower()), None)


def _outcome(tail):
    for cue, outcome in (
        ("from one flush to the next", "flush drop"), ("in a hundred", "contamination"),
        ("to colonise", "days to colonise"), ("to first pins", "days to pins"), ("per ", "yield"),
    ):  # fmt: skip
        if cue in tail:
            return outcome
    return f"no outcome in “{tail}”"


def share(text):
    """Read the percentage, signed, with its limits where they are said."""
    told = re.search(
        rf"That is about (\d+(?:\.\d+)?) % ({MORE_LESS})"
        r"(?: \(between (\d+(?:\.\d+)?) % and (\d+(?:\.\d+)?) %\))?\.",
        text,
    )
    if not told:
        return None
    value, near, far = (float(one) if one else None for one in told.group(1, 3, 4))
    sign = -1 if told[2] in ("less", "fewer") else 1
    limits = sorted((sign * near, sign * far)) if near is not None else None
    return sign * value, limits


def verdict(text, names):
    """Read one sentence of a headline."""
    who, text = _any(names), text.strip()
    if text.startswith("Looked at afterwards"):
        return Verdict("explored", (), None)
    if text.startswith("One batch a side"):
        return Verdict("withheld", (), None)
    for pattern, kind in (
        (rf"This trial cannot compare (?P<it>.+) with (?P<c>{who})", "withheld"),
        (rf"(?P<it>.+) cannot be compared with (?P<c>{who}) in this trial", "withheld"),
        (rf"This trial cannot tell whether (?P<it>{who}) and (?P<c>{who}) differ by enough to "
         "matter", "same open"),
        (rf"This trial cannot tell whether (?P<it>{who}) would (?P<phrase>.+) than (?P<c>{who}) by "
         "more than you allowed", "no worse open"),
        (rf"This trial cannot tell whether (?P<it>{who}) would (?P<phrase>.+) than (?P<c>{who})",
         "better open"),
        (r"for (?P<it>.+) this trial cannot tell whether the gap is more than you allowed",
         "no worse open"),
        (r"for (?P<it>.+) this trial cannot tell", "open"),
        (rf"Any difference between (?P<it>{who}) and (?P<c>{who}) is smaller than the one you said "
         "would matter", "small"),
        (rf"for (?P<it>.+) any difference from (?P<c>{who}) is smaller than the one you said would "
         "matter", "small"),
        (rf"(?P<it>{who}) (?:gave|lost|kept|took) at most (?P<bound>{NUMBER}) (?P<way>{MORE_LESS})"
         rf"(?P<tail>.*) than (?P<c>{who}), as far as this trial can tell", "bounded"),
        (rf"(?P<it>.+) stayed within what you allowed against (?P<c>{who}), as far as this trial "
         "can tell", "bounded"),
        (rf"(?P<it>.+) did not (?:gain|save) enough (?:\S+ )*?(?:over|against) (?P<c>{who}) to "
         "matter", "not enough"),
        (rf"(?P<it>.+) gained nothing over (?P<c>{who}) in this trial", "no gain"),
        (rf"(?P<it>.+) (?P<phrase>(?:gave|lost|kept|took) .+) than (?P<c>{who})"
         r"(?P<rest>[,;].*)?", "apart"),
    ):  # fmt: skip
        told = re.fullmatch(pattern + r"\.", text, re.IGNORECASE)
        if told:
            return _read_verdict(told, kind, names)
    return Verdict(f"not understood: {text}", (), None)


_RESTS = {
    "": "apart",
    ", and by enough to matter": "enough",
    ", but by less than you said would matter": "apart, small",
    ", but by less than you allowed": "allowed",
    ", and by more than you allowed": "not allowed",
    "; whether by more than you allowed is open": "worse, open",
    "; whether by enough to matter is open": "apart, open",
}


def _read_verdict(told, kind, names):
    parts = told.groupdict()
    outcome, way, bound = None, 0, None
    if parts.get("phrase"):
        phrase = _WAY.fullmatch(parts["phrase"])
        if not phrase:
            return Verdict(f"not understood: {told.group()}", (), None)
        outcome, way = _read_phrase(phrase)
    if kind == "apart":
        rest = parts["rest"] or ""
        size_open = re.fullmatch(r"; how (?:much|many) \w+ is open", rest)
        kind = "size open" if size_open else _RESTS.get(rest, f"not understood: {rest}")
    if parts.get("bound"):
        bound, outcome = signed(parts["bound"], parts["way"]), _outcome(parts["tail"])
    found = names_in(parts["it"], names)
    if found is None:
        return Verdict(f"not understood: {told.group()}", (), None)
    return Verdict(kind, found, _same(parts.get("c"), names), outcome, way, bound)


def _read_phrase(phrase):
    parts = phrase.groupdict()
    if parts["gave"]:
        return "yield", 1 if parts["gave_way"] == "more" else -1
    if parts["lost"]:
        return "contamination", 1 if parts["lost_way"] == "more" else -1
    if parts["kept"]:
        return "flush drop", 1 if parts["kept_way"] == "more" else -1
    goal = "days to colonise" if parts["goal"] == "colonise" else "days to pins"
    return goal, 1 if parts["took_way"] == "longer" else -1


def advice(text, names):
    """Read one sentence of what to do next."""
    opened = re.match(r"Next(?: for (?P<who>.+?))?: (?P<rest>.*)", text)
    if not opened:
        return Advice(f"not understood: {text}", None)
    who = names_in(opened["who"], names) if opened["who"] else None
    rest, name = opened["rest"], _any(names)
    for pattern, action in (
        (rf"change to (?P<name>{name}|it|one of them), if its price and work suit you\.", "adopt"),
        (rf"stop here and keep (?P<control>{name})\.", "stop"),
        (rf"choose between (?P<name>{name}|it|them) and (?P<control>{name}) by price and "
         r"work\.", "choose"),
        (rf"(?:choose by price and work|keep {name} for now)\. To settle it would take more than "
         r"ten times as many .+ as now \((?P<now>\d+)\); that is a rough guess\.", "too many"),
        (r"repeat with about (?P<n>\d+) .+ \(this trial had (?P<now>\d+)\)\. That is a rough "
         "guess.*", "repeat"),
        (r"repeat with more .+ \(this trial had (?P<now>\d+)\): (?P<sizes>.+)\. That is a rough "
         "guess.*", "repeat"),
        (r"if it matters to you, make it the aim of the next trial\.", "note"),
        (r"repeat with several batches a side.*", "redesign"),
        (r"lay out the next trial so that the two stand side by side\.", "redesign"),
        (r"repeat with more .+ a side, so that.*", "redesign"),
    ):  # fmt: skip
        told = re.fullmatch(pattern, rest, re.IGNORECASE)
        if told:
            parts = told.groupdict()
            numbers = [(None, int(parts["n"]))] if parts.get("n") else []
            for number, whom in re.findall(rf"about (\d+) for ({name})", parts.get("sizes") or ""):
                numbers.append((_same(whom, names), int(number)))
            now = int(parts["now"]) if parts.get("now") else None
            return Advice(action, who, tuple(numbers), now, _same(parts.get("name"), names))
    return Advice(f"not understood: {text}", who)
