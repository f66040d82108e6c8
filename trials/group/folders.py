"""Which folders hold the trials of the growers, and what each grower is called on the pages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from trials.group.group_file import GROUP_FILE, Group, Member, letter, read_group
from trials.layout_file import LAYOUT_FILE
from trials.plan_reader import tidy_text
from trials.problems import Problem, Problems
from trials.trial_file import TRIAL_FILE

__all__ = ["GrowerFolder", "group_plan_folder", "grower_folders"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowerFolder:
    """The trial folder of one grower.

    Parameters
    ----------
    path : pathlib.Path
    key : str
        Its name, unique among the folders.
    shown : str
        What pages call the grower, unique too; empty until a letter was given.
    letter : str
        From the group file; empty where none speaks of the grower.
    there : bool
        Whether there is such a folder; a group file may name one that is not.
    """

    path: Path
    key: str
    shown: str = ""
    letter: str = ""
    there: bool = True


def grower_folders(folders: Sequence[Path], problems: list[Problem]) -> tuple[GrowerFolder, ...]:
    """Find the trial folders of the growers.

    Parameters
    ----------
    folders : sequence of pathlib.Path
        Trial folders, or folders of trial folders.
    problems : list of Problem
        Where mistakes are gathered.

    Returns
    -------
    tuple of GrowerFolder
        In the order given, each once; those inside a folder in the order of its group file, then
        by name.
    """
    found: list[GrowerFolder] = []
    for folder in folders:
        found.extend(_inside(folder, problems))
    once: dict[Path, GrowerFolder] = {}
    for one in found:
        place = one.path.resolve()
        if place in once:
            what = "is given twice, and its bags would count twice"
            problems.append(Problem(file=one.key, what=what, mend="Name each folder once."))
        else:
            once[place] = one
    return _with_letters(_with_keys(list(once.values())))


def group_plan_folder(folders: Sequence[Path]) -> Path | None:
    """Give the folder of folders that holds the plan of the whole group, where there is one.

    Parameters
    ----------
    folders : sequence of pathlib.Path
        As given to `grower_folders`.
    """
    above = [one.resolve().parent for one in folders]
    groups = [one for one in folders if _is_group(one)]
    groups += [one for one in above if (one / GROUP_FILE).is_file()]
    return next((one for one in groups if (one / TRIAL_FILE).is_file()), None)


def _is_group(folder: Path) -> bool:
    """Whether a folder holds growers' folders; a drawn trial with folders in it is a trial."""
    if (folder / GROUP_FILE).is_file():
        return True
    drawn = (folder / TRIAL_FILE).is_file() and (folder / LAYOUT_FILE).is_file()
    return not drawn and bool(_trial_folders(folder))


def _trial_folders(folder: Path) -> list[Path]:
    """List the folders inside one that hold a plan, by name; hidden ones are left out."""
    if not folder.is_dir():
        return []
    return sorted(
        one
        for one in folder.iterdir()
        if not one.name.startswith(".") and (one / TRIAL_FILE).is_file()
    )


def _inside(folder: Path, problems: list[Problem]) -> list[GrowerFolder]:
    if _is_group(folder):
        group = _group(folder, problems)
        members = group.members if group else ()
        listed = [
            GrowerFolder(path=folder / one.folder, key=one.folder, shown=one.shown,
                         letter=one.letter, there=(folder / one.folder).is_dir())
            for one in members
        ]  # fmt: skip
        known = {one.folder for one in members}
        others = [_alone(one) for one in _trial_folders(folder) if one.name not in known]
        return [*listed, *others]
    if (folder / TRIAL_FILE).is_file():
        group = _group(folder.resolve().parent, problems)
        member: Member | None = group.member(folder.resolve().name) if group else None
        alone = _alone(folder)
        return [replace(alone, shown=member.shown, letter=member.letter) if member else alone]
    what = "holds no trial, and no folders with one" if folder.is_dir() else "is not there"
    mend = "Name the trial folders of the growers, or the folder that holds them."
    problems.append(Problem(file=str(folder), what=what, mend=mend))
    return []


def _alone(path: Path) -> GrowerFolder:
    # A name with control characters must not reach a terminal as it is.
    return GrowerFolder(path=path, key=tidy_text(path.resolve().name)[:100] or "?")


def _group(folder: Path, problems: list[Problem]) -> Group | None:
    """Read a group file; its mistakes are told once, however many folders lead to it."""
    try:
        return read_group(folder)
    except Problems as error:
        problems.extend(one for one in error.problems if one not in problems)
        return None


def _with_keys(found: list[GrowerFolder]) -> list[GrowerFolder]:
    """Tell folders of the same name apart by the folder above, then by number."""
    counts = Counter(one.key for one in found)
    keyed, used = [], Counter[str]()
    for one in found:
        key = one.key
        if counts[key] > 1:
            key = f"{one.path.resolve().parent.name}/{key}"
        used[key] += 1
        keyed.append(replace(one, key=key if used[key] == 1 else f"{key} ({used[key]})"))
    return keyed


def _with_letters(found: list[GrowerFolder]) -> tuple[GrowerFolder, ...]:
    """Give a free letter to everyone without one, and where two groups use the same."""
    letters = {one.letter for one in found}
    free = (one for one in map(letter, range(1, 10**6)) if one not in letters)
    used: set[str] = set()
    named = []
    for one in found:
        shown = one.shown
        if not shown or shown.casefold() in used:
            shown = f"Grower {next(free)}"
        used.add(shown.casefold())
        named.append(replace(one, shown=shown))
    return tuple(named)
