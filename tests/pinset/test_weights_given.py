"""Sizes and rehearsals speak the unit that the plan weighs in, and take weights as written."""

from __future__ import annotations

from pathlib import Path

import pytest

from pinset.cli import main
from pinset.weights_given import grams_given
from trials.problems import Refused

# NIST Handbook 44, appendix C: 1 oz = 28.349523125 g.
OUNCE_G = 28.349523125


@pytest.fixture
def in_ounces(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    folder = tmp_path / "trial"
    assert main(["new", str(folder), "--seed", "7"]) == 0
    plan = folder / "trial.toml"
    text = plan.read_text("utf-8").replace('weights = "g"', 'weights = "oz"')
    plan.write_text(text.replace('worthwhile = "15 %"', 'worthwhile = "2 oz"'), "utf-8")
    capsys.readouterr()
    return folder


@pytest.mark.parametrize(
    ("word", "grams"), [("400", 400), ("14 oz", 14 * OUNCE_G), ("0,4 kg", 400), (None, None)]
)
def test_a_weight_is_read_as_written(word: str | None, grams: float | None) -> None:
    assert grams_given(word, None) == (None if grams is None else pytest.approx(grams))


@pytest.mark.parametrize("word", ["much", "0", "-3", "12 stone", "nan", ""])
def test_what_is_no_weight_is_refused(word: str) -> None:
    with pytest.raises(Refused, match="no weight above 0"):
        grams_given(word, None)


@pytest.mark.parametrize("mean", ["14", "14 oz", "396.893 g"])
def test_a_size_is_told_in_the_unit_of_the_plan(
    in_ounces: Path, mean: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["size", str(in_ounces), "--mean", mean]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "for 14 % (2 oz)" in told
    assert " g)" not in told


def test_a_size_without_a_mean_asks_for_one_like_the_plan(
    in_ounces: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["size", str(in_ounces)]) == 2
    assert "--mean 14oz" in capsys.readouterr().err


def test_a_rehearsal_and_a_warning_speak_ounces(
    in_ounces: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rehearse", str(in_ounces), "--trials", "20", "--mean", "14"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "truly differ by 2.0 oz from the control" in told
    assert "taken to give 14 oz a unit" in told
    assert " oz wide on average" in told
    assert main(["layout", str(in_ounces)]) == 0
    assert "If a bag gives about 14 oz:" in capsys.readouterr().out
