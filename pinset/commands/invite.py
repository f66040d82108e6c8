"""Make a folder for each grower of a group from one plan."""

from __future__ import annotations

import argparse

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the folder that holds the plan, trial.toml")
    parser.add_argument(
        "--growers",
        required=True,
        metavar="GROWERS",
        help="how many growers in all (7), or who, with commas between (Ana,Bo or A,B,C); those "
        "who are there already keep what they have",
    )


def run(args: argparse.Namespace) -> int:
    """Make the folders that are missing; leave the others as they are."""
    import datetime as dt
    from pathlib import Path

    from tqdm import tqdm

    from pinset.inviting import invite_into
    from pinset.telling import tell
    from trials.group.invitation import wanted_growers

    folder, wanted = Path(args.folder), wanted_growers(args.growers)
    now = dt.datetime.now().astimezone()
    with tqdm(total=len(wanted), delay=1, leave=False, disable=args.json) as bar:
        invited = invite_into(folder, wanted, now=now, progress=bar.update)
    return tell(
        _told(len(invited.made), len(invited.kept)),
        f"send each grower their folder, and read {invited.group_file}: it says who is who",
        as_json=args.json,
        more={
            "made": [str(one) for one in invited.made],
            "kept": [str(one) for one in invited.kept],
            "group": str(invited.group_file),
        },
    )


def _told(made: int, kept: int) -> str:
    from pinset.inviting import HOW_TO_FILE

    if not made:
        return "All those growers have their folders; nothing was changed."
    folders = "one folder" if made == 1 else f"{made} folders"
    told = f"Made {folders}, each with a layout of its own and a page {HOW_TO_FILE}."
    if not kept:
        return told
    return f"{told} {kept} {'was' if kept == 1 else 'were'} there and stayed as before."
