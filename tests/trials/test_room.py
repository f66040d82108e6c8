"""What the room was like: read with its units, every mistake told, nothing lost on the way back."""

from __future__ import annotations

import pytest

from tests.trials.groups import PLAN
from trials.problems import Problems
from trials.room import Room, temperature_c
from trials.trial_file import check_trial
from trials.trial_text import to_toml


@pytest.mark.parametrize(
    ("written", "celsius"),
    [
        ("18 °C", 18.0), ("18C", 18.0), ("17,5 c", 17.5), ("64.4 °F", 18.0), ("212 F", None),
        ("32 degrees Fahrenheit", 0.0), ("-4 F", -20.0), ("−3 °C", -3.0), ("18", None),
        (18, None), ("18 K", None), ("warm", None), ("99 °C", None), ("", None),
    ],
)  # fmt: skip
def test_temperatures(written: object, celsius: float | None) -> None:
    # F = 32 + 1.8 C: NIST SP 811 (2008), appendix B.8
    assert temperature_c(written) == celsius


def test_a_room_is_read_and_written_back() -> None:
    text = '[room]\ntemperature = "61 F"\nhumidity = 85\nheat_treatment = "hot water"\n'
    trial = check_trial(f'{PLAN}\n{text}heat_hours = 1.5\nnote = "a cellar"\n')
    assert trial.room == Room(
        temperature_c=16.11, humidity=85.0, heat_treatment="hot water", heat_hours=1.5,
        note="a cellar",
    )  # fmt: skip
    assert check_trial(to_toml(trial)) == trial


def test_every_mistake_in_a_room_is_told() -> None:
    text = "[room]\ntemperature = 18\nhumidity = 140\nheat_treatment = 4\nheat_hour = 2\n"
    with pytest.raises(Problems) as raised:
        check_trial(f"{PLAN}\n{text}")
    told = [str(one) for one in raised.value.problems]
    assert len(told) == 4
    assert any("room.temperature" in one and "“18 °C” or" in one for one in told) or any(
        'temperature = "18 °C"' in one for one in told
    )
    assert any("Did you mean “heat_hours”?" in one for one in told)


def test_a_room_that_is_no_table() -> None:
    with pytest.raises(Problems, match="should be a table"):
        check_trial(PLAN.replace("[trial]", 'room = "cellar"\n[trial]'))
