"""Find the mistakes in plan, layout and records, all at once."""

from __future__ import annotations

import argparse

__all__ = ["add_arguments", "run"]

_MOST_SHOWN = 200


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the trial folder")


def run(args: argparse.Namespace) -> int:
    """Read everything and say what is wrong or doubtful."""
    from pathlib import Path

    from pinset.telling import tell
    from pinset.waiting import telling_of
    from trials.plurals import counted
    from trials.records import read
    from trials.typed import typed

    with telling_of("Reading the records"):
        records = read(Path(args.folder))
    if not args.json and records.doubts:
        print("Worth a look, though nothing is plainly wrong:")
        for doubt in records.doubts[:_MOST_SHOWN]:
            print(f"  - {doubt}")
        if len(records.doubts) > _MOST_SHOWN:
            print(f"  and {len(records.doubts) - _MOST_SHOWN} more, which --json lists.")
    fates = records.bags["fate"].value_counts()
    count = len(records.bags)
    begun = fates.get("not recorded", 0) < count or bool(records.flushes["grams"].notna().any())
    return tell(
        f"Read {counted(count, records.trial.unit)} from {' and '.join(records.sources)}: "
        f"no mistakes{f', {len(records.doubts)} worth a look' if records.doubts else ''}.",
        f"pinset report {typed(args.folder)}"
        if begun
        else "write into the record book what you see",
        as_json=args.json,
        more={
            "units": count,
            "fates": {str(fate): int(number) for fate, number in fates.items()},
            "doubts": [doubt.to_dict() for doubt in records.doubts],
        },
    )
