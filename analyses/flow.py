"""Where the units went, from made to fruited; every unit is in exactly one place."""

from __future__ import annotations

from dataclasses import dataclass

from trials.records import Records

__all__ = ["FlowStep", "flow"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowStep:
    """Where the units of one treatment went; `made` is the sum of all the others.

    Parameters
    ----------
    treatment : str
        Its code.
    made : int
        Units drawn.
    contaminated, lost_otherwise, still_going, not_recorded : int
        Units by fate.
    gave_nothing, fruited : int
        Units not lost whose total is 0, and more than 0.
    incomplete : int
        Finished units of which a flush was not written down, so that the total is unknown.
    """

    treatment: str
    made: int
    contaminated: int
    lost_otherwise: int
    still_going: int
    not_recorded: int
    gave_nothing: int
    fruited: int
    incomplete: int


def flow(records: Records) -> tuple[FlowStep, ...]:
    """Count the units of each treatment by where they ended.

    Parameters
    ----------
    records : Records

    Returns
    -------
    tuple of FlowStep
        In the order of the plan; `made` is the sum of the other counts.
    """
    steps = []
    for one in records.trial.treatments:
        bags = records.bags[records.bags["treatment"] == one.code]
        fate = bags["fate"]
        finished = bags[fate == "finished"]
        steps.append(
            FlowStep(
                treatment=one.code,
                made=len(bags),
                contaminated=int((fate == "contaminated").sum()),
                lost_otherwise=int((fate == "lost otherwise").sum()),
                still_going=int((fate == "still going").sum()),
                not_recorded=int((fate == "not recorded").sum()),
                gave_nothing=int((finished["total_g"] == 0).sum()),
                fruited=int((finished["total_g"] > 0).sum()),
                incomplete=int(finished["total_g"].isna().sum()),
            )
        )
    return tuple(steps)
