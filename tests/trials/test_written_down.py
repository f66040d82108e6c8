"""What a plan may say beside what is planned: why this size, whether alike, who paid."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from tests.trials.groups import PLAN
from trials.designs import draw
from trials.lock import changes, make_lock
from trials.problems import Problems
from trials.starters import QUESTIONS, starter
from trials.trial_file import check_trial
from trials.trial_text import to_toml

TEXT = {
    "why_this_size": "pinset size: 8 in 10 to see 15 %",
    "look_alike": 'no: the "hulls" are paler',
    "paid_by": "ich selbst; die Schalen schenkte die Ölmühle",
}


def given(**words: str) -> str:
    lines = "".join(f"{key} = '{word}'\n" for key, word in words.items())
    return PLAN.replace("[trial]\n", f"[trial]\n{lines}", 1)


def test_they_are_read_and_written_back() -> None:
    trial = check_trial(given(**TEXT))
    assert {key: getattr(trial, key) for key in TEXT} == TEXT
    assert check_trial(to_toml(trial)) == trial
    silent = check_trial(PLAN)
    assert [getattr(silent, key) for key in TEXT] == ["", "", ""]
    assert not any(key in to_toml(silent) for key in TEXT)


@pytest.mark.parametrize("key", TEXT)
def test_what_is_no_text_is_told(key: str) -> None:
    for wrong in ("3", f"'{'x' * 1001}'", "['a']"):
        with pytest.raises(Problems) as raised:
            check_trial(PLAN.replace("[trial]\n", f"[trial]\n{key} = {wrong}\n", 1))
        assert [one.key for one in raised.value.problems] == [f"trial.{key}"]


def test_only_the_reason_for_the_size_is_locked() -> None:
    trial = check_trial(PLAN)
    layout = draw(trial)
    now = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    lock = make_lock(trial, layout, drawn=now, version="0")
    later = replace(trial, look_alike="yes", paid_by="nobody")
    assert changes(lock, later) == ()
    assert make_lock(later, layout, drawn=now, version="0") == lock
    # A reason that is found after the draw is told as such; the layout still is that of the plan.
    reasoned = replace(trial, why_this_size="all that fitted")
    assert changes(lock, reasoned) == (
        ("trial", "The reason for this size was not given, now all that fitted."),
    )
    assert lock.fits_design(reasoned)


def test_a_lock_from_before_there_was_such_a_line_still_fits() -> None:
    trial = check_trial(PLAN)
    lock = make_lock(trial, draw(trial), drawn=dt.datetime(2026, 3, 1, tzinfo=dt.UTC), version="0")
    old = replace(lock, plan={key: one for key, one in lock.plan.items() if key not in TEXT})
    assert changes(old, trial) == ()
    assert old.fits_design(trial)


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_starting_file_offers_them(question: str) -> None:
    text = starter(question, folder="x", seed=1)
    for key, word in TEXT.items():
        line = f'# {key} = ""'
        assert text.count(line) == 1
        text = text.replace(line, f"{key} = '{word}'")
    trial = check_trial(text)
    assert {key: getattr(trial, key) for key in TEXT} == TEXT
