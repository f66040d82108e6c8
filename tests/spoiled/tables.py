"""Ways in which a text table can be spoiled."""

from __future__ import annotations

import csv
import io

import numpy as np

from tests.spoiled.plans import TEXT_SPOILERS, Spoiler

CELLS = (
    "about 300 g", "1 lb 4 oz", "1,5", "1.250,50", "1'250", "½", "3/4/26", "2 March 2026",
    "Mar 2, 2026", "03/04/2026", "46083", "46083.5", "2026-02-30", "00:00", "-", "–", "?", "nan",
    "inf", "-inf", "1e308", "1e400", "9" * 400, "9" * 9000, "٤١٢", "TRUE", "#REF!", "#N/A", "=1+1",
    "+1", "-5", "@x", "'5", "\x00", "\x1b[2J", "\u202e12", "\ufeff12", "12\n13", '"', "a,b;c\td",
    "0x10", "1_000", "1 250", "12 st", "12 kgs", "kg", "12 g g", "finnished", "Finished ", "lost",
    "x" * 40_000, "<b>", "0000-00-00", "9999-12-31", "0001-01-01", "1899-12-31", "29.2.2027",
)  # fmt: skip


def _rows(raw: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(raw.decode("utf-8"), newline="")))


def _text(rows: list[list[str]], separator: str = ",") -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n", delimiter=separator).writerows(rows)
    return out.getvalue().encode("utf-8", errors="surrogatepass")


def other_separator(raw: bytes, rng: np.random.Generator) -> bytes:
    return _text(_rows(raw), ";\t|: "[int(rng.integers(5))])


def columns_shuffled(raw: bytes, rng: np.random.Generator) -> bytes:
    rows = _rows(raw)
    order = rng.permutation(len(rows[0]))
    return _text([[row[place] for place in order if place < len(row)] for row in rows])


def column_missing(raw: bytes, rng: np.random.Generator) -> bytes:
    rows = _rows(raw)
    gone = int(rng.integers(len(rows[0])))
    return _text([row[:gone] + row[gone + 1 :] for row in rows])


def column_twice(raw: bytes, rng: np.random.Generator) -> bytes:
    rows = _rows(raw)
    one = int(rng.integers(len(rows[0])))
    return _text([[*row, row[one]] for row in rows])


def rows_shuffled(raw: bytes, rng: np.random.Generator) -> bytes:
    head, *rows = _rows(raw)
    return _text([head, *(rows[place] for place in rng.permutation(len(rows)))])


def row_twice(raw: bytes, rng: np.random.Generator) -> bytes:
    rows = _rows(raw)
    rows.append(rows[int(rng.integers(len(rows)))])
    return _text(rows)


def rows_missing(raw: bytes, rng: np.random.Generator) -> bytes:
    rows = _rows(raw)
    return _text(rows[: int(rng.integers(len(rows)))])


def strange_cells(raw: bytes, rng: np.random.Generator) -> bytes:
    rows = _rows(raw)
    for _ in range(int(rng.integers(1, 6))):
        row = rows[int(rng.integers(len(rows)))]
        row[int(rng.integers(len(row)))] = CELLS[int(rng.integers(len(CELLS)))]
    return _text(rows)


def ragged(raw: bytes, rng: np.random.Generator) -> bytes:
    rows = _rows(raw)
    for _ in range(5):
        row = rows[int(rng.integers(len(rows)))]
        if rng.random() < 0.5:
            del row[int(rng.integers(len(row) + 1)) :]
        else:
            row.extend([""] * int(rng.integers(600)) + ["x"])
    return _text(rows)


def open_quote(raw: bytes, rng: np.random.Generator) -> bytes:
    lines = raw.split(b"\n")
    place = int(rng.integers(len(lines)))
    cells = lines[place].split(b",")
    cells[-1] = b'"' + cells[-1]
    lines[place] = b",".join(cells)
    return b"\n".join(lines)


TABLE_SPOILERS: dict[str, Spoiler] = {
    **TEXT_SPOILERS, "another separator": other_separator, "columns shuffled": columns_shuffled,
    "a column missing": column_missing, "a column twice": column_twice,
    "rows shuffled": rows_shuffled, "a row twice": row_twice, "rows missing": rows_missing,
    "strange cells": strange_cells, "ragged rows": ragged, "a quote not closed": open_quote,
}  # fmt: skip
