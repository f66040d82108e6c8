"""Make the page for the group, to read, to edit and to send, with its figures and numbers."""

from __future__ import annotations

import argparse

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the trial folder")


def run(args: argparse.Namespace) -> int:
    """Read, analyse and write the folder ``report``."""
    from pathlib import Path

    from pinset.reporting import report_into
    from pinset.telling import tell

    made = report_into(Path(args.folder))
    return tell(
        f"{made.answer}\nWrote {made.page}.",
        "open it in a browser; it can be sent to the group as it is, and report.docx beside "
        "it can be edited",
        as_json=args.json,
        more={"answer": made.answer, "files": [str(path) for path in made.files]},
    )
