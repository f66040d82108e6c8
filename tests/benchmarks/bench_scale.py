"""Time a farm's ten years: 1,000,000 pickings of 300,000 bags, read, checked and analysed.

Run: python -m tests.benchmarks.bench_scale
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.benchmarks.big_folder import make_folder
from tests.benchmarks.measured import measured, python

WEEKS, BAGS_OF_A_MIX = 500, 150


def main() -> None:
    """Print what each command costs."""
    with tempfile.TemporaryDirectory() as kept:
        folder = Path(kept) / "ten-years"
        make_folder(folder, blocks=WEEKS, units=BAGS_OF_A_MIX)
        pickings = sum(1 for _ in (folder / "harvests.csv").open(encoding="utf-8")) - 1
        print(f"{4 * WEEKS * BAGS_OF_A_MIX:,} bags, {pickings:,} pickings")
        print(f"{'':12}{'clock':>9} {'CPU':>9} {'peak':>11}")
        for command in ("check", "analyse"):
            cost = measured(python("-m", "pinset", command, str(folder)), times=1, warm=False)
            print(f"{command:12}{cost}", flush=True)


if __name__ == "__main__":
    main()
