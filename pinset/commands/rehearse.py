"""Rehearse a plan: simulate it many times and see how often it answers."""

from __future__ import annotations

import argparse

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the trial folder")
    parser.add_argument("--trials", type=int, default=1000, help="how many times (default: 1000)")
    parser.add_argument("--seed", type=int, help="seed of the luck; otherwise the plan's own")


def run(args: argparse.Namespace) -> int:
    """Simulate, analyse and tell; nothing is written."""
    import json
    import math
    from dataclasses import asdict
    from pathlib import Path

    from tqdm import tqdm

    from analyses.rehearsal import rehearse
    from reports.rehearsal_words import rehearsal_lines
    from trials.problems import Refused
    from trials.trial_file import read_trial

    if args.trials < 2 or (args.seed is not None and args.seed < 0):
        raise Refused("Rehearse at least 2 times, with a seed from 0.")
    trial = read_trial(Path(args.folder))
    with tqdm(total=args.trials, delay=1, leave=False, disable=args.json) as bar:
        found = rehearse(trial, args.trials, args.seed, progress=bar.update)
    if args.json:
        numbers = {
            name: None if isinstance(one, float) and math.isnan(one) else one
            for name, one in asdict(found).items()
        }
        print(json.dumps({"ok": True, **numbers}, ensure_ascii=False, allow_nan=False))
        return 0
    print("\n".join(rehearsal_lines(found, trial)))
    print(f"Next: pinset layout {args.folder}")
    return 0
