"""A question of size gathered from options, a plan, past records and published values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from pinset.size_cases import loss_rows, share, split_rows, yield_rows
from pinset.size_options import Known, SizeOptions
from trials.measures import WeightUnit, grams, weight_unit
from trials.problems import Refused
from trials.sizing.size_question import SizeQuestion, answer_size
from trials.sizing.size_rounds import Rounds, rounds_of, simple_rounds
from trials.sizing.size_rows import SizeRow, Sizing
from trials.trial import Claim, Margin, Trial

__all__ = ["size_up"]


def size_up(options: SizeOptions, trial: Trial | None = None) -> Sizing:
    """Answer how large a trial must be.

    Parameters
    ----------
    options : SizeOptions
        What it says goes before the plan.
    trial : Trial, optional
        The plan, where there is one.

    Returns
    -------
    Sizing

    Raises
    ------
    Refused
        Something is missing or impossible.
    """
    base, known, varies = _question(options, trial), _known(options), ""
    base = replace(base, worthwhile=_worthwhile(options, trial, known.mean))
    split = _is_split(options, trial) and base.outcome == "yield"
    if not split:
        base = replace(base, rounds=_rounds(options, trial))
    if split and trial is not None:
        rows, main, told = split_rows(base, options, known, trial)
        varies = "what is compared"
    elif base.outcome == "contamination":
        rows, main, told = loss_rows(base, options, known)
    else:
        rows, main, told = yield_rows(base, options, known, trial)
    rounds = rows[main][1].rounds
    return Sizing(
        rows=tuple(SizeRow(name=name, answer=answer_size(one)) for name, one in rows),
        main=main,
        unit=trial.unit if trial else options.unit,
        block=(trial.design.block if trial else "shelf") if rounds.blocks else "",
        mean=known.mean if base.outcome == "yield" else None,
        sources=told,
        varies=varies,
        weights=trial.weights if trial else _asked_in(options),
    )


def _asked_in(options: SizeOptions) -> WeightUnit:
    """Give the unit of weight that the question is asked in, where there is no plan."""
    from trials.trial_file import margin

    asked = margin(options.worthwhile, "yield") if options.worthwhile else None
    return (weight_unit(asked.unit) if asked else None) or "g"


def _is_split(options: SizeOptions, trial: Trial | None) -> bool:
    """Whether the plan is a split plot, at one grower, and asked about as it stands."""
    given = (options.treatments, options.blocks, options.units, options.bags_per_batch)
    return (
        trial is not None
        and trial.design.layout == "split plot"
        and len(trial.design.growers) < 2
        and all(one is None for one in given)
    )


def _question(options: SizeOptions, trial: Trial | None) -> SizeQuestion:
    outcome = options.outcome or (trial.aim.outcome if trial else "yield")
    claim: Claim = trial.aim.claim if trial else "better"
    if options.claim is not None:
        claim = options.claim  # type: ignore[assignment]
    confidence = options.confidence or (trial.aim.confidence if trial else 0.95)
    if not (0.5 <= options.power <= 0.999 and 0.5 <= confidence <= 0.999):
        raise Refused("Power and confidence lie between 50 and 99.9 per cent.")
    return SizeQuestion(
        outcome=outcome,
        claim=claim,
        treatments=_treatments(options, trial),
        rounds=simple_rounds(2, 2),
        correlation=share(options.correlation, "correlation"),
        power=options.power,
        confidence=confidence,
    )


def _treatments(options: SizeOptions, trial: Trial | None) -> int:
    count = options.treatments or (len(trial.treatments) if trial else 2)
    if not 2 <= count <= 50:
        raise Refused("A trial compares 2 to 50 treatments, the control among them.")
    return count


def _rounds(options: SizeOptions, trial: Trial | None) -> Rounds:
    given = (options.treatments, options.blocks, options.units, options.bags_per_batch)
    if trial is not None and all(one is None for one in given):
        from trials.designs import draw

        return rounds_of(trial, draw(trial))
    design = trial.design if trial else None
    if design is not None and design.layout not in ("complete blocks", "completely random"):
        raise Refused(f"The design of the layout “{design.layout}” is changed in the plan itself.")
    blocks, units, bags = 0, 8, 0
    if design is not None:
        blocks = design.blocks if design.layout == "complete blocks" else 0
        units = design.units_per_treatment
        bags = design.bags_per_batch if design.applied_to == "batch" else 0
    elif options.blocks:
        units = 1
    blocks = blocks if options.blocks is None else options.blocks
    units = units if options.units is None else options.units
    bags = bags if options.bags_per_batch is None else options.bags_per_batch
    if units < 1 or blocks < 0 or bags < 0 or max(units, blocks, bags) > 10_000:
        raise Refused("Blocks, units and bags of a batch are whole numbers up to 10000.")
    return simple_rounds(_treatments(options, trial), units, blocks=blocks, bags_per_batch=bags)


def _known(options: SizeOptions) -> Known:
    """Take what is said before what past records say, and those before a published table."""
    known = Known()
    if options.published:
        known = _from_published(options.published)
    if options.past is not None:
        known = _from_past(options.past)
    if options.mean is not None:
        known = replace(known, mean=options.mean)
    if options.cv is None and options.sd is None:
        return known
    if options.cv is not None:
        cv = options.cv
    elif known.mean is None or options.sd is None:
        raise Refused("A standard deviation tells something only beside a mean: add --mean.")
    else:
        cv = options.sd / known.mean
    if not 0 < cv < 5:
        raise Refused("The coefficient of variation lies above 0 and below 500 %.")
    return replace(known, cvs=((f"they vary by {100 * cv:.0f} %", cv),), main=0)


def _from_past(folder: Path) -> Known:
    from analyses.rehearsing.past_spread import past_spread
    from trials.records import read

    found = past_spread(read(folder))
    return Known(
        mean=found.mean,
        cvs=(
            (f"they vary by {100 * found.cv_low:.0f} % (steadier)", found.cv_low),
            (f"they vary by {100 * found.cv:.0f} % (as there)", found.cv),
            (f"they vary by {100 * found.cv_high:.0f} % (less steady)", found.cv_high),
        ),
        losses=(
            (f"fewer, {100 * found.lost_low:.1f} in 100", found.lost_low),
            (f"as there, {100 * found.lost:.1f} in 100", found.lost),
            (f"more, {100 * found.lost_high:.1f} in 100", found.lost_high),
        ),
        main=1,
        cv_batch=found.cv_batch or None,
        sources=(
            f"From the records in {folder}: {found.bags} that fruited gave {found.mean:.0f} g each "
            f"and varied by {100 * found.cv:.0f} % when treated and placed alike (between "
            f"{100 * found.cv_low:.0f} % and {100 * found.cv_high:.0f} % fits, 8 times in 10); "
            f"{100 * found.lost:.1f} in 100 were lost.",
        ),
    )


def _from_published(words: Sequence[str]) -> Known:
    from trials.sizing.published_table import find_replicates, read_table

    given = {}
    for word in words:
        name, equals, value = word.partition("=")
        try:
            given[name] = float(value.rstrip("% ").replace(",", "."))
        except ValueError:
            equals = ""
        if not equals or name not in ("mean", "cv", "sd", "se", "lsd", "replicates", "treatments"):
            raise Refused(
                f"“{word}” is none of mean=, cv=, sd=, se=, lsd=, replicates=, treatments=. Write "
                "for example: --published mean=23.75 cv=19.1 lsd=9.08 treatments=4"
            )
    if "mean" not in given:
        raise Refused("A published table is read back from its mean: add mean=.")
    cv = given["cv"] / 100 if "cv" in given else None
    count = {name: int(given[name]) if name in given else None
             for name in ("replicates", "treatments")}  # fmt: skip
    read = read_table(
        mean=given["mean"], cv=cv, sd=given.get("sd"), se=given.get("se"), lsd=given.get("lsd"),
        replicates=count["replicates"], treatments=count["treatments"],
    )  # fmt: skip
    told = [f"The published table says by {read.how} that its units varied by {100 * read.cv:.0f} "
            "%. Your own may vary otherwise."]  # fmt: skip
    if cv is not None and "lsd" in given and count["treatments"]:
        fits = find_replicates(
            mean=given["mean"], cv=cv, lsd=given["lsd"], treatments=count["treatments"]
        )
        if fits:
            kind, replicates, df = fits[0]
            told.append(
                f"Its LSD fits {replicates} replicates with {kind}, {df:.0f} degrees of freedom."
            )
        else:
            told.append("Its LSD and its coefficient of variation fit no number of replicates.")
    cvs = ((f"they vary by {100 * read.cv:.0f} % (as published)", read.cv),)
    # Its mean need not be grams of a bag like yours: only the relative spread is taken over.
    return Known(cvs=cvs, sources=tuple(told))


def _worthwhile(options: SizeOptions, trial: Trial | None, mean: float | None) -> float | None:
    """Give the worthwhile difference as a share: of the mean for yield, of the bags for losses."""
    outcome = options.outcome or (trial.aim.outcome if trial else "yield")
    found: Margin | None = None
    if trial is not None and trial.aim.outcome == outcome:
        found = trial.aim.worthwhile
    if options.worthwhile is not None:
        from trials.trial_file import margin

        found = margin(options.worthwhile, "contamination" if outcome != "yield" else "yield")
        if found is None:
            raise Refused(f"“{options.worthwhile}” is no difference: write “15 %” or “40 g”.")
    if found is None:
        return None
    unit = weight_unit(found.unit)
    if unit is None:
        return found.value / 100
    if mean is None:
        like = "14oz" if unit in ("oz", "lb") else "400g"
        raise Refused(
            f"A difference in weight needs the mean of the control: add it, such as --mean {like}."
        )
    return grams(found.value, unit) / mean
