"""The wheel by itself: installed alone into an empty environment it runs the demo."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
OURS = {"trials", "analyses", "reports", "pinset"}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel from a copy of what git tracks, so that the checkout stays clean."""
    import shutil

    place = tmp_path_factory.mktemp("wheel")
    source = place / "source"
    for part in (*OURS, "data"):
        shutil.copytree(TOP / part, source / part, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(TOP / name, source / name)
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(place), "."],
        cwd=source, check=True, capture_output=True,
    )  # fmt: skip
    return next(place.glob("*.whl"))


def test_top_level_names_of_the_wheel(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names if ".dist-info/" not in name}
    assert tops == OURS
    assert "pinset/data/demos/mixes/records.xlsx" in names
    ours = [one.relative_to(TOP).as_posix() for one in (TOP / "data" / "demos").rglob("*.*")]
    demos = {f"pinset/{one}" for one in ours if "made_with" not in one}
    assert demos <= set(names)
    assert "pinset/data/demos/group/grower-e/bags.csv" in demos
    assert any(name.startswith("reports/templates/") for name in names)
    assert not any("__pycache__" in name or name.startswith("tests") for name in names)


def test_the_wheel_alone_runs_the_demo(wheel: Path, tmp_path: Path) -> None:
    """Its dependencies are borrowed from this environment; nothing of the checkout is."""
    site = tmp_path / "site"
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-compile",
         "--target", str(site), str(wheel)],
        check=True, capture_output=True,
    )  # fmt: skip
    code = (
        f"import sys; sys.path[:] = [{str(site)!r}] + [p for p in sys.path if {str(TOP)!r} != p];"
        "sys.meta_path[:] = [f for f in sys.meta_path if 'editable' not in repr(f).lower()];"
        "from pinset.cli import main; import pinset;"
        "assert pinset.__file__.startswith(sys.path[0]), pinset.__file__;"
        "raise SystemExit(main(['demo', 'whole']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "whole" / "report" / "report.html").is_file()
