"""Group files spoiled in ways that once went wrong, or that no chance would hit."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from pinset.cli import main
from tests.spoiled.folders import check_group, copy_of, fingerprints, invite, told
from tests.spoiled.plans import STRANGE
from trials.group.group_file import read_group

GROWER = '[[growers]]\nletter = "Z"\nfolder = "{}"\n'


@pytest.fixture
def group(tmp_path: Path) -> Path:
    return copy_of("group", tmp_path)


def said(folder: Path) -> str:
    """Give what pooling finds wrong, once inviting has been tried too."""
    told(folder, invite)
    return "\n".join(told(folder, check_group))


@pytest.mark.parametrize("key", ["format", "title", "letter", "folder", "name", "show_name"])
def test_no_value_of_a_key_trips_the_reader(group: Path, key: str) -> None:
    path = group / "group.toml"
    whole = path.read_text(encoding="utf-8")
    refused = 0
    for value in STRANGE:
        line = f"{key} = {value}"
        text = re.sub(rf"^{key} = [^\n#]+", lambda _, line=line: line, whole, count=1, flags=re.M)
        assert text != whole
        path.write_text(text, encoding="utf-8", errors="surrogatepass")
        refused += bool(told(group, read_group))
    assert refused > len(STRANGE) // 2


@pytest.mark.parametrize(
    ("added", "expected"),
    [
        ("a." * 100_000 + "a = 1\n", "too many parts"),
        ("x = " + "[" * 50_000, "too deeply nested"),
        ("x = " + "9" * 5000, "too many digits"),
        ("letter" + " = 1" * 20_000, "cannot be read as TOML"),
        ("".join(f"k{n} = 1\n" for n in range(20_000)), "more words here"),
        (GROWER.format("x") * 9000, "A group is 999 or fewer"),
        ("[[growers]]\n" * 30_000, "A group is 999 or fewer"),
        ("#" * 500_000, "is larger than such a file can be"),
        (GROWER.format("🍄" * 100), "is longer than 100 characters"),
        (GROWER.format("\\u0000"), "folder: is empty"),
        (GROWER.format("a\\u0000b/../.."), "leads out of the folder"),
        (GROWER.format("\\u202e..\\u202e"), "leads out of the folder"),
    ],
    ids=["dots", "nested", "digits", "signs", "keys", "growers", "empty growers", "size",
         "a name too long on a disk", "a null", "a null and climbing", "marks around dots"],
)  # fmt: skip
def test_a_group_file_made_to_last(group: Path, added: str, expected: str) -> None:
    with (group / "group.toml").open("a", encoding="utf-8") as file:
        file.write(added)
    found = said(group)
    assert expected in found
    assert found.count("\n") < 30


@pytest.mark.parametrize("code", ["utf-16", "utf-16-le", "utf-32", "latin-1", "cp037"])
def test_a_group_file_in_other_letters(group: Path, code: str) -> None:
    path = group / "group.toml"
    path.write_bytes((path.read_text(encoding="utf-8") + "# é\n").encode(code, errors="replace"))
    found = said(group)
    assert "group.toml" in found
    assert "cannot be read" in found


@pytest.mark.parametrize("kind", ["folder", "pipe", "loop", "nowhere", "endless"])
def test_what_is_no_group_file(group: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    """It once counted as none: letters would have been given anew, without a word."""
    path = group / "group.toml"
    path.unlink()
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        lead = {"loop": "group.toml", "nowhere": "/nowhere/at/all", "endless": "/dev/zero"}[kind]
        path.symlink_to(lead)
    before = fingerprints(group)
    for command in (["pool", str(group)], ["invite", str(group), "--growers", "8"],
                    ["pool", str(group / "grower-a"), str(group / "grower-b")]):  # fmt: skip
        assert main(command) == 1
        assert "group.toml: is no file" in capsys.readouterr().err
    assert fingerprints(group) == before


def test_a_link_that_leads_nowhere_keeps_its_name(
    group: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (group / "grower-h").symlink_to("/nowhere/at/all")
    before = fingerprints(group)
    assert main(["invite", str(group), "--growers", "8"]) == 2
    assert "“grower-h” is there already" in capsys.readouterr().err
    assert fingerprints(group) == before


def test_a_good_group_is_read_after_all(group: Path) -> None:
    assert said(group) == ""
