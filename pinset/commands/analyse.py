"""Say what the records show, here in the terminal."""

from __future__ import annotations

import argparse

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the trial folder")


def run(args: argparse.Namespace) -> int:
    """Read, analyse and print; nothing is written."""
    import json
    from pathlib import Path

    from analyses.questions import analyse
    from pinset.waiting import telling_of
    from reports.results import results
    from trials.records import read

    with telling_of("Reading the records"):
        records = read(Path(args.folder))
    with telling_of("Analysing"):
        analysis = analyse(records, for_page=args.json)
    if args.json:
        print(json.dumps(results(analysis), ensure_ascii=False))
        return 0
    import shutil

    from reports.summary import summary
    from trials.typed import typed

    width = min(shutil.get_terminal_size((80, 24)).columns, 88)
    print(summary(analysis, width=width))
    then = f"pinset report {typed(args.folder)}"
    # A command is never broken; where it is too long it has a line of its own.
    print(f"\nNext: {then}" if len(then) + 6 <= width else f"\nNext:\n  {then}")
    return 0
