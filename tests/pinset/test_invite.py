"""One plan becomes a folder for each grower: whole or not at all, nothing overwritten."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

import pinset.inviting
from pinset.cli import main
from pinset.inviting import HOW_TO_FILE
from reports.sheets.how_to_sheet import how_to_sheet
from tests.trials.folders import write_bags
from tests.trials.groups import PLAN, the_plan
from trials.designs import draw
from trials.group.group_file import GROUP_FILE, Member, read_group
from trials.layout_file import read_layout
from trials.lock import read_lock
from trials.problems import Problems
from trials.together import read_together
from trials.trial import Treatment
from trials.trial_file import read_trial

COMMENTED = (
    PLAN.replace("[aim]", "# why: the neighbour said so\n[aim]").replace(
        "flushes = 3", 'place = "my cellar"\ngrower = "Ana"\nflushes = 3'
    )
    + '[room]\ntemperature = "18 °C"\n'
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "trial.toml").write_text(COMMENTED, encoding="utf-8")
    return tmp_path


def fingerprints(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def invite(folder: Path, growers: str, *more: str) -> int:
    return main(["invite", str(folder), "--growers", growers, *more])


def test_each_grower_gets_an_own_draw_of_the_same_trial(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invite(folder, "3", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert [Path(one).name for one in told["made"]] == ["grower-a", "grower-b", "grower-c"]
    plan, layouts = read_trial(folder), []
    for letter in "abc":
        place = folder / f"grower-{letter}"
        trial = read_trial(place)
        layout = read_layout(place, trial)
        lock = read_lock(place)
        assert lock is not None
        assert lock.fits_layout(layout)
        assert lock.fits_design(trial)
        assert layout.slots == draw(trial).slots
        assert trial.grower == f"Grower {letter.upper()}"
        assert trial.place == ""
        assert trial.room == replace(plan.room, temperature_c=None)
        same = replace(plan.design, seed=trial.design.seed)
        meant = replace(plan, design=same, grower=trial.grower, place="", room=trial.room)
        assert trial == meant
        names = {one.name for one in place.iterdir()}
        assert names == {"trial.toml", "layout.csv", "plan.lock", "records.xlsx", "print",
                         HOW_TO_FILE}  # fmt: skip
        assert "# why: the neighbour said so" in (place / "trial.toml").read_text(encoding="utf-8")
        for sheet in (place / "print").iterdir():  # so that nobody uses a neighbour's
            assert f"Grower {letter.upper()}" in sheet.read_text(encoding="utf-8")
        layouts.append(layout)
    assert len({layout.seed for layout in layouts}) == 3
    assert len({layout.slots for layout in layouts}) == 3
    group = read_group(folder)
    assert group is not None
    assert not any(one.show_name for one in group.members)


def test_a_second_run_adds_only_who_is_missing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invite(folder, "2") == 0
    group_file = folder / GROUP_FILE
    mine = group_file.read_text(encoding="utf-8").replace('name = ""', 'name = "Ann"', 1)
    mine = mine.replace("show_name = false", "show_name = true", 1) + "# a note of mine"
    group_file.write_text(mine, encoding="utf-8")
    (folder / "grower-a" / "records.xlsx").write_bytes(b"filled in")
    before = fingerprints(folder)
    assert invite(folder, "2") == 0
    assert "nothing was changed" in capsys.readouterr().out
    assert fingerprints(folder) == before
    assert invite(folder, "4") == 0
    after = fingerprints(folder)
    del before[GROUP_FILE]
    assert before.items() <= after.items()
    assert group_file.read_text(encoding="utf-8").startswith(mine)
    assert {name.split("/")[0] for name in after} == {
        "trial.toml", GROUP_FILE, *(f"grower-{letter}" for letter in "abcd")
    }  # fmt: skip
    assert "2 were there and stayed as before" in capsys.readouterr().out


def test_names_stand_in_no_folder_and_on_no_page(folder: Path) -> None:
    assert invite(folder, "Ana Quincewood,<b>Bo</b>,../../Cyfeiliog") == 0
    assert sorted(one.name for one in folder.iterdir() if one.is_dir()) == [
        "grower-a", "grower-b", "grower-c",
    ]  # fmt: skip
    for path in folder.glob("grower-*/**/*"):
        if path.is_file() and path.suffix != ".xlsx":
            assert not re.search("Quincewood|<b>Bo|Cyfeiliog", path.read_text(encoding="utf-8")), (
                path
            )
    group = read_group(folder)
    assert group is not None
    assert [one.name for one in group.members] == ["Ana Quincewood", "<b>Bo</b>", "../../Cyfeiliog"]


def test_a_cut_run_leaves_no_half_folder_and_the_next_makes_it_whole(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn = pinset.inviting.draw_into

    def cut(place: Path, **words: object) -> object:
        if "grower-b" in place.name:
            (place / "layout.csv").write_text("half", encoding="utf-8")
            raise KeyboardInterrupt
        return drawn(place, **words)  # type: ignore[arg-type]

    monkeypatch.setattr(pinset.inviting, "draw_into", cut)
    assert invite(folder, "3") == 130
    assert sorted(one.name for one in folder.iterdir()) == [GROUP_FILE, "grower-a", "trial.toml"]
    before = fingerprints(folder)
    monkeypatch.undo()
    assert invite(folder, "3") == 0
    assert before.items() <= fingerprints(folder).items()
    assert (folder / "grower-c" / HOW_TO_FILE).is_file()


@pytest.mark.parametrize(
    ("spoil", "code", "said"),
    [
        (lambda f: (f / "trial.toml").unlink(), 1, "trial.toml: is not there"),
        (lambda f: (f / "layout.csv").write_text("code\n"), 2, "trial of one grower"),
        (lambda f: (f / "grower-b").mkdir(), 2, "is there already and is not in group.toml"),
        (lambda f: (f / "grower-b").write_text(""), 2, "is there already"),
        (lambda f: (f / GROUP_FILE).write_text("format = 9"), 1, "9 is out of range"),
        (
            lambda f: (f / GROUP_FILE).write_text(
                'format = 1\n[[growers]]\nletter = "A"\nfolder = "../../x"\n'
            ),
            1,
            "leads out of the folder",
        ),
        (
            lambda f: (f / "trial.toml").write_text(
                COMMENTED.replace("seed = 5", 'growers = ["Ana", "Bo"]\nseed = 5'), encoding="utf-8"
            ),
            1,
            "growers of one shared layout",
        ),
    ],
)
def test_what_is_refused_leaves_everything_as_it_was(
    folder: Path, capsys: pytest.CaptureFixture[str], spoil: object, code: int, said: str
) -> None:
    spoil(folder)  # type: ignore[operator]
    before = fingerprints(folder)
    assert invite(folder, "3") == code
    assert said in capsys.readouterr().err
    assert fingerprints(folder) == before


@pytest.mark.parametrize("growers", ["1", "Ana,ana", "x" * 300, "0", ""])
def test_wishes_that_are_refused(folder: Path, growers: str) -> None:
    before = fingerprints(folder)
    assert invite(folder, growers) == 2
    assert fingerprints(folder) == before


def test_more_growers_are_not_invited_to_another_plan(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert invite(folder, "2") == 0
    plan = folder / "trial.toml"
    plan.write_text(COMMENTED.replace("flushes = 3", "flushes = 2"), encoding="utf-8")
    before = fingerprints(folder)
    assert invite(folder, "3") == 1
    said = capsys.readouterr().err
    assert "grower-a/trial.toml" in said
    assert "grower-b/trial.toml" in said
    assert fingerprints(folder) == before


def test_a_plan_written_in_one_line_tables(tmp_path: Path) -> None:
    text = """format = 1
trial = { title = "Short", flushes = 1 }
treatments = [{ code = "A", name = "a", control = true }, { code = "B", name = "b" }]
design = { layout = "completely random", units_per_treatment = 3, seed = 1 }
aim = { outcome = "yield" }
"""
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    assert invite(tmp_path, "2") == 0
    assert read_trial(tmp_path / "grower-b").grower == "Grower B"
    assert read_trial(tmp_path / "grower-b").design.seed == 1002


def test_the_how_to_says_what_to_do_and_escapes_what_was_typed() -> None:
    hostile = "<script>alert(1)</script>"
    trial = replace(
        the_plan(), title=hostile, question=hostile, unit="<i>bag</i>",
        treatments=(*the_plan().treatments, Treatment(code="X", name=hostile * 9)),
    )  # fmt: skip
    member = Member(letter="C", folder="grower-c", name=hostile, show_name=True)
    page = how_to_sheet(trial, draw(trial), member, growers=7)
    assert "<script" not in page
    assert "<i>bag" not in page
    assert "&lt;script&gt;" in page
    words = ("7 growers run this same trial", "Never replace it", "3 flushes", "scald",
             "carbon monoxide", "spores", "Hydrated lime", "ask a qualified person")  # fmt: skip
    for word in words:
        assert word in page, word
    quiet = how_to_sheet(trial, draw(trial), replace(member, show_name=False), growers=7)
    assert "calls you Grower C" in quiet


def test_many_treatments_stay_on_the_page() -> None:
    trial = the_plan()
    more = tuple(Treatment(code=f"X{n}", name=f"mix {n}") for n in range(20))
    page = how_to_sheet(
        replace(trial, treatments=(*trial.treatments, *more)), draw(trial),
        Member(letter="A", folder="grower-a"), growers=2,
    )  # fmt: skip
    assert "and 17 more" in page
    assert "mix 19" not in page


def test_what_was_invited_can_be_read_together(folder: Path) -> None:
    assert invite(folder, "Ana,Bo,Cy") == 0
    with pytest.raises(Problems, match="no records of any grower"):
        read_together([folder])
    for letter, first in (("a", 97), ("b", 150)):
        place = folder / f"grower-{letter}"
        trial = read_trial(place)
        write_bags(
            place, read_layout(place, trial), ["code", "fate", "flush 1", "flush 2", "flush 3"],
            lambda number, slot, first=first: [slot.code, "finished", first + number, "4 oz", 0],
        )  # fmt: skip
    together = read_together([folder])
    assert [one.shown for one in together.growers] == ["Grower A", "Grower B"]
    assert [(one.shown, one.why) for one in together.left_out] == [
        ("Grower C", "nothing was written down yet")
    ]
    assert together.differences == ()
    assert together.title == "Hulls in the straw"
    # 4 oz are 113.398 g (NIST Handbook 44, appendix C)
    assert together.growers[0].records.bags["total_g"].iloc[0] == pytest.approx(97 + 113.398)
