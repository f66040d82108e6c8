"""Make a whole invented trial and run it to its report."""

from __future__ import annotations

import argparse

__all__ = ["add_arguments", "run"]

STORIES = ("shortcut", "group", "flushes", "mixes")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the folder to make it in")
    parser.add_argument(
        "--story", choices=STORIES, default="mixes", help="which invented trial (default: mixes)"
    )


def run(args: argparse.Namespace) -> int:
    """Copy the invented trial folder and make its sheets and report as a grower would."""
    from pathlib import Path

    from pinset.demos import copy_demo
    from pinset.reporting import report_into
    from pinset.telling import tell

    folder = Path(args.folder)
    copy_demo(args.story, folder)
    made = report_into(folder)
    return tell(
        f"Made an invented trial in {folder} and ran it to its report.\n{made.answer}\n"
        f"Wrote {made.page}.",
        f"open that page in a browser, and look at {folder / 'trial.toml'} and the records",
        as_json=args.json,
        more={"story": args.story, "answer": made.answer, "files": [str(p) for p in made.files]},
    )
