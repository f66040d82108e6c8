"""Make a whole invented trial and run it to its report."""

from __future__ import annotations

import argparse
from pathlib import Path

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
    from pinset.demos import copy_demo
    from pinset.reporting import report_into
    from pinset.telling import tell

    folder = Path(args.folder)
    if args.story == "group":
        return _run_group(folder, as_json=args.json)
    copy_demo(args.story, folder)
    made = report_into(folder)
    return tell(
        f"Made an invented trial in {folder} and ran it to its report.\n{made.answer}\n"
        f"Wrote {made.page}.",
        f"open that page in a browser, and look at {folder / 'trial.toml'} and the records",
        as_json=args.json,
        more={"story": args.story, "answer": made.answer, "files": [str(p) for p in made.files]},
    )


def _run_group(folder: Path, *, as_json: bool) -> int:
    """Copy the folders of the invented growers and pool them, as the command does."""
    import importlib.util

    from pinset.demos import copy_demo
    from trials.problems import Refused

    if importlib.util.find_spec("pinset.commands.pool") is None:
        raise Refused("The story “group” is not in this version yet: it cannot pool growers.")
    pool = importlib.import_module("pinset.commands.pool")
    words = argparse.ArgumentParser()
    pool.add_arguments(words)
    asked = words.parse_args([str(folder)])
    asked.json = as_json
    copy_demo("group", folder)
    if not as_json:
        print(f"Made the folders of an invented group of growers in {folder}.")
    return int(pool.run(asked))
