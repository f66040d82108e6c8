"""Make a whole invented trial and run it to its report."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from pinset.reporting import Made

__all__ = ["add_arguments", "run"]

STORIES = ("shortcut", "group", "flushes", "mixes")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the folder to make it in")
    parser.add_argument(
        "--story",
        choices=STORIES,
        default="mixes",
        help="which invented trial: mixes (which yields more; the default), shortcut (which loses "
        "more, by batch), flushes (how they fall) or group (several growers)",
    )


def run(args: argparse.Namespace) -> int:
    """Copy the invented trial folder and make its sheets and report as a grower would."""
    from pathlib import Path

    from pinset.demos import copy_demo
    from pinset.telling import tell

    folder = Path(args.folder)
    copy_demo(args.story, folder)
    made = _report(args.story, folder)
    kind = "group of growers" if args.story == "group" else "trial"
    return tell(
        f"Made an invented {kind} in {folder} and ran it to its report.\n{made.answer}\n"
        f"Wrote {made.page}.",
        f"open that page in a browser, and look at {folder / 'trial.toml'} and the records",
        as_json=args.json,
        more={"story": args.story, "answer": made.answer, "files": [str(p) for p in made.files]},
    )


def _report(story: str, folder: Path) -> Made:
    """Run one trial, or those of a group, to the report."""
    if story == "group":
        from pinset.pooling import GROUP_REPORT, pool_into

        return pool_into([folder], folder / GROUP_REPORT)
    from pinset.reporting import report_into

    return report_into(folder)
