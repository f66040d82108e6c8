"""Simulate all scenes and print the tables of the README.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.calibration [trials [trials by statsmodels]]
"""

from __future__ import annotations

import sys

from tests.calibration.found import find_out
from tests.calibration.scenes import SCENES
from tests.calibration.tables import tables

SEED = 20_261_125


def main(trials: int = 10_000, peer_trials: int = 500) -> None:
    """Print the tables."""
    rows = []
    for number, scene in enumerate(SCENES):
        rows.append(find_out(scene, trials, SEED + number, peer_trials=peer_trials))
        one = rows[-1]
        told = f"{number + 1} of {len(SCENES)}: {one.error}, {one.peer_error}; "
        print(told + f"{one.coverage}, {one.peer_coverage}", file=sys.stderr, flush=True)
    print(tables(rows, seed=SEED))


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))
