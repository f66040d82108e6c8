"""The records of several growers who ran the same trial, read together.

Each grower keeps a trial folder with an own layout, unit of weight and losses. One grower's
mistakes never hide another's: everything is told at once, by grower.
"""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from trials.group.copies import begun, copied_from, same_draw_as
from trials.group.differences import ALLOWABLE, Difference, Standing, commonest, plan_differences
from trials.group.folders import GrowerFolder, group_plan_folder, grower_folders
from trials.group.group_file import read_group
from trials.problems import Problem, Problems, nearest, one_of
from trials.records import Records, read
from trials.room import room_facts
from trials.trial import Trial
from trials.trial_file import TRIAL_FILE, read_trial

__all__ = ["ALLOWABLE", "Difference", "GrowerTrial", "LeftOut", "Together", "read_together"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowerTrial:
    """One grower's trial and records.

    Parameters
    ----------
    key : str
        Name of the grower's folder, unique in the group.
    shown : str
        What pages call the grower: ``Grower A``, or the name where the grower agreed to it.
    records : Records
        With the grower's own plan in ``records.trial``; weights are in grams whatever the scale.
    notes : mapping of str to str
        Recorded facts by name, such as ``temperature``, ``heat treatment``, ``species``; only
        those that were written down.
    treatments : tuple of str
        Codes that stand both in this plan and in the plan of the group, in the group's order.
    """

    key: str
    shown: str
    records: Records
    notes: Mapping[str, str]
    treatments: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A grower who takes part and is not in the numbers.

    Parameters
    ----------
    key, shown : str
        As in `GrowerTrial`.
    why : str
        A part of a sentence, such as ``nothing was written down yet``.
    """

    key: str
    shown: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """The same trial at several growers.

    Parameters
    ----------
    growers : tuple of GrowerTrial
        One or more, in the order of the group file.
    differences : tuple of Difference
        In what their trials differ: allowed, or only noted.
    left_out : tuple of LeftOut
        Who is not in the numbers, and why.
    problems : mapping of str to tuple of Problem
        By key of the grower; doubts of those in the numbers, mistakes of those left out.
    reference : Trial
        The plan of the group: treatments, aim and unit of weight that the page speaks in.
    title : str
        Of the group's page.
    """

    growers: tuple[GrowerTrial, ...]
    differences: tuple[Difference, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    problems: Mapping[str, tuple[Problem, ...]] = field(default_factory=dict)
    reference: Trial
    title: str = ""


@dataclass(slots=True, kw_only=True, eq=False)
class _Read:
    """What was found in one grower's folder."""

    folder: GrowerFolder
    trial: Trial | None = None
    records: Records | None = None
    problems: tuple[Problem, ...] = ()


def read_together(folders: Sequence[Path | str], *, allow: Collection[str] = ()) -> Together:
    """Read the records of several growers and hold their plans against each other.

    Parameters
    ----------
    folders : sequence of pathlib.Path or str
        Trial folders of growers, or folders that hold such folders. The plan of the group is the
        ``trial.toml`` beside the growers' folders, otherwise the plan that most growers share.
    allow : collection of str
        Words of `ALLOWABLE`: differences that may pass.

    Returns
    -------
    Together

    Raises
    ------
    Problems
        Every mistake of every grower and every difference that was not allowed, at once; the
        file of each begins with the grower's folder.
    """
    paths = [Path(one) for one in folders]
    problems = _unknown_words(allow)
    places = grower_folders(paths, problems)
    found = [_read(place) for place in places if place.there]
    reference = _reference(paths, found, problems)
    left_out = [_left(one, "there is no folder") for one in places if not one.there]
    idle = [one for one in found if one.records is not None and not begun(one.records)]
    left_out += [_left(one.folder, "nothing was written down yet") for one in idle]
    at_work = [one for one in found if one not in idle]
    differences = _differences(at_work, reference, allow) if reference else []
    problems += [_refusal(one) for one in differences if one.standing == "refused"]
    broken = [one for one in found if one.records is None]
    if "unreadable" in allow:
        left_out += [_left(one.folder, "the files hold mistakes") for one in broken]
    else:
        problems += [problem for one in broken for problem in one.problems]
    whole = [one for one in at_work if one.records is not None]
    problems += _copies(whole)
    if not whole and not problems:
        what, where = "there are no records of any grower", str(paths[0]) if paths else "."
        mend = "Name folders in which records were written down."
        problems.append(Problem(file=where, what=what, mend=mend))
    if problems or reference is None:
        raise Problems(problems)
    return Together(
        growers=tuple(_grower(one, reference) for one in whole),
        differences=tuple(differences),
        left_out=tuple(left_out),
        problems={one.folder.key: one.problems for one in found if one.problems},
        reference=reference,
        title=_title(paths) or reference.title,
    )


def _title(paths: list[Path]) -> str:
    """Give the title of the first group file that has one; read without mistakes before."""
    for folder in dict.fromkeys((*paths, *(one.resolve().parent for one in paths))):
        group = read_group(folder)
        if group is not None and group.title:
            return group.title
    return ""


def _unknown_words(allow: Collection[str]) -> list[Problem]:
    found = []
    for word in allow:
        if word not in ALLOWABLE:
            meant = nearest(word, ALLOWABLE)
            hint = f"Did you mean “{meant}”? " if meant else ""
            what = f"“{word[:40]}” is nothing that can be allowed"
            mend = f"{hint}Allowed: {one_of(ALLOWABLE)}."
            found.append(Problem(file="--allow", what=what, mend=mend))
    return found


def _read(folder: GrowerFolder) -> _Read:
    """Read one grower's folder; keep the plan even where the records are broken."""
    try:
        records = read(folder.path)
    except Problems as error:
        trial = None
        with contextlib.suppress(Problems):
            trial = read_trial(folder.path)
        return _Read(folder=folder, trial=trial, problems=_placed(error.problems, folder))
    except OSError as error:
        what = f"cannot be read: {error.strerror or error}"
        mend = "Look at its rights, or copy it anew."
        return _Read(folder=folder, problems=(Problem(file=folder.key, what=what, mend=mend),))
    doubts = _placed(records.doubts, folder)
    return _Read(folder=folder, trial=records.trial, records=records, problems=doubts)


def _placed(problems: Sequence[Problem], folder: GrowerFolder) -> tuple[Problem, ...]:
    return tuple(replace(one, file=f"{folder.key}/{one.file}") for one in problems)


def _reference(paths: list[Path], found: list[_Read], problems: list[Problem]) -> Trial | None:
    """Give the plan of the group: its own, or the one that most growers share."""
    place = group_plan_folder(paths)
    if place is not None:
        try:
            return read_trial(place)
        except Problems as error:
            problems += error.problems
            return None
    plans = [one.trial for one in found if one.trial is not None]
    return commonest(plans) if plans else None


def _differences(found: list[_Read], reference: Trial, allow: Collection[str]) -> list[Difference]:
    differences: list[Difference] = []
    for one in found:
        key, shown = one.folder.key, one.folder.shown
        if one.trial is not None and not (one.records is None and "unreadable" in allow):
            differences += plan_differences(
                one.trial, reference, grower=key, shown=shown, allow=allow
            )
        if one.records is not None:
            differences += _picked(one.records, reference, key, shown)
    whole = {one.folder.key: one.records for one in found if one.records is not None}
    shown_by = {one.folder.key: one.folder.shown for one in found}
    standing: Standing = "allowed" if "draw" in allow else "refused"
    for later, earlier in same_draw_as(whole).items():
        what = f"layout and seed are those of {shown_by[earlier]}"
        differences.append(
            Difference(grower=later, shown=shown_by[later], kind="draw", what=what,
                       key="design.seed", standing=standing, beside=earlier)
        )  # fmt: skip
    return differences


def _picked(records: Records, reference: Trial, key: str, shown: str) -> list[Difference]:
    """Note a grower who stopped picking before the last flush that was planned."""
    weighed = records.flushes.loc[records.flushes["state"] == "weighed", "flush"]
    if weighed.empty or weighed.max() >= reference.flushes:
        return []
    if (records.bags["fate"] == "still going").any():
        return []
    what = f"picking stopped after flush {weighed.max()} of {reference.flushes}"
    return [Difference(grower=key, shown=shown, kind="picked", what=what, standing="noted")]


def _refusal(one: Difference) -> Problem:
    if one.kind in ALLOWABLE:
        mend = f"Mend the plan if it is a slip; if it may pass, add: --allow {one.kind}"
    else:
        mend = "That is another trial; leave this folder out."
    what = f"{one.what} ({one.beside})" if one.beside else one.what
    return Problem(file=f"{one.grower}/{TRIAL_FILE}", key=one.key, what=what, mend=mend)


def _copies(whole: list[_Read]) -> list[Problem]:
    records = {one.folder.key: one.records for one in whole if one.records is not None}
    mend = "Leave one of the two folders out; the same bags must not count twice."
    return [
        Problem(file=copy, what=f"its records are those of {original}, bag by bag", mend=mend)
        for copy, original in copied_from(records).items()
    ]


def _left(folder: GrowerFolder, why: str) -> LeftOut:
    return LeftOut(key=folder.key, shown=folder.shown, why=why)


def _grower(one: _Read, reference: Trial) -> GrowerTrial:
    assert one.records is not None
    trial = one.records.trial
    codes = {treatment.code for treatment in trial.treatments}
    return GrowerTrial(
        key=one.folder.key,
        shown=one.folder.shown,
        records=one.records,
        notes=_notes(trial),
        treatments=tuple(each.code for each in reference.treatments if each.code in codes),
    )


def _notes(trial: Trial) -> dict[str, str]:
    """Gather what was written down of grower and room, and may explain a difference."""
    facts = {"species": trial.species, "strain": trial.strain, **room_facts(trial.room)}
    return {name: told for name, told in facts.items() if told}
