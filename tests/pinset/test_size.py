"""The command that says how large a trial must be."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pinset.cli import main
from pinset.planning_values import planning_cvs
from tests.trials.folders import make_folder
from tests.trials.plans import plan

DEMO = Path(__file__).parents[2] / "data" / "demos" / "mixes"


def _asked(capsys, *words):
    assert main(["size", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_published_rule_through_the_command(capsys):
    # noncentral t: CV 20 %, difference 20 %, two recipes, 80 %: 18 blocks, so 36 bags
    told = _asked(capsys, "--blocks", "6", "--cv", "20", "--worthwhile", "20 %")
    assert told["rows"][0]["bags_needed"] == 36
    assert "you need at least 36" in told["sentence"]
    # Cohen (1988), table 2.4.1: 64 a group
    told = _asked(capsys, "--units", "10", "--mean", "400", "--sd", "80", "--worthwhile", "40 g")
    assert told["rows"][0]["bags_needed"] == 128


def test_a_plan_is_answered_in_words_a_table_and_a_picture(tmp_path, capsys):
    folder = tmp_path / "trial"
    make_folder(folder, plan(blocks=3, units=4))
    assert main(["size", str(folder)]) == 0
    told = capsys.readouterr().out
    assert "With 24 bags on 3 shelves" in told.replace("\n", " ")
    assert "they vary by 20 % (usual)" in told
    assert (folder / "size" / "sizes.svg").read_text(encoding="utf-8").startswith("<svg")
    assert (folder / "size" / "sizes.png").read_bytes()[:4] == b"\x89PNG"


def test_nothing_known_gives_the_published_range(capsys):
    assert [round(100 * cv) for _, cv in planning_cvs()] == [11, 20, 32]
    rows = _asked(capsys, "--worthwhile", "15 %")["rows"]
    assert [round(100 * row["cv"]) for row in rows] == [11, 20, 32]
    reach = [row["difference"] for row in rows]
    assert reach == sorted(reach)


def test_past_records_narrow_the_range(capsys):
    told = _asked(capsys, "--past", str(DEMO), "--worthwhile", "60 g", "--blocks", "8")
    low, seen, high = (row["cv"] for row in told["rows"])
    assert low < seen < high
    assert told["main"] == 1
    assert told["rows"][1]["worthwhile"] == pytest.approx(60 / told["mean"])


def test_a_published_table_is_read_back(capsys):
    words = ["--published", "mean=23.75", "cv=19.14", "lsd=9.08", "treatments=4", "--blocks", "6"]
    assert _asked(capsys, *words)["rows"][0]["cv"] == pytest.approx(0.1914)
    assert main(["size", *words]) == 0
    assert "fits 3 replicates with blocks, 6 degrees of freedom" in capsys.readouterr().out.replace(
        "\n", " "
    )


@pytest.mark.parametrize(
    "words",
    [
        ["--sd", "40"],
        ["--worthwhile", "40 g"],
        ["--worthwhile", "much"],
        ["--published", "cv=20"],
        ["--published", "mean=much"],
        ["--treatments", "1"],
        ["--units", "0"],
        ["--power", "100"],
        ["--mean", "-3", "--sd", "2"],
        ["--loss", "100"],
    ],
)
def test_what_cannot_be_answered_is_refused(words, capsys):
    assert main(["size", *words]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_batches_are_drawn_by_number_and_size(tmp_path):
    """The shortcut's plan: the picture says by how much batches beat bags."""
    import shutil

    folder = tmp_path / "shortcut"
    shutil.copytree(DEMO.parent / "shortcut", folder)
    assert main(["size", str(folder)]) == 0
    drawn = (folder / "size" / "batch-power.svg").read_text(encoding="utf-8")
    assert drawn.startswith("<svg")
    assert "bags in a batch" in drawn
    assert (folder / "size" / "batch-power.png").read_bytes()[:4] == b"\x89PNG"


def test_few_batches_hit_are_told(capsys):
    """12 batches of 12 at 2 in 100: 12 (1 - .98^12) = 2.6 would lose a bag; at 15 in 100 10.3."""
    asked = ("--outcome", "contamination", "--units", "6", "--bags-per-batch", "12",
             "--worthwhile", "10 in 100", "--claim", "no worse")  # fmt: skip
    for loss, told in (("2", True), ("15", False)):
        assert main(["size", *asked, "--loss", loss]) == 0
        said = " ".join(capsys.readouterr().out.split())
        assert ("few batches would be hit at all" in said) == told


def test_bags_that_stand_alone_have_no_picture_of_batches(tmp_path):
    folder = tmp_path / "trial"
    make_folder(folder, plan(blocks=3, units=4))
    assert main(["size", str(folder)]) == 0
    assert not (folder / "size" / "batch-power.svg").exists()


@pytest.mark.slow
def test_days_and_flushes_are_answered_by_rehearsal(tmp_path, capsys):
    folder = tmp_path / "trial"
    aim = 'outcome = "days to colonise"\nworthwhile = "9 days"'
    make_folder(folder, plan(blocks=3, units=3, aim=aim))
    assert main(["size", str(folder), "--trials", "20"]) == 0
    told = capsys.readouterr().out.replace("\n", " ")
    assert "No formula covers this" in told
    assert "looked at every 2 days" in told
    assert (folder / "size" / "sizes.svg").read_text(encoding="utf-8").startswith("<svg")
    words = ["--outcome", "flush drop", "--blocks", "3"]
    told = _asked(capsys, *words, "--trials", "20")
    assert told["unit"] == "in 100"
    assert told["planned"]["bags"] == 6


def test_a_split_plot_is_told_by_what_is_compared(tmp_path, capsys):
    from tests.pinset.test_split_plot_story import PLAN

    (tmp_path / "trial.toml").write_text(PLAN, encoding="utf-8")
    assert main(["size", str(tmp_path)]) == 0
    told = capsys.readouterr().out.replace("\n", " ")
    assert "It depends on what is compared" in told
    assert "steam is compared, over all mix" in told
    losses = PLAN.replace('"yield"', '"contamination"').replace('"10 %"', '"4 in 100"')
    (tmp_path / "trial.toml").write_text(losses, encoding="utf-8")
    assert main(["size", str(tmp_path), "--trials", "20"]) == 0
    assert "No formula covers this" in capsys.readouterr().out.replace("\n", " ")
