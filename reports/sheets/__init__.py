"""The sheets to print: labels, record sheet, shelf map; one self-contained page each."""

from __future__ import annotations

from reports.sheets.label_sheet import LABEL_SIZES, labels
from reports.sheets.map_sheet import shelf_map
from reports.sheets.record_form import record_sheet

__all__ = ["LABEL_SIZES", "labels", "record_sheet", "shelf_map"]
