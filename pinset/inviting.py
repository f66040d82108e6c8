"""From one plan a folder for each grower of a group, whole or not at all; nothing overwritten."""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pinset.drawing import draw_into
from trials.group.differences import plan_differences
from trials.group.group_file import GROUP_FILE, MOST_GROWERS, Group, Member, read_group
from trials.group.invitation import (
    Wanted,
    add_members,
    first_group_text,
    grower_plan,
    grown_group_text,
)
from trials.layout_file import LAYOUT_FILE
from trials.problems import Problem, Problems, Refused
from trials.toml_text import read_text
from trials.trial import Trial
from trials.trial_file import TRIAL_FILE, read_trial
from trials.writing import write_new, write_whole

__all__ = ["HOW_TO_FILE", "Invited", "invite_into"]

HOW_TO_FILE = "how-to.html"


@dataclass(frozen=True, slots=True, kw_only=True)
class Invited:
    """What an invitation made.

    Parameters
    ----------
    made : tuple of pathlib.Path
        New folders.
    kept : tuple of pathlib.Path
        Folders that were there and were left as they are.
    group_file : pathlib.Path
    """

    made: tuple[Path, ...]
    kept: tuple[Path, ...]
    group_file: Path


def invite_into(
    folder: Path,
    wanted: Sequence[Wanted],
    *,
    now: dt.datetime,
    progress: Callable[[int], object] = lambda _: None,
) -> Invited:
    """Make the folders of those growers of a group that have none yet.

    Parameters
    ----------
    folder : pathlib.Path
        Holds the plan, ``trial.toml``; the growers' folders are made in it.
    wanted : sequence of (str, str)
        As `trials.group.invitation.wanted_growers` gives it.
    now : datetime.datetime
        The moment of the draws, with time zone.
    progress : callable
        Told of every folder made.

    Returns
    -------
    Invited

    Raises
    ------
    Problems
        The plan or the group file has mistakes, or the plan is not the one of earlier growers.
    Refused
        The folder is a grower's own trial, or a name is taken.
    """
    trial = read_trial(folder)
    _refuse_own_trial(folder, trial)
    group = read_group(folder)
    members = group.members if group else ()
    added = add_members(members, wanted)
    everyone = (*members, *added)
    if len(everyone) > MOST_GROWERS:
        raise Refused(f"A group is {MOST_GROWERS} growers or fewer.")
    _refuse_taken(folder, added)
    kept = [folder / one.folder for one in everyone if _is_taken(folder / one.folder)]
    _refuse_another_plan(kept, trial)
    text = read_text(folder / TRIAL_FILE)
    plans = {one.folder: grower_plan(text, trial, one) for one in everyone}
    # The group file first: a run that is cut short is made whole by the next one.
    group_file = _write_group(folder, group, trial, added)
    made = []
    for member in everyone:
        place = folder / member.folder
        if place not in kept:
            _make(place, plans[member.folder], member, growers=len(everyone), now=now)
            made.append(place)
            progress(1)
    return Invited(made=tuple(made), kept=tuple(kept), group_file=group_file)


def _refuse_own_trial(folder: Path, trial: Trial) -> None:
    if (folder / LAYOUT_FILE).exists():
        raise Refused(
            f"“{folder}” holds a drawn layout: it is the trial of one grower. Copy its "
            f"{TRIAL_FILE} into a new folder and invite from there."
        )
    if trial.design.growers:
        what = "growers of one shared layout are named in the plan"
        mend = "Take the line “growers” out: here each grower gets a layout of their own."
        raise Problems([Problem(file=TRIAL_FILE, key="design.growers", what=what, mend=mend)])


def _refuse_taken(folder: Path, added: Sequence[Member]) -> None:
    taken = [one.folder for one in added if _is_taken(folder / one.folder)]
    if taken:
        raise Refused(
            f"“{taken[0]}” is there already and is not in {GROUP_FILE}; it was left as it is. "
            "Write it into the group file, or move it away."
        )


def _is_taken(place: Path) -> bool:
    """Whether anything has the name, be it a link that leads nowhere."""
    return place.is_symlink() or place.exists()


def _refuse_another_plan(kept: Sequence[Path], trial: Trial) -> None:
    """Refuse to invite more growers to a plan that is no longer the one of the others."""
    problems = []
    for place in kept:
        if not (place / TRIAL_FILE).is_file():
            continue
        try:
            theirs = read_trial(place)
        except Problems:
            continue  # told where the records are read; it is no reason not to invite
        for one in plan_differences(theirs, trial, grower=place.name, shown=place.name):
            if one.standing == "refused":
                mend = f"Give all the same plan: put {TRIAL_FILE} back, or mend theirs."
                file = f"{place.name}/{TRIAL_FILE}"
                problems.append(Problem(file=file, key=one.key, what=one.what, mend=mend))
    if problems:
        raise Problems(problems)


def _write_group(folder: Path, group: Group | None, trial: Trial, added: Sequence[Member]) -> Path:
    path = folder / GROUP_FILE
    if group is None:
        if not write_new(path, grown_group_text(first_group_text(trial.title), added)):
            raise Refused(f"“{path}” was written by somebody else just now. Run the command again.")
    elif added:
        write_whole(path, grown_group_text(read_text(path), added))
    return path


def _make(place: Path, plan: str, member: Member, *, growers: int, now: dt.datetime) -> None:
    """Make one grower's folder beside its place, and put it there when it is whole."""
    from reports.sheets.how_to_sheet import how_to_sheet

    workshop = Path(tempfile.mkdtemp(prefix=f".{place.name}.", suffix=".part", dir=place.parent))
    try:
        write_whole(workshop / TRIAL_FILE, plan)
        drawn = draw_into(workshop, redraw=False, now=now)
        page = how_to_sheet(read_trial(workshop), drawn.layout, member, growers=growers)
        write_whole(workshop / HOW_TO_FILE, page)
        workshop.chmod(0o755)
        workshop.rename(place)
    finally:
        shutil.rmtree(workshop, ignore_errors=True)
