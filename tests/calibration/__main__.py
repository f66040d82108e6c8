"""Simulate all scenes and print the tables of the README.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.calibration [trials [trials by statsmodels]]
"""

from __future__ import annotations

import sys

from tests.calibration.found import find_out
from tests.calibration.scenes import SCENES
from tests.calibration.tables import tables

SEED = 20_261_125


def main(trials: int = 10_000, peer_trials: int = 2_000) -> None:
    """Print the tables."""
    rows = []
    for number, scene in enumerate(SCENES):
        print(f"{number + 1} of {len(SCENES)}: {scene.name}", file=sys.stderr, flush=True)
        rows.append(find_out(scene, trials, SEED + number, peer_trials=peer_trials))
    print(tables(rows, seed=SEED))


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))
