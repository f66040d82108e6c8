"""Pool the trials of a group of growers into one answer and one page."""

from __future__ import annotations

import argparse

from trials.group.allowable import ALLOWABLE

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument(
        "folders", nargs="+", metavar="FOLDER",
        help="the trial folders of the growers, or one folder that holds them all",
    )  # fmt: skip
    parser.add_argument(
        "--out", metavar="DIR", help="where the report goes (default: group-report in the folder)"
    )
    parser.add_argument(
        "--allow", action="append", default=[], metavar="WHAT",
        help="let a difference between the plans pass; one of the words below, or several with "
        "commas between",
    )  # fmt: skip
    parser.add_argument("--seed", type=int, help="seed of the luck; otherwise the plan's own")
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = _words()


def _words() -> str:
    wide = max(map(len, ALLOWABLE))
    lines = [f"  {word:<{wide}}  {what}" for word, what in ALLOWABLE.items()]
    return "\n".join(["words for --allow:", *lines])


def run(args: argparse.Namespace) -> int:
    """Read all growers, pool, and write the report of the group."""
    from pathlib import Path

    from pinset.pooling import GROUP_REPORT, pool_into
    from pinset.telling import tell
    from trials.problems import Refused

    if args.seed is not None and args.seed < 0:
        raise Refused("A seed is a whole number from 0.")
    folders = [Path(one) for one in args.folders]
    beside = folders[0] if len(folders) == 1 else folders[0].resolve().parent
    out = Path(args.out) if args.out else beside / GROUP_REPORT
    allow = [word.strip() for one in args.allow for word in one.split(",") if word.strip()]
    made = pool_into(folders, out, allow=allow, seed=args.seed)
    return tell(
        f"{made.answer}\nWrote {made.page}.",
        "open it in a browser; it can be sent to the group as it is",
        as_json=args.json,
        more={"answer": made.answer, "files": [str(path) for path in made.files]},
    )
