"""What `import pinset` offers, and what it says when a name of ours is taken."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import pinset

TOP = Path(__file__).resolve().parents[2]


def test_every_public_name_can_be_had() -> None:
    for name in pinset.__all__:
        assert getattr(pinset, name) is not None
    assert set(dir(pinset)) == set(pinset.__all__)
    with pytest.raises(AttributeError, match="no name"):
        pinset.nothing  # noqa: B018


def test_a_taken_name_is_told_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "trials").mkdir()
    (tmp_path / "trials" / "__init__.py").write_text("")
    code = f"import sys; sys.path[:0] = [{str(tmp_path)!r}, {str(TOP)!r}]; import pinset"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode != 0
    last = done.stderr.strip().splitlines()[-1]
    assert "“trials”, which pinset needs, is taken by" in last
    assert "environment of its own" in last
