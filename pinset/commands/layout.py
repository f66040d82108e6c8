"""Draw the layout by lot, and make labels, sheets and record book."""

from __future__ import annotations

import argparse

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the trial folder")
    parser.add_argument(
        "--redraw",
        action="store_true",
        help="draw again although there is a layout; the old one is kept in a folder “earlier”",
    )


def run(args: argparse.Namespace) -> int:
    """Draw, lock and write; refuse a second draw unless told to."""
    import datetime as dt
    from pathlib import Path

    from pinset.drawing import draw_into
    from pinset.telling import tell
    from trials.signs.layout_notes import layout_notes
    from trials.signs.warning_signs import warning_signs
    from trials.trial_file import read_trial

    folder = Path(args.folder)
    drawn = draw_into(folder, redraw=args.redraw, now=dt.datetime.now().astimezone())
    units = len(drawn.layout.slots)
    trial = read_trial(folder)
    notes, signs = layout_notes(trial, drawn.layout), warning_signs(trial, drawn.layout)
    if not args.json:
        for line in (*notes, *(f"{one.weight.capitalize()}: {one}" for one in signs)):
            print(line)
    kept = f" The earlier layout is kept in {drawn.kept}." if drawn.kept else ""
    return tell(
        f"Drew {units} places by lot, seed {drawn.layout.seed}, and locked the plan.{kept}",
        f"print the sheets in {folder / 'print'}, and write what you see into "
        f"{folder / 'records.xlsx'}",
        as_json=args.json,
        more={
            "units": units,
            "seed": drawn.layout.seed,
            "fingerprint": drawn.lock.fingerprint,
            "files": [str(path) for path in drawn.files],
            "kept": str(drawn.kept) if drawn.kept else None,
            "notes": list(notes),
            "signs": [one.to_dict() for one in signs],
        },
    )
