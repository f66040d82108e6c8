"""Read published and computed check values; each file names its source."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pandas as pd

HERE = Path(__file__).parent
_WORDS = {"NA": math.nan, "NaN": math.nan, "Inf": math.inf, "-Inf": -math.inf}


def _numbers(value: Any) -> Any:
    """Turn the bank's words for special numbers into numbers."""
    if isinstance(value, str):
        return _WORDS.get(value, value)
    if isinstance(value, list):
        return [_numbers(one) for one in value]
    if isinstance(value, dict):
        return {key: _numbers(one) for key, one in value.items()}
    return value


def case(name: str) -> dict[str, Any]:
    """Give one file of check values, e.g. "mixed_stools" or "bank/o-lmm-02-ergostool"."""
    folder = HERE / "bank" / "cases" if name.startswith("bank/") else HERE
    text = (folder / f"{name.removeprefix('bank/')}.json").read_text(encoding="utf-8")
    return dict(_numbers(json.loads(text)))


def frame(name: str) -> pd.DataFrame:
    """Give one table of data, e.g. "mixed_stools" or "bank/ergoStool"."""
    folder = HERE / "bank" / "data" if name.startswith("bank/") else HERE
    return pd.read_csv(folder / f"{name.removeprefix('bank/')}.csv")


def matrix(table: dict[str, Any]) -> Any:
    """Give a bank matrix, stored as rows, cols and values, as an array."""
    import numpy as np

    rows, columns = len(table["rows"]), len(table["cols"])
    return np.asarray(table["values"], float).reshape(rows, columns)
