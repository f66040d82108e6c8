"""Time whole commands on a small and a large trial, each as a process of its own.

Run: python -m tests.benchmarks.bench_commands

Beside: reading the same files with pandas, and fitting the yields alone by the mixed model of
statsmodels; neither checks the records, nor answers anything else, nor draws.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.benchmarks.big_folder import make_folder
from tests.benchmarks.measured import measured, python

READ = """
import pandas as pd
bags = pd.read_csv("{folder}/bags.csv", parse_dates=["spawned", "lost on"])
picked = pd.read_csv("{folder}/harvests.csv", parse_dates=["date"])
"""
FIT = (
    READ
    + """
import warnings
warnings.simplefilter("ignore")
import statsmodels.formula.api as smf
layout = pd.read_csv("{folder}/layout.csv")
total = picked.groupby("code")["weight (g)"].sum().rename("grams")
data = layout.merge(total, how="left", on="code").fillna({{"grams": 0}})
print(smf.mixedlm("grams ~ treatment", data, groups="block").fit().summary())
"""
)
SIZES = {
    "216 flushes of 72 bags": {"blocks": 6, "units": 3},
    "100,000 pickings of 30,000 bags": {"blocks": 250, "units": 30},
}
STORIES = ("mixes", "shortcut", "flushes")


def main() -> None:
    """Print the table."""
    print(f"{'':52}{'clock':>9} {'CPU':>9} {'peak':>11}   beside")
    _tell("--help", ["--help"])
    with tempfile.TemporaryDirectory() as kept:
        for size, shape in SIZES.items():
            folder = Path(kept) / size.split()[0].replace(",", "")
            make_folder(folder, **shape)
            peers = {"check": READ, "analyse": FIT}
            for command in ("check", "analyse", "report"):
                peer = peers.get(command, "").format(folder=folder)
                _tell(f"{command}, {size}", [command, str(folder)], peer)
        for story in STORIES:
            for number in range(1, 5):  # each run needs a new folder
                words = ["demo", f"{kept}/{story}-{number}", "--story", story]
                if number == 1:
                    measured(python("-m", "pinset", *words), times=1, warm=False)
                    continue
                cost = measured(python("-m", "pinset", *words), times=1, warm=False)
                print(f"{f'demo {story}, to its report, run {number - 1}':52}{cost}")


def _tell(what: str, words: list[str], peer: str = "") -> None:
    cost = measured(python("-m", "pinset", *words))
    beside = measured(python("-c", peer)) if peer else ""
    print(f"{what:52}{cost}   {beside}")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
