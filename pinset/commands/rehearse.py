"""Rehearse a plan: simulate it many times and see how often it answers."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trials.assumptions import Assumptions
    from trials.trial import Margin, Trial

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", help="the trial folder")
    parser.add_argument("--trials", type=int, default=1000, help="how many times (default: 1000)")
    parser.add_argument("--seed", type=int, help="seed of the luck; otherwise the plan's own")
    parser.add_argument("--mean", help="what a bag of the control gives: “400 g” or “14 oz”")
    parser.add_argument("--cv", type=float, help="per cent by which like bags vary")
    parser.add_argument("--loss", type=float, help="bags of the control lost in a hundred")
    parser.add_argument("--kept", type=float, help="per cent of a flush that the next one keeps")
    parser.add_argument("--effect", help="how much better to make the others: “15 %%” or “40 g”")


def run(args: argparse.Namespace) -> int:
    """Simulate, analyse and tell; nothing is written."""
    import json
    import math
    import shutil
    from dataclasses import asdict
    from pathlib import Path

    from tqdm import tqdm

    from analyses.rehearsal import rehearse
    from reports.plain_text import fill, table_lines
    from reports.wording.rehearsal_words import rehearsal_lines, verdict_table
    from trials.problems import Refused
    from trials.trial_file import read_trial
    from trials.typed import typed

    if args.trials < 2 or (args.seed is not None and args.seed < 0):
        raise Refused("Rehearse at least 2 times, with a seed from 0.")
    trial = read_trial(Path(args.folder))
    with tqdm(total=args.trials, delay=1, leave=False, disable=args.json) as bar:
        found = rehearse(
            trial, args.trials, args.seed, assumptions=_crop(args, trial),
            effect=_effect(args, trial), progress=bar.update,
        )  # fmt: skip
    if args.json:
        numbers = {
            name: None if isinstance(one, float) and math.isnan(one) else one
            for name, one in asdict(found).items()
        }
        print(json.dumps({"ok": True, **numbers}, ensure_ascii=False, allow_nan=False))
        return 0
    width = max(40, min(shutil.get_terminal_size((80, 24)).columns, 88))
    for line in rehearsal_lines(found, trial):
        print("\n".join(fill(line, width)))
    print("\n" + "\n".join(table_lines(verdict_table(found), width)) + "\n")
    print(f"Next: pinset layout {typed(args.folder)}")
    return 0


def _crop(args: argparse.Namespace, trial: Trial) -> Assumptions:
    from pinset.weights_given import grams_given
    from trials.assumptions import Assumptions
    from trials.problems import Refused

    given: dict[str, Any] = {"mean": grams_given(args.mean, trial)}
    for name, value in (("cv", args.cv), ("contaminated", args.loss), ("kept", args.kept)):
        given[name] = None if value is None else value / 100
    changed = {name: value for name, value in given.items() if value is not None}
    if "cv" in changed:  # flushes cannot vary more than the totals that they make up
        usual = Assumptions()
        changed["cv_flush"] = min(usual.cv_flush, changed["cv"] * usual.cv_flush / usual.cv)
    try:
        return Assumptions(**changed)
    except ValueError as error:
        raise Refused(f"Such a crop cannot be simulated: {error}.") from error


def _effect(args: argparse.Namespace, trial: Trial) -> Margin | None:
    from trials.problems import Refused
    from trials.trial_file import margin

    if args.effect is None:
        return None
    found = margin(args.effect, trial.aim.outcome)
    if found is None:
        raise Refused(f"“{args.effect}” is no difference: write “15 %” or “40 g”.")
    return found
