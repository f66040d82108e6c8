"""``group.toml``: who takes part in a trial of several growers, and who agreed to be named."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from trials.plan_reader import PlanTable
from trials.problems import Problem, Problems
from trials.toml_text import read_text, to_document

__all__ = [
    "GROUP_FILE",
    "MOST_GROWERS",
    "Group",
    "Member",
    "check_group",
    "folder_problem",
    "letter",
    "read_group",
]

GROUP_FILE = "group.toml"
MOST_GROWERS = 999
LONGEST_NAME = 60
LONGEST_FOLDER = 100
_LONGEST_ON_DISK = 255
"""Bytes that a name can have on most disks; letters beyond the Latin ones take two to four."""

_MEND_FOLDER = "Write the plain name of a folder that stands beside this file."


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One grower of a group.

    Parameters
    ----------
    letter : str
        ``A``, ``B``, ...: what the pages call the grower.
    folder : str
        Name of the grower's trial folder, beside the group file.
    name : str
        What the group calls the grower; empty when not written down.
    show_name : bool
        Whether the grower agreed that the pages show the name.
    """

    letter: str
    folder: str
    name: str = ""
    show_name: bool = False

    @property
    def shown(self) -> str:
        """What the pages call the grower: the letter, or the name where that was agreed."""
        return self.name if self.show_name and self.name else f"Grower {self.letter}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Who takes part.

    Parameters
    ----------
    members : tuple of Member
        Letters, folders and shown names are unique.
    title : str
        What the group is called; empty when not given.
    """

    members: tuple[Member, ...]
    title: str = ""

    def member(self, folder: str) -> Member | None:
        """Give the grower with a folder, or None."""
        return next((one for one in self.members if one.folder == folder), None)


def letter(number: int) -> str:
    """Give the letter of a grower, counted from 1: A to Z, then AA.

    Examples
    --------
    >>> letter(1), letter(26), letter(27)
    ('A', 'Z', 'AA')
    """
    letters = ""
    while number > 0:
        number, left = divmod(number - 1, 26)
        letters = chr(ord("A") + left) + letters
    return letters


def read_group(folder: Path) -> Group | None:
    """Read the group file of a folder, or give None when there is none.

    Parameters
    ----------
    folder : pathlib.Path
        The folder that holds the growers' folders.

    Returns
    -------
    Group or None

    Raises
    ------
    Problems
        Everything that is wrong in the file, at once.
    """
    path = folder / GROUP_FILE
    if path.is_file():
        return check_group(read_text(path))
    if path.is_symlink() or path.exists():
        mend = "Move aside what has its name; pinset invite makes a new one."
        raise Problems([Problem(file=GROUP_FILE, what="is no file", mend=mend)])
    return None


def check_group(text: str) -> Group:
    """Turn the text of a group file into a `Group`.

    Parameters
    ----------
    text : str
        TOML.

    Returns
    -------
    Group

    Raises
    ------
    Problems
        Everything that is wrong, each with its key.
    """
    problems: list[Problem] = []
    document = to_document(text, GROUP_FILE)
    root = PlanTable(document, "", GROUP_FILE, problems)
    root.whole("format", low=1, high=1, needed=True)
    title = root.text("title", longest=120)
    tables = root.tables("growers", needed=True)
    if len(tables) > MOST_GROWERS:
        root.wrong("growers", f"there are {len(tables)}", f"A group is {MOST_GROWERS} or fewer.")
        tables = []
    read = [_member(table) for table in tables]
    root.refuse_unknown()
    members = tuple(one for one in read if one is not None)
    problems.extend(_twice(members))
    if problems:
        raise Problems(problems)
    return Group(members=members, title=title or "")


def folder_problem(name: str) -> str:
    """Say what is wrong with the name of a grower's folder; empty when nothing is.

    Examples
    --------
    >>> folder_problem("grower-a"), folder_problem("../elsewhere")
    ('', 'leads out of the folder of the group')
    """
    if any(mark in name for mark in "/\\:\0") or name in {".", ".."}:
        return "leads out of the folder of the group"
    if not name or name.startswith("."):
        return "is no name of a folder here"
    if len(name) > LONGEST_FOLDER or len(name.encode()) > _LONGEST_ON_DISK:
        return f"is longer than {LONGEST_FOLDER} characters"
    return ""


def _member(table: PlanTable) -> Member | None:
    given = table.text("letter", needed=True, longest=4, example="A")
    folder = table.text("folder", needed=True, longest=2000, example="grower-a")
    name = table.text("name", longest=LONGEST_NAME)
    show = table.yes_or_no("show_name")
    table.refuse_unknown()
    wrong = folder_problem(folder) if folder is not None else ""
    if wrong and folder is not None:
        table.wrong("folder", f"“{folder[:40]}” {wrong}", _MEND_FOLDER)
    if given is not None and not (given.isascii() and given.isalpha()):
        table.wrong("letter", f"“{given}” is no letter", "Write A, B, C ... AA.")
        return None
    if show and not name:
        mend = "Write the name, or show_name = false."
        table.wrong("show_name", "the name is to be shown and there is none", mend)
    if given is None or folder is None or wrong:
        return None
    return Member(letter=given.upper(), folder=folder, name=name or "", show_name=bool(show))


def _twice(members: tuple[Member, ...]) -> list[Problem]:
    found = []
    for field, mend in (
        ("letter", "Give each grower a letter of their own."),
        ("folder", "Give each grower one folder."),
        ("shown", "Two growers would be shown alike: change a name, or show letters."),
    ):
        counts = Counter(str(getattr(one, field)).casefold() for one in members)
        first = {str(getattr(one, field)).casefold(): getattr(one, field) for one in members}
        for word, count in counts.items():
            if count > 1:
                what = f"“{first[word]}” stands {'twice' if count == 2 else f'{count} times'}"
                found.append(Problem(file=GROUP_FILE, key="growers", what=what, mend=mend))
    return found
