"""Spoil 2,500 files and count what came of each way: ``python -m tests.spoiled.count``.

Words after it choose kinds: ``python -m tests.spoiled.count "group file" lock``.
"""

from __future__ import annotations

import datetime as dt
import sys
import tempfile
import time
from pathlib import Path

from tests.spoiled.test_spoiled_files import KINDS, SEED, memory_mb, spoil_many


def main() -> None:
    """Print a table for RESULTS.md."""
    print(f"{dt.date.today()}, seed {SEED}, Python {sys.version.split()[0]}\n")
    print("| kind | way | told | read |\n|---|---|---:|---:|")
    for name in sys.argv[1:] or KINDS:
        kind = KINDS[name]
        began = time.process_time()
        with tempfile.TemporaryDirectory() as place:
            found = spoil_many(kind, kind.many, Path(place), analysed=7)
        for way in kind.spoilers:
            print(f"| {name} | {way} | {found[way, 'told']} | {found[way, 'read']} |")
        told = sum(count for (_, what), count in found.items() if what == "told")
        print(f"| {name} | all {kind.many}, {time.process_time() - began:.0f} s of one core | "
              f"{told} | {kind.many - told} |", flush=True)  # fmt: skip
    print(f"\nMost memory used: {memory_mb():.0f} MB.")


if __name__ == "__main__":
    main()
