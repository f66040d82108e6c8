"""A question of size gathered from options, a plan, past records and published values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pinset.planning_values import planning_cvs
from trials.measures import grams, weight_unit
from trials.problems import Refused
from trials.sizing.size_question import SizeQuestion, answer_size
from trials.sizing.size_rounds import Rounds, rounds_of, simple_rounds
from trials.sizing.size_rows import SizeRow, Sizing
from trials.trial import Claim, Margin, Trial

__all__ = ["Known", "SizeOptions", "size_up"]

USUAL_LOSSES = (0.02, 0.05, 0.15)
"""Shares lost to plan with where none is known: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeOptions:
    """What the command line says; None where it says nothing. Shares, not per cent.

    Parameters
    ----------
    outcome, claim, worthwhile : str or None
        As in a plan.
    treatments, blocks, units, bags_per_batch : int or None
        The design.
    mean, sd : float or None
        Grams.
    cv, batch_cv, loss, correlation, power, confidence : float or None
        Shares.
    published : tuple of str
        ``name=value``.
    past : pathlib.Path or None
        Folder of an earlier trial.
    unit : str
        What a bag is called.
    """

    outcome: str | None = None
    claim: str | None = None
    worthwhile: str | None = None
    treatments: int | None = None
    blocks: int | None = None
    units: int | None = None
    bags_per_batch: int | None = None
    mean: float | None = None
    sd: float | None = None
    cv: float | None = None
    batch_cv: float = 0.10
    loss: float | None = None
    correlation: float = 0.05
    power: float = 0.8
    confidence: float | None = None
    published: tuple[str, ...] = ()
    past: Path | None = None
    unit: str = "bag"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of the bags.

    Parameters
    ----------
    mean : float or None
        Grams.
    cvs, losses : tuple of (str, float)
        Ways in which they may vary, and shares that may be lost; empty where nothing is known.
    main : int
        The likeliest of them.
    cv_batch : float or None
        Of batches.
    sources : tuple of str
        Sentences.
    """

    mean: float | None = None
    cvs: tuple[tuple[str, float], ...] = ()
    losses: tuple[tuple[str, float], ...] = ()
    main: int = 0
    cv_batch: float | None = None
    sources: tuple[str, ...] = ()


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
    base, rounds = _question(options, trial), _rounds(options, trial)
    known = _known(options)
    base = replace(base, rounds=rounds, worthwhile=_worthwhile(options, trial, known.mean))
    if base.outcome == "contamination":
        rows, main, told = _loss_rows(base, options, known)
    else:
        rows, main, told = _yield_rows(base, options, known)
    return Sizing(
        rows=tuple(SizeRow(name=name, answer=answer_size(one)) for name, one in rows),
        main=main,
        unit=trial.unit if trial else options.unit,
        block=(trial.design.block if trial else "shelf") if rounds.blocks else "",
        mean=known.mean if base.outcome == "yield" else None,
        sources=told,
    )


def _question(options: SizeOptions, trial: Trial | None) -> SizeQuestion:
    outcome = options.outcome or (trial.aim.outcome if trial else "yield")
    if outcome not in ("yield", "contamination"):
        raise Refused(
            f"There is no formula here for the size of a trial about {outcome}. For flush drop, "
            "rehearse the plan instead: pinset rehearse with its folder."
        )
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
        correlation=_share(options.correlation, "correlation"),
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
        if not options.mean > 0:
            raise Refused("The mean is a weight above 0 g.")
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
            (f"steadier, {100 * found.cv_low:.0f} %", found.cv_low),
            (f"as there, {100 * found.cv:.0f} %", found.cv),
            (f"less steady, {100 * found.cv_high:.0f} %", found.cv_high),
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
    cvs = ((f"as published, {100 * read.cv:.0f} %", read.cv),)
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
        raise Refused("A difference in weight needs the mean of the control: add --mean, in g.")
    return grams(found.value, unit) / mean


def _share(value: float, name: str) -> float:
    if not 0 <= value < 1:
        raise Refused(f"The {name} lies from 0 to below 100 per cent.")
    return value


def _yield_rows(
    base: SizeQuestion, options: SizeOptions, known: Known
) -> tuple[list[tuple[str, SizeQuestion]], int, tuple[str, ...]]:
    lost = options.loss
    if lost is None:
        lost = known.losses[known.main][1] if known.losses else 0.0
    cv_batch = known.cv_batch if known.cv_batch is not None else options.batch_cv
    base = replace(base, lost=_share(lost, "loss"), cv_batch=_share(cv_batch, "batch variation"))
    cvs, main, sources = known.cvs, known.main, known.sources
    if not cvs:
        cvs = tuple((f"{name}, {100 * cv:.0f} %", cv) for name, cv in planning_cvs())
        main = 1
        sources = (
            *sources,
            "How your own vary is not known yet, so a range is shown that published tables span "
            "(between_bag_cv.csv names them). Say --cv, --past or --published to narrow it.",
        )
    if lost:
        sources = (*sources, f"It counts on {100 * lost:.1f} in 100 being lost and giving nothing.")
    return [(name, replace(base, cv=cv)) for name, cv in cvs], main, sources


def _loss_rows(
    base: SizeQuestion, options: SizeOptions, known: Known
) -> tuple[list[tuple[str, SizeQuestion]], int, tuple[str, ...]]:
    losses, main, sources = known.losses, known.main, known.sources
    if options.loss is not None:
        lost = _share(options.loss, "loss")
        losses, main = ((f"{100 * lost:g} in 100 are lost", lost),), 0
    if not losses:
        losses = tuple((f"{100 * lost:g} in 100 are lost", lost) for lost in USUAL_LOSSES)
        main = 1
        sources = (
            *sources,
            "How many you lose is not known yet, so a range is shown from common practice, which "
            "no source stands behind. Say --loss or --past to narrow it.",
        )
    if base.rounds.bags_per_unit > 1:
        sources = (*sources, f"Bags of a batch are taken to share their luck ({base.correlation:g} "
                             "intracluster correlation).")  # fmt: skip
    return [(name, replace(base, lost=lost)) for name, lost in losses], main, sources
