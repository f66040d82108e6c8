"""The sheets to print: labels, record sheet, shelf map; one self-contained page each."""

from __future__ import annotations

from reports.sheet_labels import LABEL_SIZES, labels
from reports.sheet_map import shelf_map
from reports.sheet_records import record_sheet

__all__ = ["LABEL_SIZES", "labels", "record_sheet", "shelf_map"]
