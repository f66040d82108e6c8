"""The story of seven invented growers: what ships is whole, marked, and tells what it says."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from pinset.cli import main
from pinset.demos import copy_demo, demo_folder
from trials.together import Together, read_together


@pytest.fixture(scope="module")
def together() -> Together:
    return read_together([demo_folder() / "group"])


def test_seven_growers_are_read_without_a_word_of_leave(together: Together) -> None:
    assert len(together.growers) == 7
    assert together.left_out == ()
    assert [one.standing for one in together.differences] == ["noted"]
    assert all(one.records.trial.invented for one in together.growers)
    assert together.reference.invented


def test_every_plan_and_name_is_marked_as_invented(together: Together) -> None:
    top = demo_folder() / "group"
    for path in (top / "trial.toml", *top.glob("*/trial.toml")):
        text = path.read_text(encoding="utf-8")
        assert text.startswith("# An invented trial of an invented group."), path
        assert tomllib.loads(text)["trial"]["invented"] is True
    group = tomllib.loads((top / "group.toml").read_text(encoding="utf-8"))
    assert all(one["name"].endswith("(invented)") for one in group["growers"])
    # Only who agreed is named.
    agreed = {one["name"] for one in group["growers"] if one["show_name"]}
    assert len(agreed) == 1
    assert {one.shown for one in together.growers} == agreed | {
        f"Grower {letter}" for letter in "BCDEFG"
    }


def test_one_lost_a_shelf(together: Together) -> None:
    bags = together.growers[2].records.bags
    assert set(bags.loc[bags["fate"] == "lost otherwise", "block"]) == {"shelf 3"}
    assert (bags.loc[bags["block"] == "shelf 3", "fate"] == "lost otherwise").all()


def test_one_weighed_in_pounds(together: Together) -> None:
    units = [one.records.trial.weights for one in together.growers]
    assert units == ["g", "g", "g", "g", "lb", "g", "g"]
    first = [
        one.records.flushes.query("flush == 1 and state == 'weighed'")["grams"].median()
        for one in together.growers
    ]
    assert all(150 < grams < 400 for grams in first), first


def test_one_stopped_after_two_flushes(together: Together) -> None:
    (found,) = together.differences
    assert (found.shown, found.kind) == ("Grower F", "picked")
    states = together.growers[5].records.flushes.groupby("flush")["state"].unique()
    assert set(states[3]) == {"not picked", "after loss"}


def test_rooms_are_written_down(together: Together) -> None:
    for one in together.growers:
        assert {"temperature", "heat treatment", "species"} <= set(one.notes)


def test_the_copy_is_a_group_ready_to_pool(tmp_path: Path) -> None:
    folder = tmp_path / "group"
    copy_demo("group", folder)
    assert len(read_together([folder]).growers) == 7
    for letter in "abcdefg":
        place = folder / f"grower-{letter}"
        assert (place / "how-to.html").is_file()
        assert (place / "print" / "shelf-map.html").is_file()


def test_a_folder_with_other_files_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "grower-b").mkdir()
    (tmp_path / "grower-b" / "bags.csv").write_text("mine", encoding="utf-8")
    assert main(["demo", str(tmp_path), "--story", "group"]) == 2
    assert [one.name for one in tmp_path.rglob("*")] == ["grower-b", "bags.csv"]


def test_the_story_runs_to_its_report(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "group"
    assert main(["demo", str(folder), "--story", "group", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["story"] == "group"
    page = (folder / "group-report" / "report.html").read_text(encoding="utf-8")
    assert "Invented data" in page
    assert "Odalys Fernwood" in page
    # Nobody is named who did not agree.
    for name in ("Halvgard", "Loam", "Reed (", "Sandwick", "Ockerby", "Marrow"):
        assert name not in page
    assert main(["demo", str(folder), "--story", "group", "--json"]) == 0
