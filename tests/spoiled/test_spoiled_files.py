"""Plans, tables, workbooks, locks, group files spoiled at random: told, in time, nothing lost.

Seed 9. The fast sample and the 2,500 use the same ways; ``python -m tests.spoiled.count`` runs the
2,500 and writes how many there were of each kind.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from tests.spoiled.books import BOOK_SPOILERS
from tests.spoiled.folders import (
    Command,
    analyse,
    check,
    check_group,
    copy_of,
    invite,
    layout,
    pool,
    told,
)
from tests.spoiled.plans import PLAN_SPOILERS, TEXT_SPOILERS, Spoiler
from tests.spoiled.tables import TABLE_SPOILERS

SEED = 9
MOST_MEMORY_MB = 1500


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of file: which files of which demos, how they are spoiled, how many of 2,500.

    Each is read; each of some kinds is drawn from or invited with; some of the clean are analysed.
    """

    files: tuple[str, ...]
    spoilers: dict[str, Spoiler]
    many: int
    few: int
    read: Command = check
    draw: Command | None = None
    answer: Command = analyse


KINDS = {
    "plan": Kind(
        files=("mixes/trial.toml", "shortcut/trial.toml", "flushes/trial.toml"),
        spoilers=PLAN_SPOILERS, many=650, few=34, draw=layout,
    ),
    "text table": Kind(
        files=("flushes/bags.csv", "flushes/harvests.csv", "mixes/layout.csv"),
        spoilers=TABLE_SPOILERS, many=650, few=50,
    ),
    "workbook": Kind(
        files=("mixes/records.xlsx", "shortcut/records.xlsx"),
        spoilers=BOOK_SPOILERS, many=580, few=29,
    ),
    "lock": Kind(files=("mixes/plan.lock",), spoilers=TEXT_SPOILERS, many=120, few=15),
    "group file": Kind(
        files=("group/group.toml",), spoilers=PLAN_SPOILERS, many=340, few=17,
        read=check_group, draw=invite, answer=pool,
    ),
    "plan of a group": Kind(
        files=("group/trial.toml", "group/grower-b/trial.toml"), spoilers=PLAN_SPOILERS,
        many=160, few=17, read=check_group, draw=invite, answer=pool,
    ),
}  # fmt: skip


def spoil_many(kind: Kind, count: int, place: Path, *, analysed: int) -> Counter[tuple[str, str]]:
    """Spoil `count` files of a kind in turn; analyse every `analysed`-th, if clean."""
    names, outcomes = list(kind.spoilers), Counter[tuple[str, str]]()
    folders = {file: copy_of(file.split("/")[0], place / str(n))
               for n, file in enumerate(kind.files)}  # fmt: skip
    for number in range(count):
        rng = np.random.default_rng([SEED, number])
        name = names[number % len(names)]
        file = kind.files[int(rng.integers(len(kind.files)))]
        path = folders[file] / file.partition("/")[2]
        whole = path.read_bytes()
        path.write_bytes(kind.spoilers[name](whole, rng))
        try:
            said = told(folders[file], kind.read)
            if kind.draw is not None:
                told(folders[file], kind.draw)
            if not said and number % analysed == 0:
                told(folders[file], kind.answer)
        except BaseException as error:
            error.add_note(f"{name}, number {number}, of {file}")
            raise
        finally:
            path.write_bytes(whole)
        outcomes[name, "told" if said else "read"] += 1
    return outcomes


def memory_mb() -> float:
    resource = pytest.importorskip("resource")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 1e6 if sys.platform == "darwin" else peak / 1e3


@pytest.mark.parametrize("name", KINDS)
def test_a_sample(tmp_path: Path, name: str) -> None:
    kind = KINDS[name]
    outcomes = spoil_many(kind, kind.few, tmp_path, analysed=29)
    assert sum(outcomes.values()) == kind.few
    assert sum(count for (_, what), count in outcomes.items() if what == "told") > kind.few // 3


@pytest.mark.slow
@pytest.mark.parametrize("name", KINDS)
def test_two_and_a_half_thousand(tmp_path: Path, name: str) -> None:
    kind = KINDS[name]
    before = memory_mb()
    outcomes = spoil_many(kind, kind.many, tmp_path, analysed=7)
    assert {one for one, _ in outcomes} == set(kind.spoilers)
    assert memory_mb() - before < MOST_MEMORY_MB


def test_there_are_two_and_a_half_thousand() -> None:
    assert sum(kind.many for kind in KINDS.values()) == 2500
