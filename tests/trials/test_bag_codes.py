"""Bag codes: the check character catches slips of the pen and leads back to the code."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from trials.bag_codes import ALPHABET, bag_codes, is_sound, likely_codes, tidy_code


def test_the_check_character_is_the_standard_one() -> None:
    """ISO/IEC 7064 MOD 37,36 as in the Global Release Identifier standard of IFPI (version 2.1):
    A12425GABC1234002 has the check character M."""
    assert mod_37_36.calc_check_digit("A12425GABC1234002") == "M"


@pytest.mark.parametrize(("count", "length"), [(1, 3), (108, 3), (109, 4), (827, 4), (5000, 5)])
def test_codes_are_short(count: int, length: int) -> None:
    codes = bag_codes(count)
    assert len(set(codes)) == count
    assert {len(code) for code in codes} == {length}


def test_no_two_codes_are_one_wrong_character_apart() -> None:
    codes = bag_codes(827)
    for place in range(4):
        rest = [code[:place] + code[place + 1 :] for code in codes]
        assert len(set(rest)) == len(rest)


@given(
    code=st.sampled_from(bag_codes(800)), place=st.integers(0, 3), char=st.sampled_from(ALPHABET)
)
def test_every_wrong_character_is_caught(code: str, place: int, char: str) -> None:
    wrong = code[:place] + char + code[place + 1 :]
    assert (wrong == code) == is_sound(wrong)


def test_nearly_every_swap_of_neighbours_is_caught() -> None:
    swaps = [
        code[:place] + code[place + 1] + code[place] + code[place + 2 :]
        for code in bag_codes(827)
        for place in range(3)
        if code[place] != code[place + 1]
    ]
    caught = sum(not is_sound(one) for one in swaps)
    assert caught / len(swaps) > 0.97


@given(code=st.sampled_from(bag_codes(100)))
def test_the_likely_code_is_found(code: str) -> None:
    codes = bag_codes(100)
    for written in (code[1:], code[::-1][1:][::-1], code[0] + "7" + code[1:], code.lower()):
        assert code in likely_codes(written, codes)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("a2u", "A2U"),
        (" A-2 u", "A2U"),
        ("AZU", "A2U"),
        ("CSX", "C5X"),
        ("A8K", "A8K"),
        ("ABK", "A8K"),
    ],
)
def test_look_alikes_are_read_as_meant(written: str, meant: str) -> None:
    assert tidy_code(written) == meant


@given(st.text(max_size=40))
def test_nothing_written_breaks_the_search(written: str) -> None:
    assert all(code in bag_codes(50) for code in likely_codes(written, bag_codes(50)))
    assert is_sound(written) in (True, False)


def test_the_ring_of_codes_turns() -> None:
    assert set(bag_codes(108)) == set(bag_codes(108, start=31))
    assert bag_codes(108)[31] == bag_codes(108, start=31)[0]
    with pytest.raises(ValueError, match="no codes"):
        bag_codes(10_000_000)
