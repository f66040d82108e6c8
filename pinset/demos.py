"""The invented trials that ship with pinset, copied out for someone to run."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import as_file, files
from pathlib import Path

from pinset.drawing import PRINT_FOLDER, printed_sheets
from pinset.inviting import HOW_TO_FILE
from reports.sheets.how_to_sheet import how_to_sheet
from trials.group.group_file import read_group
from trials.layout import Layout
from trials.layout_file import read_layout
from trials.problems import Refused, one_of
from trials.trial import Trial
from trials.trial_file import TRIAL_FILE, read_trial
from trials.writing import write_all, write_new, write_whole

__all__ = ["copy_demo", "demo_folder", "demo_stories"]


def demo_folder() -> Path:
    """Give the folder of the invented trials, in a wheel or in a checkout."""
    try:
        with as_file(files("pinset.data")) as found:
            return Path(found) / "demos"
    except ModuleNotFoundError:  # a checkout that was never installed
        return Path(__file__).resolve().parent.parent / "data" / "demos"


def demo_stories() -> tuple[str, ...]:
    """Name the stories that this version holds."""
    return tuple(
        sorted(one.name for one in demo_folder().iterdir() if (one / TRIAL_FILE).is_file())
    )


def copy_demo(story: str, folder: Path) -> None:
    """Copy an invented trial, or a group of them, into a folder and print the sheets.

    Parameters
    ----------
    story : str
        One of `demo_stories`.
    folder : pathlib.Path
        New, empty, or holding this very demo from before.

    Raises
    ------
    Refused
        The story is not in this version, or the folder holds other files.
    """
    stories = demo_stories()
    if story not in stories:
        raise Refused(
            f"The story “{story}” is not in this version yet. There is {one_of(stories)}."
        )
    source = demo_folder() / story
    contents = {
        one.relative_to(source).as_posix(): one.read_bytes()
        for one in sorted(source.rglob("*"))
        if one.is_file()
    }
    others = [
        name
        for name, content in contents.items()
        if (folder / name).exists() and (folder / name).read_bytes() != content
    ]
    if others or _holds_others(folder, contents):
        raise Refused(
            f"“{folder}” holds other files; they were left as they are. Name a new folder."
        )
    for name, content in contents.items():
        write_new(folder / name, content)
    group = read_group(folder)
    if group is None:
        _print_sheets(folder)
        return
    for member in group.members:
        place = folder / member.folder
        trial, layout = _print_sheets(place)
        page = how_to_sheet(trial, layout, member, growers=len(group.members))
        write_whole(place / HOW_TO_FILE, page)


def _holds_others(folder: Path, contents: Mapping[str, bytes]) -> bool:
    """Whether files of someone else stand where a demo should go, or did not go whole yet."""
    if not folder.exists() or all((folder / name).exists() for name in contents):
        return False
    if not folder.is_dir():
        return True
    own = {Path(name).parts[0] for name in contents}
    return any(
        one.name not in own and not (one.name.startswith(".") and one.suffix == ".part")
        for one in folder.iterdir()
    )


def _print_sheets(folder: Path) -> tuple[Trial, Layout]:
    trial = read_trial(folder)
    layout = read_layout(folder, trial)
    sheets = printed_sheets(trial, layout)
    write_all(folder, {f"{PRINT_FOLDER}/{name}": html for name, html in sheets.items()})
    return trial, layout
