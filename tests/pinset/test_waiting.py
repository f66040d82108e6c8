"""What takes long says so on a terminal, and nowhere else."""

from __future__ import annotations

import io
import sys
import time

import pytest

from pinset import waiting


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("patience", "told"), [(0.0, True), (60.0, False)])
def test_a_terminal_is_told_of_what_takes_long_and_left_clean(monkeypatch, patience, told):
    screen = _Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setattr(waiting, "PATIENCE_S", patience)
    with waiting.telling_of("Reading the records"):
        time.sleep(0.2)
    text = screen.getvalue()
    assert ("Reading the records: 0 s" in text) is told
    if told:
        assert text.split("\r")[-2].strip() == ""


def test_a_file_is_not_told(monkeypatch):
    stream = io.StringIO()
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setattr(waiting, "PATIENCE_S", 0.0)
    with waiting.telling_of("Reading the records"):
        time.sleep(0.05)
    assert stream.getvalue() == ""
