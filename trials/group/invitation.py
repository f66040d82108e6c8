"""From one plan the plans of several growers, and the group file that says who they are.

Text to text: the plan keeps the comments of whoever wrote it, and a group file that is there
already is only added to at its end.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from trials.group.group_file import LONGEST_NAME, MOST_GROWERS, Member, check_group, letter
from trials.plan_reader import tidy_text
from trials.problems import Problems, Refused
from trials.room import UNKNOWN_ROOM
from trials.trial import Trial
from trials.trial_file import check_trial
from trials.trial_text import to_toml

__all__ = [
    "Wanted",
    "add_members",
    "first_group_text",
    "grower_plan",
    "grown_group_text",
    "seed_for",
    "wanted_growers",
]

Wanted = tuple[str, str]
"""A letter and a name; either may be empty."""

_TRIAL_HEAD = re.compile(r"^\[trial\][^\n]*\n", re.MULTILINE)
_LETTERS = re.compile(r"[A-Za-z]{1,2}")

_GROUP = """\
# Who takes part in this trial of several growers. Change what stands right of each “=”.
# Pages call each grower by the letter. A name is shown only where show_name = true, and that
# is written only after the grower agreed.

format = 1
title = {title}
"""

_MEMBER = """
[[growers]]
letter = {letter}
folder = {folder}    # beside this file
name = {name}    # for yourself; it stays in this file
show_name = false    # true only if this grower agreed to be named on pages
"""

_ROOM = """
# What your room was like. Fill in what you know, at any time, and take the “#” away: it may
# explain why growers differ.
[room]
# temperature = "18 °C"      # the usual one while fruiting, with its unit: "18 °C" or "64 °F"
# humidity = 85              # per cent, the usual one while fruiting
# heat_treatment = "steam"   # how the substrate was heated
# heat_hours = 4             # for how long
# note = ""
"""


def wanted_growers(given: str) -> tuple[Wanted, ...]:
    """Read how many growers, or who, as it was typed.

    Parameters
    ----------
    given : str
        A number (``7``), or letters and names with commas (``A,B,C`` or ``Ana,Bo``).

    Returns
    -------
    tuple of (str, str)
        Letter and name of each; for a number the letters A, B, ...

    Raises
    ------
    Refused
        It is neither.

    Examples
    --------
    >>> wanted_growers("2"), wanted_growers("C, Ana")
    ((('A', ''), ('B', '')), (('C', ''), ('', 'Ana')))
    """
    text = tidy_text(given)
    if re.fullmatch(r"[+-]?\d+", text):
        count = int(text) if len(text) < 10 else MOST_GROWERS + 1
        if not 2 <= count <= MOST_GROWERS:
            raise Refused(f"A group is 2 to {MOST_GROWERS} growers; {text[:20]} were asked for.")
        return tuple((letter(number), "") for number in range(1, count + 1))
    words = [tidy_text(word) for word in text.split(",")]
    if not all(words) or max(map(len, words)) > LONGEST_NAME or len(words) > MOST_GROWERS:
        raise Refused(
            f"Name the growers with commas between, each once and with {LONGEST_NAME} letters or "
            "fewer: --growers Ana,Bo. Or give a number: --growers 7."
        )
    if len({word.casefold() for word in words}) < len(words):
        raise Refused("A grower is named twice; name each once.")
    return tuple(
        (word.upper(), "") if _LETTERS.fullmatch(word) and word.isupper() else ("", word)
        for word in words
    )


def add_members(members: Sequence[Member], wanted: Sequence[Wanted]) -> tuple[Member, ...]:
    """Give the growers that are wanted and not yet in the group.

    Parameters
    ----------
    members : sequence of Member
        Already in the group; none of them is changed.
    wanted : sequence of (str, str)
        As `wanted_growers` gives it.

    Returns
    -------
    tuple of Member
        New ones, with a free letter and a folder named after it: a name stands in no file name.
    """
    there = {one.name.casefold() for one in members if one.name}
    letters = {one.letter for one in members}
    folders = {one.folder.casefold() for one in members}
    asked = {given for given, _ in wanted if given}
    free = (
        one
        for one in map(letter, range(1, 10**6))
        if one not in letters | asked and _folder(one) not in folders
    )
    added = []
    for given, name in wanted:
        if given in letters or (name and name.casefold() in there):
            continue
        one = given or next(free)
        added.append(Member(letter=one, folder=_folder(one), name=name))
    return tuple(added)


def first_group_text(title: str) -> str:
    """Give a group file without growers, to be added to.

    Parameters
    ----------
    title : str
        What the group is called.
    """
    return _GROUP.format(title=_quoted(title[:120]))


def grown_group_text(text: str, added: Sequence[Member]) -> str:
    """Add growers at the end of a group file; what stands there stays letter by letter.

    Parameters
    ----------
    text : str
        The file as it is.
    added : sequence of Member

    Returns
    -------
    str

    Raises
    ------
    Refused
        The file is written in a way that nothing can be added at its end.
    """
    blocks = [
        _MEMBER.format(
            letter=_quoted(one.letter), folder=_quoted(one.folder), name=_quoted(one.name)
        )
        for one in added
    ]
    grown = text + ("" if text.endswith("\n") else "\n") + "".join(blocks)
    try:
        check_group(grown)
    except Problems as error:
        first = error.problems[0]
        raise Refused(
            f"No grower can be added at the end of the group file ({first.what}). Write each "
            "grower in it as a table of its own, [[growers]]."
        ) from error
    return grown


def seed_for(plan_seed: int, given: str) -> int:
    """Give the seed of one grower's draw, the same whenever it is asked for.

    Parameters
    ----------
    plan_seed : int
        Of the plan of the group.
    given : str
        The grower's letter.

    Examples
    --------
    >>> seed_for(41, "A"), seed_for(41, "AA")
    (41001, 41027)
    """
    number = 0
    for char in given.upper():
        number = number * 26 + ord(char) - ord("A") + 1
    return (plan_seed * 1000 + number) % 2**63


def grower_plan(text: str, trial: Trial, member: Member) -> str:
    """Give the plan of one grower.

    Parameters
    ----------
    text : str
        The plan of the group as it was written.
    trial : Trial
        The same as `check_trial` reads it.
    member : Member

    Returns
    -------
    str
        The same plan, comments and all, with the grower's letter and an own seed; the place of
        whoever wrote it and what their room was like are left out.
    """
    meant = replace(
        trial,
        grower=member.shown,
        place="",
        room=UNKNOWN_ROOM,
        design=replace(trial.design, seed=seed_for(trial.design.seed, member.letter)),
    )
    with contextlib.suppress(TOMLKitError, Problems, LookupError, TypeError, AttributeError):
        kept = _rewritten(text, meant) + _ROOM
        if check_trial(kept) == meant:
            return kept
    return to_toml(meant).rstrip("\n") + "\n" + _ROOM


def _rewritten(text: str, meant: Trial) -> str:
    """Change grower and seed in the text of a plan and keep everything else as it stands."""
    document: Any = tomlkit.parse(text)
    if "grower" not in document["trial"]:
        # At the head of its table: at the end it would stand below the comments of the next one.
        line = f"grower = {_quoted(meant.grower)}\n"
        document = tomlkit.parse(_TRIAL_HEAD.sub(lambda head: head[0] + line, text, count=1))
    document["trial"]["grower"] = meant.grower
    document["design"]["seed"] = meant.design.seed
    for table, name in ((document["trial"], "place"), (document, "room")):
        if name in table:
            table.remove(name)
    return tomlkit.dumps(document).rstrip("\n") + "\n"


def _folder(given: str) -> str:
    return f"grower-{given.lower()}"


def _quoted(text: str) -> str:
    return str(tomlkit.string(tidy_text(text)).as_string())
