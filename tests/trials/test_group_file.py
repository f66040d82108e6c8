"""The group file, spoiled in many ways: each told with its place; names shown by consent only."""

from __future__ import annotations

from pathlib import Path

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from tests.trials.groups import make_grower
from trials.group.group_file import GROUP_FILE, Group, Member, check_group, letter, read_group
from trials.group.invitation import (
    add_members,
    first_group_text,
    grown_group_text,
    seed_for,
    wanted_growers,
)
from trials.problems import Problems, Refused
from trials.together import read_together

GOOD = """\
format = 1
title = "A group"
[[growers]]
letter = "A"
folder = "ana"
name = "Ana"
show_name = true
[[growers]]
letter = "B"
folder = "bo"
name = "Bo"
show_name = false
"""


def problems_in(text: str) -> list[str]:
    with pytest.raises(Problems) as raised:
        check_group(text)
    return [str(one) for one in raised.value.problems]


def test_a_name_is_shown_only_where_it_was_agreed() -> None:
    group = check_group(GOOD)
    assert [one.shown for one in group.members] == ["Ana", "Grower B"]
    assert group.member("bo") == Member(letter="B", folder="bo", name="Bo")
    assert group.member("cy") is None
    # Without the line, nobody agreed.
    silent = check_group(GOOD.replace("show_name = true", "").replace("show_name = false", ""))
    assert [one.shown for one in silent.members] == ["Grower A", "Grower B"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format = 1", "", "format: is missing"),
        ("format = 1", "format = 2", "2 is out of range"),
        ("format = 1", "format = ", "cannot be read as TOML"),
        ("[[growers]]", "[growers]", "cannot be read as TOML"),
        ('letter = "A"', "", "growers[1].letter: is missing"),
        ('letter = "A"', 'letter = "7"', "“7” is no letter"),
        ('letter = "A"', 'letter = "Ä"', "“Ä” is no letter"),
        ('letter = "A"', 'letter = "b"', "“B” stands twice"),
        ('folder = "ana"', 'folder = "BO"', "“bo” stands twice"),
        ('folder = "ana"', "folder = 3", "should be text but is the number 3"),
        ('folder = "ana"', 'folder = "../ana"', "“../ana” leads out of the folder of the group"),
        ('folder = "ana"', 'folder = "/etc"', "leads out"),
        ('folder = "ana"', 'folder = "a/../../b"', "leads out"),
        ('folder = "ana"', "folder = 'C:\\ana'", "leads out"),
        ('folder = "ana"', 'folder = ".."', "leads out"),
        ('folder = "ana"', 'folder = "."', "leads out"),
        ('folder = "ana"', 'folder = ".hidden"', "is no name of a folder here"),
        ('folder = "ana"', f'folder = "{"x" * 300}"', "is longer than 100 characters"),
        ('name = "Ana"', f'name = "{"x" * 300}"', "is 300 characters long"),
        ('name = "Ana"', 'name = ""', "the name is to be shown and there is none"),
        ('name = "Ana"', 'name = "grower b"', "stands twice"),
        ("show_name = true", 'show_name = "yes"', "should be true or false"),
        ("show_name = true", "show_nam = true", "Did you mean “show_name”?"),
        ('title = "A group"', "titel = 3", "Did you mean “title”?"),
        ('title = "A group"', f'title = "{"x" * 300}"', "is 300 characters long"),
    ],
)
def test_a_spoiled_group_file(old: str, new: str, said: str) -> None:
    assert old in GOOD
    found = problems_in(GOOD.replace(old, new, 1))
    assert any(said in one for one in found), found
    assert all(one.startswith(GROUP_FILE) for one in found)


def test_all_mistakes_of_a_group_file_at_once() -> None:
    text = GOOD.replace('"ana"', '"../ana"').replace('"bo"', '"/bo"').replace("format = 1", "")
    assert len(problems_in(text)) == 3


def test_a_list_that_is_no_list_of_tables() -> None:
    assert "should be a list of tables" in problems_in('format = 1\ngrowers = ["Ana"]')[0]


def test_group_files_that_are_no_text(tmp_path: Path) -> None:
    path = tmp_path / GROUP_FILE
    assert read_group(tmp_path) is None
    path.write_bytes(GOOD.encode("utf-8-sig"))
    assert isinstance(read_group(tmp_path), Group)
    path.write_bytes(GOOD.replace("Bo", "Bö").encode("latin-1"))
    with pytest.raises(Problems, match="letter that cannot be read"):
        read_group(tmp_path)
    path.write_bytes(b"#" * 1_000_000)
    with pytest.raises(Problems, match="larger than"):
        read_group(tmp_path)
    path.write_text("[" * 5000, encoding="utf-8")
    with pytest.raises(Problems, match="TOML"):
        read_group(tmp_path)


def test_shown_names_and_left_out_come_from_the_group_file(tmp_path: Path) -> None:
    for number, name in enumerate(("bo", "ana", "zoe"), start=1):
        make_grower(tmp_path, name, number)
    third = '[[growers]]\nletter = "C"\nfolder = "cy"\n'
    (tmp_path / GROUP_FILE).write_text(GOOD + third, encoding="utf-8")
    together = read_together([tmp_path])
    assert together.title == "A group"
    # The order of the file, then who is not in it, with a letter that is free.
    assert [(one.key, one.shown) for one in together.growers] == [
        ("ana", "Ana"), ("bo", "Grower B"), ("zoe", "Grower D"),
    ]  # fmt: skip
    assert [(one.key, one.shown, one.why) for one in together.left_out] == [
        ("cy", "Grower C", "there is no folder")
    ]
    alone = read_together([tmp_path / "bo", tmp_path / "ana"])
    assert [one.shown for one in alone.growers] == ["Grower B", "Ana"]


def test_a_spoiled_group_file_is_told_beside_the_growers_problems(tmp_path: Path) -> None:
    for number, name in enumerate(("ana", "bo"), start=1):
        make_grower(tmp_path, name, number)
    (tmp_path / "bo" / "layout.csv").unlink()
    (tmp_path / GROUP_FILE).write_text(GOOD.replace('"ana"', '"../../ana"'), encoding="utf-8")
    for folders in ([tmp_path], [tmp_path / "ana", tmp_path / "bo"]):
        with pytest.raises(Problems) as raised:
            read_together(folders)
        files = [one.file for one in raised.value.problems]
        assert files == [GROUP_FILE, "bo/layout.csv"]


def test_letters_go_on_after_z() -> None:
    letters = [letter(number) for number in range(1, 1000)]
    assert len(set(letters)) == 999
    assert (letters[25], letters[26], letters[701], letters[702]) == ("Z", "AA", "ZZ", "AAA")
    assert len({seed_for(41, one) for one in letters}) == 999
    assert all(0 <= seed_for(2**63 - 1, one) < 2**63 for one in letters)


@pytest.mark.parametrize(
    "given",
    ["1", "0", "-3", "1000", "9" * 4000, "", ",", "Ana,,Bo", "Ana,ana", "x" * 300, "A,a"],
)
def test_wishes_that_are_refused(given: str) -> None:
    with pytest.raises(Refused):
        wanted_growers(given)


def test_added_growers_take_free_letters_and_change_nobody() -> None:
    first = add_members((), wanted_growers("3"))
    assert [one.folder for one in first] == ["grower-a", "grower-b", "grower-c"]
    assert add_members(first, wanted_growers("3")) == ()
    more = add_members(first, wanted_growers("E, Ana, ../Bo"))
    assert [(one.letter, one.folder, one.name) for one in more] == [
        ("E", "grower-e", ""), ("D", "grower-d", "Ana"), ("F", "grower-f", "../Bo"),
    ]  # fmt: skip
    assert [one.folder for one in add_members((*first, *more), wanted_growers("7"))] == ["grower-g"]
    assert add_members(more, wanted_growers("ANA,Zoe"))[0].name == "Zoe"


def test_hostile_names_stay_in_their_line() -> None:
    names = ['"]\nshow_name = true', "a\\u0000b", "'''", '<b>"x"</b>', "\u202egnol"]
    added = add_members((), [("", name) for name in names])
    group = check_group(grown_group_text(first_group_text('T" = 1\n[x]'), added))
    assert group.title == 'T" = 1 [x]'
    assert [one.name for one in group.members] == [
        '"] show_name = true', "a\\u0000b", "'''", '<b>"x"</b>', "gnol",
    ]  # fmt: skip
    assert not any(one.show_name for one in group.members)


def test_what_stands_in_a_group_file_stays() -> None:
    text = "# mine\n" + GOOD.rstrip("\n")
    grown = grown_group_text(text, [Member(letter="C", folder="grower-c")])
    assert grown.startswith(text)
    assert [one.letter for one in check_group(grown).members] == ["A", "B", "C"]


def test_a_group_file_that_cannot_be_added_to() -> None:
    text = 'format = 1\ngrowers = [{ letter = "A", folder = "ana" }]\n'
    with pytest.raises(Refused, match="table of its own"):
        grown_group_text(text, [Member(letter="C", folder="grower-c")])


VALUES = st.one_of(
    st.text(max_size=30), st.integers(-(10**6), 10**6), st.booleans(), st.floats(allow_nan=False),
    st.lists(st.text(max_size=5), max_size=3),
    st.dictionaries(st.text(min_size=1, max_size=5), st.text(max_size=5), max_size=2),
)  # fmt: skip
KEYS = st.sampled_from(["letter", "folder", "name", "show_name", "nam", "Folder"])


@given(st.lists(st.dictionaries(KEYS, VALUES, max_size=5), max_size=3), VALUES)
def test_whatever_stands_in_a_group_file_it_is_read_or_told(growers, title) -> None:
    text = tomlkit.dumps({"format": 1, "title": title, "growers": growers})
    try:
        group = check_group(text)
    except Problems as error:
        told = error.problems
    else:
        told = ()
    assert all(one.file == GROUP_FILE and one.what for one in told)
    for one in () if told else group.members:
        assert "/" not in one.folder
        assert not one.folder.startswith(".")
        assert one.shown == one.name or one.shown == f"Grower {one.letter}"


@given(st.text(max_size=80))
def test_whatever_is_wished_is_understood_or_refused(given_text) -> None:
    try:
        wanted = wanted_growers(given_text)
    except Refused:
        return
    added = add_members((), wanted)
    group = check_group(grown_group_text(first_group_text(given_text), added))
    assert [one.name for one in group.members] == [name for _, name in wanted]
