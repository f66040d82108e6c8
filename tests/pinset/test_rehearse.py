"""The command that rehearses a plan."""

from __future__ import annotations

import json

from pinset.cli import main
from tests.trials.folders import make_folder
from tests.trials.plans import plan


def test_rehearse_tells_and_prints(tmp_path, capsys):
    folder = tmp_path / "trial"
    make_folder(folder, plan(blocks=4, units=2))
    before = sorted(one.name for one in folder.iterdir())
    assert main(["rehearse", str(folder), "--trials", "60", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["trials"] == 60
    assert 0 <= found["power"] <= 1
    assert main(["rehearse", str(folder), "--trials", "60"]) == 0
    told = capsys.readouterr().out
    assert "Rehearsed 60 times" in told
    assert f"The claim is shown: {100 * found['power']:.1f} times in 100" in told
    assert sorted(one.name for one in folder.iterdir()) == before
    assert main(["rehearse", str(folder), "--trials", "1"]) == 2
