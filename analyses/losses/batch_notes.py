"""What must be said beside a comparison of batches."""

from __future__ import annotations

from collections import Counter

from analyses.losses.batch_limits import FEWEST_HIT
from analyses.losses.table import BatchLoss, batch_losses, known_fates
from trials.plurals import plural
from trials.records import Records

__all__ = ["batch_notes"]

_FEW = 5
"""Fewer batches with a loss than this, and a reader is told so."""


def batch_notes(records: Records) -> tuple[str, ...]:
    """Say which units are in no batch, which batches held two treatments, how few were hit.

    Parameters
    ----------
    records : Records
    """
    rows, known = batch_losses(records), known_fates(records)
    word, notes = records.trial.unit, []
    outside = int((known["batch"] == "").sum())
    if outside == 1:
        notes.append(f"1 {word} belongs to no batch and was left out of the comparison.")
    if outside > 1:
        notes.append(
            f"{outside} {plural(word)} belong to no batch and were left out of the comparison."
        )
    twice = sorted({row.batch for row in rows if _sides(rows, row.batch) > 1})
    if twice:
        notes.append(
            f"More than one treatment stood in {', '.join(twice)}; each part counts as a batch."
        )
    notes += _hit(rows, word)
    if len({row.made for row in rows}) > 1:
        sizes = [row.made for row in rows]
        notes.append(
            f"Batches hold {min(sizes)} to {max(sizes)} {plural(word)} of known fate; each counts "
            "once."
        )
    return tuple(notes)


def _hit(rows: tuple[BatchLoss, ...], word: str) -> list[str]:
    sides = Counter(row.treatment for row in rows)
    if not sides or min(sides.values()) < FEWEST_HIT:
        return []  # then nothing is claimed at all
    hit = sum(row.lost > 0 for row in rows)
    whole = sum(row.lost == row.made for row in rows)
    bound = "so the range is one that holds whatever the batches share."
    if hit == 0 or whole == len(rows):
        opening = f"No batch lost any {word}" if hit == 0 else f"Every batch lost every {word}"
        return [f"{opening}, which shows nothing of how much batches differ, {bound}"]
    if not 0 < hit < min(_FEW, len(rows)):
        return []
    opening = f"Only {hit} of {len(rows)} batches lost any {word}."
    if hit < FEWEST_HIT:
        return [
            f"{opening} One alone cannot show how much batches differ, so the range was widened to "
            "one that holds whatever they share."
        ]
    return [f"{opening} So few show only roughly how much batches differ."]


def _sides(rows: tuple[BatchLoss, ...], batch: str) -> int:
    return sum(row.batch == batch for row in rows)
