"""Write a plan to fill in."""

from __future__ import annotations

import argparse

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the trial folder to make")
    parser.add_argument(
        "--question",
        choices=("yield", "contamination", "flush"),
        default="yield",
        help="what the trial asks: which yields more, which loses more, how flushes fall",
    )
    parser.add_argument("--seed", type=int, help="seed of the draw; otherwise one is chosen")


def run(args: argparse.Namespace) -> int:
    """Write ``trial.toml``; refuse to touch one that is there."""
    import secrets
    from pathlib import Path

    from pinset.telling import tell
    from trials.problems import Refused
    from trials.starters import starter
    from trials.trial_file import TRIAL_FILE, check_trial
    from trials.typed import typed
    from trials.writing import write_new

    folder = Path(args.folder)
    path = folder / TRIAL_FILE
    if folder.exists() and not folder.is_dir():
        raise Refused(f"“{folder}” is a file. Choose another name for the folder.")
    seed = args.seed if args.seed is not None else 1 + secrets.randbelow(99_999)
    if seed < 0:
        raise Refused("The seed is a whole number from 0.")
    text = starter(args.question, folder=str(folder), seed=seed)
    check_trial(text)
    if not write_new(path, text):
        raise Refused(f"There is a plan in “{folder}” already; it was left as it is.")
    return tell(
        f"Wrote {path}, a plan to fill in.",
        f"open it in a plain-text editor, then run: pinset layout {typed(folder)}",
        as_json=args.json,
        more={"file": str(path)},
    )
