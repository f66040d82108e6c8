"""The command that pools the trials of a group."""

from __future__ import annotations

import json
import shutil

import pytest

from pinset.cli import main
from pinset.demos import demo_folder
from trials.together import ALLOWABLE


@pytest.fixture
def group(tmp_path):
    """Give a copy of the demo group."""
    folder = tmp_path / "group"
    shutil.copytree(demo_folder() / "group", folder)
    return folder


def test_a_folder_of_folders_becomes_a_page(group, capsys):
    before = {one: one.read_bytes() for one in group.rglob("*") if one.is_file()}
    assert main(["pool", str(group)]) == 0
    told = capsys.readouterr().out
    assert "On average over seven growers" in told
    assert "Next: " in told
    place = group / "group-report"
    for name in ("report.html", "report.md", "report.docx", "results.json"):
        assert (place / name).is_file()
    assert list((place / "figures").glob("forest-*.svg"))
    results = json.loads((place / "results.json").read_text("utf-8"))
    assert len(results["growers"]) == 7
    assert all(one.read_bytes() == held for one, held in before.items())
    # A second run reads the same folders: the report beside them is no grower.
    assert main(["pool", str(group)]) == 0
    again = json.loads((place / "results.json").read_text("utf-8"))
    assert again == results


def test_single_folders_another_place_and_the_machine(group, tmp_path, capsys):
    folders = [str(group / name) for name in ("grower-a", "grower-b", "grower-d")]
    assert main(["pool", *folders, "--out", str(tmp_path / "here"), "--seed", "5", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["ok"]
    results = json.loads((tmp_path / "here" / "results.json").read_text("utf-8"))
    assert (len(results["growers"]), results["seed"]) == (3, 5)


def test_one_grower_is_no_group(group, capsys):
    assert main(["pool", str(group / "grower-a")]) == 2
    assert "pinset report" in capsys.readouterr().err
    assert main(["pool", str(group), "--seed", "-1"]) == 2


def test_another_margin_stops_until_it_is_allowed(group, capsys):
    plan = group / "grower-b" / "trial.toml"
    text = plan.read_text("utf-8")
    assert 'worthwhile = "10 %"' in text
    plan.write_text(text.replace('worthwhile = "10 %"', 'worthwhile = "12 %"'), "utf-8")
    assert main(["pool", str(group)]) == 1
    told = capsys.readouterr().err
    assert "grower-b" in told
    assert "--allow margin" in told
    assert not (group / "group-report").exists()
    assert main(["pool", str(group), "--allow", "margin"]) == 0
    page = (group / "group-report" / "report.md").read_text("utf-8")
    assert "(allowed)" in page


def test_the_help_lists_what_can_be_allowed(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    with pytest.raises(SystemExit):
        main(["pool", "--help"])
    told = capsys.readouterr().out
    _, _, listed = told.partition("words for --allow:\n")
    assert [line.split()[0] for line in listed.splitlines()] == list(ALLOWABLE)
    assert max(map(len, told.splitlines())) <= 80
