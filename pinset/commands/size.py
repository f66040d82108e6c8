"""Say how large a trial must be, and what one of a given size can see."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from analyses.rehearsing.simulated_size import SimulatedSize
    from pinset.size_options import SizeOptions
    from reports.parts.blocks import Figure, Table
    from trials.sizing.size_rows import Sizing
    from trials.trial import Trial

__all__ = ["SIZE_FOLDER", "add_arguments", "run"]

SIZE_FOLDER = "size"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the words of the command."""
    parser.add_argument("folder", nargs="?", help="the trial folder, if there is a plan already")
    parser.add_argument(
        "--outcome",
        choices=("yield", "contamination", "flush drop", "days to colonise", "days to pins"),
    )
    parser.add_argument("--claim", choices=("better", "no worse", "same"))
    parser.add_argument(
        "--worthwhile", "--margin", help="the smallest difference worth having: “15 %%” or “40 g”"
    )
    parser.add_argument("--treatments", type=int, help="how many, the control among them")
    parser.add_argument("--blocks", type=int, help="shelves, days or rooms; 0 for none")
    parser.add_argument(
        "--units", type=int, help="bags of each treatment in each block, or in all without blocks"
    )
    parser.add_argument("--bags-per-batch", type=int, help="where whole batches are treated")
    parser.add_argument("--mean", help="what a bag gives: “400 g” or “14 oz”")
    parser.add_argument("--cv", type=float, help="per cent by which like bags vary")
    parser.add_argument("--sd", help="weight by which like bags vary: “80 g”")
    parser.add_argument("--batch-cv", type=float, default=10, help="the same of batches (10)")
    parser.add_argument("--loss", type=float, help="bags lost in a hundred")
    parser.add_argument(
        "--correlation", type=float, default=0.05, help="of losses in a batch (0.05)"
    )
    parser.add_argument("--power", type=float, default=80, help="times in a hundred (80)")
    parser.add_argument("--confidence", type=float, help="per cent (95, or the plan's)")
    parser.add_argument(
        "--trials", type=int, default=200, help="rehearsals where no formula is at hand (200)"
    )
    parser.add_argument("--seed", type=int, help="seed of the rehearsals; otherwise the plan's")
    parser.add_argument("--unit", default="bag", help="what one is called (bag)")
    parser.add_argument("--past", help="folder of an earlier trial of yours")
    parser.add_argument(
        "--published", nargs="+", default=[], metavar="NAME=VALUE",
        help="a column of a published table: mean=, and cv=, sd=, se= or lsd=; replicates=, "
        "treatments=",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Answer in words and a table; with a folder also as a picture in ``size``."""
    import json
    from pathlib import Path

    from pinset.simulated_sizing import needs_rehearsal
    from pinset.sizing import size_up
    from reports.wording.size_words import size_lines, size_table
    from trials.trial_file import read_trial

    folder = Path(args.folder) if args.folder else None
    trial = read_trial(folder) if folder else None
    options = _options(args, trial)
    if needs_rehearsal(options, trial):
        return _rehearsed(args, trial)
    sizing = size_up(options, trial)
    files = _draw(sizing, folder) if folder else []
    if args.json:
        told = {"ok": True, "files": [str(path) for path in files], **_numbers(sizing)}
        print(json.dumps(told, ensure_ascii=False, allow_nan=False))
        return 0
    _show(size_lines(sizing), size_table(sizing), files, args.folder)
    return 0


def _rehearsed(args: argparse.Namespace, trial: Trial | None) -> int:
    """Answer by rehearsal, in words and a table; with a folder also as a picture."""
    import json
    from dataclasses import asdict
    from pathlib import Path

    from tqdm import tqdm

    from analyses.rehearsing.simulated_size import simulate_size
    from pinset.simulated_sizing import crop_of, plan_to_rehearse
    from reports.wording.simulated_size_words import simulated_size_lines, simulated_size_table
    from trials.problems import Refused

    if args.trials < 20 or (args.seed is not None and args.seed < 0):
        raise Refused("Rehearse at least 20 times, with a seed from 0.")
    options = _options(args, trial)
    plan = plan_to_rehearse(options, trial)
    with tqdm(unit=" trials", delay=1, leave=False, disable=args.json) as bar:
        size = simulate_size(
            plan, power=options.power, trials=args.trials, seed=args.seed,
            assumptions=crop_of(options), progress=bar.update,
        )  # fmt: skip
    files = _draw_simulated(size, Path(args.folder)) if args.folder else []
    if args.json:
        told = {"ok": True, "files": [str(path) for path in files]}
        told |= {name: value for name, value in asdict(size).items() if name != "trial"}
        told["sentence"] = simulated_size_lines(size)[0]
        print(json.dumps(told, ensure_ascii=False, allow_nan=False))
        return 0
    _show(simulated_size_lines(size), simulated_size_table(size), files, args.folder)
    return 0


def _options(args: argparse.Namespace, trial: Trial | None) -> SizeOptions:
    from pathlib import Path

    from pinset.size_options import SizeOptions
    from pinset.weights_given import grams_given

    def share(value: float | None) -> float | None:
        return None if value is None else value / 100

    return SizeOptions(
        outcome=args.outcome, claim=args.claim, worthwhile=args.worthwhile,
        treatments=args.treatments, blocks=args.blocks, units=args.units,
        bags_per_batch=args.bags_per_batch, mean=grams_given(args.mean, trial),
        sd=grams_given(args.sd, trial), cv=share(args.cv),
        batch_cv=args.batch_cv / 100, loss=share(args.loss), correlation=args.correlation,
        power=args.power / 100, confidence=share(args.confidence), unit=args.unit,
        published=tuple(args.published), past=Path(args.past) if args.past else None,
    )  # fmt: skip


def _draw(sizing: Sizing, folder: Path) -> list[Path]:
    from reports.figures.batch_power import figure_batch_power
    from reports.figures.sizes import figure_sizes

    return _write((figure_sizes(sizing), figure_batch_power(sizing)), folder)


def _draw_simulated(size: SimulatedSize, folder: Path) -> list[Path]:
    from reports.figures.simulated_sizes import figure_simulated_sizes

    return _write((figure_simulated_sizes(size),), folder)


def _write(drawn: tuple[Figure | None, ...], folder: Path) -> list[Path]:
    from trials.writing import write_all

    contents: dict[str, str | bytes] = {}
    for figure in drawn:
        if figure is not None:
            contents |= {f"{figure.name}.svg": figure.svg, f"{figure.name}.png": figure.png}
    if not contents:
        return []
    write_all(folder, {f"{SIZE_FOLDER}/{name}": one for name, one in contents.items()})
    return [folder / SIZE_FOLDER / name for name in contents]


def _show(lines: tuple[str, ...], table: Table, files: list[Path], folder: str | None) -> None:
    import shutil

    from reports.plain_text import fill, table_lines
    from trials.typed import typed

    width = max(40, min(shutil.get_terminal_size((80, 24)).columns, 88))
    for line in lines:
        print("\n".join(fill(line, width)))
    print("\n" + "\n".join(table_lines(table, width)) + "\n")
    for path in files:
        print(f"Wrote {path}.")
    print(
        f"Next: pinset rehearse {typed(folder)}" if folder else "Next: pinset new, to write a plan"
    )


def _numbers(sizing: Sizing) -> dict[str, object]:
    import math

    from reports.wording.size_words import size_lines

    def known(value: float | None) -> float | None:
        return None if value is None or not math.isfinite(value) else value

    return {
        "sentence": size_lines(sizing)[0],
        "main": sizing.main,
        "mean": sizing.mean,
        "rows": [
            {
                "name": row.name,
                "cv": known(row.answer.question.cv),
                "lost": row.answer.question.lost,
                "bags": row.answer.bags,
                "df": known(row.answer.df),
                "difference": known(row.answer.reach),
                "worthwhile": row.answer.question.worthwhile,
                "power": row.answer.power_now,
                "bags_needed": row.answer.bags_needed,
                "interval_width": known(row.answer.width),
            }
            for row in sizing.rows
        ],
    }
