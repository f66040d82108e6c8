"""Several growers read together: own layouts, units and losses; every problem by grower."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.trials.groups import PLAN, make_grower, the_plan
from trials.group.differences import ALLOWABLE
from trials.measures import GRAMS_IN
from trials.problems import Problems
from trials.together import read_together


def problems_of(folders: list[Path], allow: tuple[str, ...] = ()) -> list[str]:
    with pytest.raises(Problems) as raised:
        read_together(folders, allow=allow)
    return [str(one) for one in raised.value.problems]


def changed(old: str, new: str) -> object:
    assert old in PLAN
    return the_plan(lambda text: text.replace(old, new))


@pytest.fixture
def group(tmp_path: Path) -> Path:
    for number, name in enumerate(("ana", "bo", "cy"), start=1):
        make_grower(tmp_path, name, number)
    return tmp_path


def test_a_folder_of_folders_and_the_folders_themselves_read_alike(group: Path) -> None:
    whole = read_together([group])
    single = read_together([group / "ana", str(group / "bo"), group / "cy"])
    assert [one.key for one in whole.growers] == ["ana", "bo", "cy"]
    assert [one.shown for one in whole.growers] == ["Grower A", "Grower B", "Grower C"]
    for one, other in zip(whole.growers, single.growers, strict=True):
        assert (one.key, one.shown, one.treatments) == (other.key, other.shown, other.treatments)
        assert one.records.bags.equals(other.records.bags)
    assert whole.differences == () == whole.left_out
    assert whole.growers[0].treatments == ("P", "H")
    assert whole.growers[0].notes == {"species": "pearl oyster"}


def test_each_grower_keeps_an_own_layout(group: Path) -> None:
    layouts = [one.records.layout for one in read_together([group]).growers]
    assert len({layout.slots for layout in layouts}) == 3
    assert [layout.seed for layout in layouts] == [1, 2, 3]


def test_pounds_and_ounces_become_grams(tmp_path: Path) -> None:
    # 1 lb = 453.59237 g, NIST Handbook 44, appendix C
    for number, unit in enumerate(GRAMS_IN, start=1):
        trial = changed('unit = "bag"', f'unit = "bag"\nweights = "{unit}"')
        make_grower(tmp_path, unit, number, trial=trial, grams=lambda n, s: 300.0 + n)
    together = read_together([tmp_path])
    assert [one.records.trial.weights for one in together.growers] == sorted(GRAMS_IN)
    for one in together.growers:
        expected = [(300 + n) * (1 + 1 / 2 + 1 / 3) for n in range(12)]
        # written with four decimals of the unit: half of one is 0.02 g in pounds, 0.05 in kg
        assert one.records.bags["total_g"].to_list() == pytest.approx(expected, abs=0.2)
    assert together.differences == ()


@pytest.mark.parametrize(
    ("kind", "old", "new", "said"),
    [
        ("question", "Do hulls give more?", "Are hulls cheap?", "“Are hulls cheap?”, and “Do"),
        ("names", '"straw with hulls"', '"straw with bran"', "“H” is “straw with bran”"),
        ("recipe", 'soya hulls", amount = 100', 'soya hulls", amount = 120', "120 g of soya hulls"),
        ("recipe", 'name = "soya hulls"', 'name = "oat hulls"', "there is no soya hulls"),
        ("unit", 'unit = "bag"', 'unit = "bucket"', "the unit is “bucket”, and “bag”"),
        ("flushes", "flushes = 3", "flushes = 4", "4 flushes are planned, and 3"),
        ("margin", '"10 %"', '"40 g"', "worth having is 40 g, and 10 %"),
        ("claim", '"better"', '"no worse"', "the claim is “no worse”, and “better”"),
        ("claim", "worthwhile", "confidence = 0.9\nworthwhile", "the confidence is 0.9, and 0.95"),
        ("treatments", 'code = "H"', 'code = "Z"', "there is no treatment “H” (straw with hulls)"),
        ("batches", "seed = 5", 'applied_to = "batch"\nbags_per_batch = 1\nseed = 5', "one batch"),
    ],
)  # fmt: skip
def test_a_difference_is_refused_in_the_growers_words_or_allowed(
    group: Path, kind: str, old: str, new: str, said: str
) -> None:
    make_grower(group, "odd", 9, trial=changed(old, new))
    refused = problems_of([group])
    assert any(said in one and one.startswith("odd/trial.toml") for one in refused), refused
    assert all(f"--allow {kind}" in one for one in refused)
    together = read_together([group], allow=[kind])
    assert {(one.grower, one.kind, one.standing) for one in together.differences} >= {
        ("odd", kind, "allowed")
    }
    assert any(said in one.what for one in together.differences)
    assert len(together.growers) == 4


def test_what_never_passes_whatever_is_allowed(group: Path) -> None:
    make_grower(group, "odd", 9, trial=changed('unit = "bag"', 'unit = "bag"\ninvented = true'))
    shared = changed("seed = 5", 'growers = ["Ana", "Bo"]\nseed = 5')
    make_grower(group, "pair", 10, trial=shared)
    found = problems_of([group], allow=tuple(ALLOWABLE))
    assert len(found) == 2
    assert "this trial is made up, and the group's is real" in found[0]
    assert "several growers share this one layout" in found[1]


def test_a_margin_in_another_unit_of_weight_is_the_same(tmp_path: Path) -> None:
    # 40 g are 1.411 oz (NIST Handbook 44, appendix C)
    for number, worth in enumerate(("40 g", "0.04 kg", "1.41 oz"), start=1):
        make_grower(tmp_path, f"g{number}", number, trial=changed('"10 %"', f'"{worth}"'))
    assert read_together([tmp_path]).differences == ()
    make_grower(tmp_path, "odd", 9, trial=changed('"10 %"', '"1.5 oz"'))
    (found,) = problems_of([tmp_path])
    assert "worth having is 1.5 oz, and 40 g in the group" in found


def test_a_drawn_trial_with_folders_in_it_is_a_trial(tmp_path: Path) -> None:
    folder = make_grower(tmp_path, "ana", 1)
    make_grower(folder, "old try", 2)
    assert [one.key for one in read_together([folder]).growers] == ["ana"]
    assert [one.key for one in read_together([tmp_path]).growers] == ["ana"]


def test_who_has_not_begun_stops_nobody(group: Path) -> None:
    from tests.trials.folders import make_folder

    make_folder(group / "dee", changed("flushes = 3", "flushes = 4"), book=True)
    together = read_together([group])
    assert [one.key for one in together.left_out] == ["dee"]
    assert together.differences == ()


def test_two_groups_together_show_no_two_growers_alike(tmp_path: Path) -> None:
    member = 'format = 1\n[[growers]]\nletter = "A"\nfolder = "{}"\nname = "Ana"\n'
    for number, name in enumerate(("x", "y"), start=1):
        make_grower(tmp_path / name, f"ana-{name}", number)
        text = member.format(f"ana-{name}")
        (tmp_path / name / "group.toml").write_text(text, encoding="utf-8")
    shown = [one.shown for one in read_together([tmp_path / "x", tmp_path / "y"]).growers]
    assert shown == ["Grower A", "Grower B"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('outcome = "yield"', 'outcome = "contamination"', "the outcome is “contamination”"),
        ('control = true\nrecipe = "straw"', 'recipe = "straw"', "compared with “H”"),
    ],
)
def test_another_outcome_or_control_never_passes(
    group: Path, old: str, new: str, said: str
) -> None:
    def change(text: str) -> str:
        text = text.replace(old, new).replace(
            '"10 %"', '"5 in 100"' if "contam" in new else '"10 %"'
        )
        if "control" in old:
            text = text.replace('recipe = "hulls"', 'recipe = "hulls"\ncontrol = true')
        return text

    make_grower(group, "odd", 9, trial=the_plan(change))
    found = problems_of([group], allow=tuple(ALLOWABLE))
    assert len(found) == 1
    assert said in found[0]
    assert "another trial" in found[0]


def test_the_same_recipe_in_other_units_is_the_same(group: Path) -> None:
    # 600 g are 1.3228 lb (NIST Handbook 44, appendix C)
    trial = changed('"straw", amount = 600, unit = "g"', '"Straw ", amount = 1.3228, unit = "lb"')
    make_grower(group, "odd", 9, trial=trial)
    assert read_together([group]).differences == ()


def test_other_species_is_told_and_passes(group: Path) -> None:
    make_grower(group, "odd", 9, trial=changed("pearl oyster", "king oyster"))
    (found,) = read_together([group]).differences
    assert (found.kind, found.standing) == ("species", "noted")
    assert str(found) == (
        "Grower D: the species is “king oyster”, and “pearl oyster” in the plan of the group."
    )


def test_the_plan_most_growers_share_is_the_plan_of_the_group(tmp_path: Path) -> None:
    make_grower(tmp_path, "a-odd", 9, trial=changed("flushes = 3", "flushes = 4"))
    for number in (1, 2):
        make_grower(tmp_path, f"b{number}", number)
    (found,) = problems_of([tmp_path])
    assert found.startswith("a-odd/trial.toml, trial.flushes: 4 flushes are planned")


def test_the_plan_beside_the_folders_is_the_plan_of_the_group(group: Path) -> None:
    text = PLAN.replace("flushes = 3", "flushes = 2")
    (group / "trial.toml").write_text(text, encoding="utf-8")
    assert len(problems_of([group])) == 3
    assert read_together([group / "ana", group / "bo"]).reference.flushes == 3
    members = "".join(
        f'[[growers]]\nletter = "{letter}"\nfolder = "{name}"\n'
        for letter, name in zip("ABC", ("ana", "bo", "cy"), strict=True)
    )
    (group / "group.toml").write_text(f"format = 1\n{members}", encoding="utf-8")
    assert len(problems_of([group / "ana", group / "bo"])) == 2
    together = read_together([group], allow=["flushes"])
    assert together.reference.flushes == 2
    (group / "trial.toml").write_text(text.replace("format = 1", ""), encoding="utf-8")
    (found,) = problems_of([group])
    assert found.startswith("trial.toml, format: is missing")


def test_problems_of_all_growers_are_told_at_once(group: Path) -> None:
    make_grower(group, "dee", 4)
    for name, old, new in (("ana", "finished", "fnished"), ("cy", "flush 2 (g)", "flush two")):
        path = group / name / "bags.csv"
        path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    (group / "bo" / "layout.csv").unlink()
    (group / "dee" / "trial.toml").write_text("format = 1", encoding="utf-8")
    found = problems_of([group])
    assert {one.split("/")[0] for one in found} == {"ana", "bo", "cy", "dee"}
    assert any(one.startswith("ana/bags.csv, row 2, column “fate”") for one in found)
    assert any("Did you mean “finished”?" in one for one in found)
    whole = read_together([group, make_grower(group.parent / "more", "eve", 8)],
                          allow=["unreadable"])  # fmt: skip
    assert [one.key for one in whole.growers] == ["eve"]
    assert [(one.key, one.why) for one in whole.left_out] == [
        (name, "the files hold mistakes") for name in ("ana", "bo", "cy", "dee")
    ]
    assert all(whole.problems[name] for name in ("ana", "bo", "cy", "dee"))


def test_a_broken_record_does_not_hide_a_difference_of_the_plan(group: Path) -> None:
    odd = make_grower(group, "odd", 9, trial=changed("flushes = 3", "flushes = 4"))
    (odd / "bags.csv").write_bytes(b"PK\x03\x04")
    found = problems_of([group])
    assert any("odd/bags.csv" in one for one in found)
    assert any("4 flushes are planned" in one for one in found)


def test_a_grower_without_one_of_the_treatments(tmp_path: Path) -> None:
    third = PLAN.replace(
        "[design]", '[[treatments]]\ncode = "B"\nname = "straw with bran"\n[design]'
    )
    for number in (1, 2):
        make_grower(tmp_path, f"g{number}", number, trial=the_plan(lambda _: third))
    make_grower(tmp_path, "small", 3)
    (found,) = problems_of([tmp_path])
    assert "there is no treatment “B” (straw with bran)" in found
    small = read_together([tmp_path], allow=["treatments"]).growers[2]
    assert small.treatments == ("P", "H")


def test_one_grower_alone_is_read(tmp_path: Path) -> None:
    folder = make_grower(tmp_path, "solo", 1)
    together = read_together([folder])
    assert [one.shown for one in together.growers] == ["Grower A"]
    assert together.reference == together.growers[0].records.trial


def test_the_same_folder_twice_is_caught(group: Path) -> None:
    for folders in ([group, group / "ana"], [group / "ana", group / "bo" / ".." / "ana"]):
        (found,) = problems_of(folders)
        assert found.startswith("ana: is given twice")
    shutil.copytree(group / "ana", group / "ana-copy")
    found = problems_of([group], allow=tuple(ALLOWABLE))
    assert found == [
        "ana-copy: its records are those of ana, bag by bag. Leave one of the two folders out; the "
        "same bags must not count twice."
    ]


def test_two_growers_with_one_draw(group: Path) -> None:
    make_grower(group, "twin", 1, grams=lambda n, s: 150.0 + 7 * n)
    (found,) = problems_of([group])
    assert "layout and seed are those of Grower A (ana)" in found
    (difference,) = read_together([group], allow=["draw"]).differences
    assert (difference.grower, difference.standing) == ("twin", "allowed")
    # A folder may be named after somebody: no page may show it.
    assert str(difference) == "Grower D: layout and seed are those of Grower A."


def test_growers_who_wrote_down_only_that_all_went_well_are_no_copies(tmp_path: Path) -> None:
    trial = the_plan(
        lambda text: text.replace('"yield"', '"contamination"').replace('"10 %"', '"5 in 100"')
    )
    for number in (1, 2):
        make_grower(tmp_path, f"g{number}", number, trial=trial, picked=0)
    assert len(read_together([tmp_path]).growers) == 2


def test_a_grower_who_stopped_after_two_flushes_is_told_and_counts(group: Path) -> None:
    make_grower(group, "stopped", 9, picked=2)
    together = read_together([group])
    (found,) = together.differences
    assert str(found) == "Grower D: picking stopped after flush 2 of 3."
    assert (found.kind, found.standing) == ("picked", "noted")
    bags = together.growers[3].records.bags
    assert bags["total_g"].notna().all()
    assert any("none after flush 2" in one.what for one in together.problems["stopped"])


def test_a_lost_shelf_keeps_its_rows(group: Path) -> None:
    make_grower(group, "shelf", 9, lost_block="shelf 2")
    bags = read_together([group]).growers[3].records.bags
    lost = bags[bags["block"] == "shelf 2"]
    assert len(lost) == 4
    assert (lost["fate"] == "lost otherwise").all()
    assert (bags[bags["block"] != "shelf 2"]["fate"] == "finished").all()


def test_who_wrote_nothing_down_yet_is_left_out_by_name(group: Path) -> None:
    from tests.trials.folders import make_folder

    make_folder(group / "dee", the_plan(), book=True)
    together = read_together([group])
    assert [(one.key, one.why) for one in together.left_out] == [
        ("dee", "nothing was written down yet")
    ]
    assert len(together.growers) == 3


def test_nobody_wrote_anything(tmp_path: Path) -> None:
    from tests.trials.folders import make_folder

    make_folder(tmp_path / "dee", the_plan(), book=True)
    (found,) = problems_of([tmp_path])
    assert "no records of any grower" in found


def test_no_folders_and_no_such_folder(tmp_path: Path) -> None:
    assert "no records" in problems_of([])[0]
    (tmp_path / "empty").mkdir()
    found = problems_of([tmp_path / "nowhere", tmp_path / "empty"])
    assert "is not there" in found[0]
    assert "holds no trial" in found[1]


def test_a_word_that_is_nothing_to_allow(group: Path) -> None:
    (found,) = problems_of([group], allow=("recip",))
    assert "Did you mean “recipe”?" in found
    assert all(f"“{word}”" in found for word in ALLOWABLE)


def test_folders_of_the_same_name_are_told_apart(tmp_path: Path) -> None:
    folders = [make_grower(tmp_path / room, "trial", n) for n, room in enumerate("xy", start=1)]
    assert [one.key for one in read_together(folders).growers] == ["x/trial", "y/trial"]


def test_hostile_folder_names_reach_no_terminal(group: Path) -> None:
    shutil.move(group / "ana", group / "\x1b[31m<b>x")
    keys = [one.key for one in read_together([group]).growers]
    assert "[31m<b>x" in keys
    assert not any("\x1b" in key for key in keys)


def test_recorded_facts_come_with_the_grower(group: Path) -> None:
    path = group / "bo" / "trial.toml"
    text = path.read_text(encoding="utf-8")
    room = '\n[room]\ntemperature = "64.4 °F"\nheat_treatment = "steam"\nheat_hours = 4\n'
    path.write_text(text + room, encoding="utf-8")
    together = read_together([group])
    assert together.growers[1].notes == {
        "species": "pearl oyster",
        "temperature": "18 °C",
        "heat treatment": "steam",
        "heat treatment time": "4 hours",
    }
    # What the room was like is no change of the plan that was locked.
    from trials.lock import changes

    records = together.growers[1].records
    assert records.lock is not None
    assert changes(records.lock, records.trial) == ()


def test_every_word_that_may_pass_is_in_the_readme() -> None:
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    for word, meaning in ALLOWABLE.items():
        assert f"| `{word}` | {meaning} |" in readme
