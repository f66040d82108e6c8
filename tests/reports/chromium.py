"""The browser that pages are looked at in; tests that need it are skipped where there is none."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

__all__ = ["NEEDS_CHROMIUM", "chromium"]

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None
)
NEEDS_CHROMIUM = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed"),
]
"""The marks of a module of such tests."""

QUIET = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync")  # fmt: skip


@contextmanager
def chromium() -> Iterator[Any]:
    """Start the browser, and close it."""
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield started
        started.close()
