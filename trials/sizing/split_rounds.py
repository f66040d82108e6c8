"""Sizes of a split plot: some comparisons rest on batches, some on bags, some on both."""

from __future__ import annotations

from dataclasses import dataclass

from trials.sizes import Precision
from trials.sizing.size_rounds import Rounds
from trials.trial import Trial

__all__ = ["SplitRounds", "split_rounds"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitRounds(Rounds):
    """Blocks of a split plot as rounds; degrees of freedom of mixed comparisons are found anew.

    Parameters
    ----------
    levels : int
        Levels of the factor that batches are given.
    held : int
        Bags of a batch.
    combined : int
        Treatments in a batch.
    between : float
        Variance between batches over that of bags.
    """

    levels: int
    held: int
    combined: int
    between: float

    def precision(self, rounds: float) -> Precision:
        """Give the precision of two treatments in different batches, for a number of blocks.

        Notes
        -----
        Cochran & Cox (1957), Experimental Designs, section 7.15: with error mean squares E_a and
        E_b the difference has the variance 2 ((b - 1) E_b + E_a) / (r b), here with as many bags
        as planned in place of one; degrees of freedom by Satterthwaite (1946), Biometrics 2, 110.
        """
        units = self.held / self.combined
        by_batch, by_bag = self.held * self.between + 1, 1.0
        whole = (rounds - 1) * (self.levels - 1)
        within = rounds * self.levels * (self.held - 1) - self.levels * (self.combined - 1)
        if whole <= 0 or within <= 0:
            return Precision(factor=self.factor / rounds, df=0.0)
        rest = (self.combined - 1) * by_bag
        df = (by_batch + rest) ** 2 / (by_batch**2 / whole + rest**2 / within)
        return Precision(factor=2 * (by_batch + rest) / (rounds * self.combined * units), df=df)


def split_rounds(trial: Trial, between: float) -> tuple[tuple[str, int, Rounds], ...]:
    """Give the comparisons of a split plot, each with its own rounds.

    Parameters
    ----------
    trial : Trial
        Of which one round is one block.
    between : float
        Variance between batches over that of bags alike.

    Returns
    -------
    tuple of (str, int, Rounds)
        What is compared, how many there are of it, and what another block adds: single treatments
        in different batches (the hardest), single treatments in one batch, levels of the batch
        factor, combinations of the other factors. The standard deviation is that of bags.

    Notes
    -----
    Cochran & Cox (1957), Experimental Designs, sections 7.12 to 7.15.
    """
    design, count = trial.design, len(trial.treatments)
    factor = design.batch_factor
    others = " and ".join(name for name in trial.factors if name != factor)
    levels = len(trial.levels(factor))
    combined = count // levels
    held = combined * design.units_per_treatment
    blocks, bags = len(design.block_names), levels * held
    units = design.units_per_treatment

    def round_of(each: int, factor: float, gained: int, spent: int) -> Rounds:
        return Rounds(planned=blocks, bags=bags, each=each, factor=factor, gained=gained,
                      spent=spent, blocks=1)  # fmt: skip

    within = levels * (held - 1), levels * (combined - 1)
    apart = SplitRounds(
        planned=blocks, bags=bags, blocks=1, each=units, factor=2 * (between + combined / held),
        gained=levels - 1, spent=levels - 1, levels=levels, held=held, combined=combined,
        between=between,
    )  # fmt: skip
    by_batch = round_of(held, 2 * (between + 1 / held), levels - 1, levels - 1)
    return (
        (f"they differ in {factor} and {others}", count, apart),
        (f"they differ in {others} alone", count, round_of(units, 2 / units, *within)),
        (f"{factor} is compared, over all {others}", levels, by_batch),
        (f"{others} is compared, over all {factor}", combined,
         round_of(units * levels, 2 / (units * levels), *within)),
    )  # fmt: skip
