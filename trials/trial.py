"""What a trial is: the plan as frozen values. Reading and writing it is `trial_file`'s work."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal, TypeAlias

from trials.measures import WeightUnit, grams, weight_unit
from trials.room import UNKNOWN_ROOM, Room

__all__ = [
    "CLAIMS",
    "LAYOUTS",
    "LEVELS",
    "OUTCOMES",
    "Aim",
    "Claim",
    "Costs",
    "Design",
    "Ingredient",
    "LayoutKind",
    "Level",
    "Margin",
    "MarginUnit",
    "Outcome",
    "Recipe",
    "Treatment",
    "Trial",
]

LayoutKind: TypeAlias = Literal[
    "completely random",
    "complete blocks",
    "latin square",
    "rows and columns",
    "split plot",
    "incomplete blocks",
]
LAYOUTS: tuple[LayoutKind, ...] = (
    "completely random",
    "complete blocks",
    "latin square",
    "rows and columns",
    "split plot",
    "incomplete blocks",
)

Outcome: TypeAlias = Literal[
    "yield", "contamination", "flush drop", "days to colonise", "days to pins"
]
OUTCOMES: tuple[Outcome, ...] = (
    "yield",
    "contamination",
    "flush drop",
    "days to colonise",
    "days to pins",
)

Claim: TypeAlias = Literal["better", "no worse", "same"]
CLAIMS: tuple[Claim, ...] = ("better", "no worse", "same")

Level: TypeAlias = Literal["bag", "batch"]
LEVELS: tuple[Level, ...] = ("bag", "batch")

MarginUnit: TypeAlias = Literal["%", "g", "kg", "oz", "lb", "in 100", "days"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """One of the things that are compared.

    Parameters
    ----------
    code : str
        Short code, unique in the trial.
    name : str
        What the grower calls it.
    control : bool
        Whether the others are compared with this one; exactly one treatment is.
    recipe : str or None
        Name of a table under ``[recipes]``.
    note : str
        Free text.
    factors : tuple of (str, str)
        Factor and level, where the treatments are combinations of several things.
    """

    code: str
    name: str
    control: bool = False
    recipe: str | None = None
    note: str = ""
    factors: tuple[tuple[str, str], ...] = ()

    def level(self, factor: str) -> str:
        """Give the level of a factor; KeyError where the treatment has no such factor."""
        return dict(self.factors)[factor]


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """How the units are laid out.

    Parameters
    ----------
    layout : str
        One of `LAYOUTS`.
    block : str
        What a block is (shelf, day, room); empty where there are none. In a Latin square and in
        rows and columns, what a row is.
    blocks : int
        How many (at each grower, where there are several); 1 where there are none.
    units_per_treatment : int
        Units of each treatment: in each block or row where there are such, in each batch of its
        kind in a split plot, in the whole trial where there are none or they are incomplete.
        Where the treatment is applied to batches, the batches of each treatment.
    applied_to : {"bag", "batch"}
        The level at which the treatment is applied.
    bags_per_batch : int
        Bags in each batch where the treatment is applied to batches; otherwise 1.
    seed : int
        Seed of the draw, 0 or more.
    column : str
        What a column is, in a Latin square and in rows and columns.
    batch_factor : str
        In a split plot, the factor that is given to whole batches.
    places : tuple of int
        Places in each block, one number a block; empty where nothing limits them.
    extra_control_units : int
        Units that the control has beyond the others, counted as `units_per_treatment` is.
    batch_holds : int or None
        Most bags that can be mixed and heat-treated at once.
    growers : tuple of str
        Where several growers take part, each with blocks of their own.
    """

    layout: LayoutKind
    block: str = ""
    blocks: int = 1
    units_per_treatment: int
    applied_to: Level = "bag"
    bags_per_batch: int = 1
    seed: int
    column: str = ""
    batch_factor: str = ""
    places: tuple[int, ...] = ()
    extra_control_units: int = 0
    batch_holds: int | None = None
    growers: tuple[str, ...] = ()

    @property
    def block_names(self) -> tuple[str, ...]:
        """The names of the blocks, such as ``shelf 3``; none where there are none."""
        if not self.block:
            return ()
        names = [f"{self.block} {number}" for number in range(1, self.blocks + 1)]
        if not self.growers:
            return tuple(names)
        return tuple(f"{grower}, {name}" for grower in self.growers for name in names)

    def grower_of(self, block: str) -> str:
        """Give the grower whose block it is; empty where there is none."""
        mine = [one for one in self.growers if block.startswith(f"{one}, ")]
        return max(mine, key=len, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """A smallest difference worth having, or a margin, as the grower wrote it.

    Parameters
    ----------
    value : float
        More than 0.
    unit : str
        ``%`` of the control, a weight, ``in 100`` bags, or ``days``.
    """

    value: float
    unit: MarginUnit

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """What the trial is to show, fixed before the first bag.

    Parameters
    ----------
    outcome : str
        One of `OUTCOMES`.
    claim : {"better", "no worse", "same"}
        What is claimed of each treatment against the control.
    worthwhile : Margin or None
        The smallest difference worth having; the margin for "no worse" and "same".
        None only with "better".
    confidence : float
        Confidence of the intervals, between 0.5 and 0.999.
    """

    outcome: Outcome
    claim: Claim = "better"
    worthwhile: Margin | None = None
    confidence: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """Money and shelf time, all optional.

    Parameters
    ----------
    price_per_kg, cost_per_bag : float or None
        In `currency`.
    shelf_days_to_first, shelf_days_per_flush : float or None
        Days.
    currency : str
        As it is to be printed.
    """

    price_per_kg: float | None = None
    cost_per_bag: float | None = None
    shelf_days_to_first: float | None = None
    shelf_days_per_flush: float | None = None
    currency: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ingredient:
    """One line of a recipe.

    Parameters
    ----------
    name : str
        What it is.
    amount : float
        More than 0, in `unit`.
    unit : str
        A weight, or the grower's own measure (litre, cup, scoop).
    grams_per_measure : float or None
        Weight of one measure in grams; None when `unit` is a weight.
    moisture : float or None
        Share of water in the ingredient as used, 0 to 1.
    nitrogen : float or None
        Per cent of its dry matter, where the grower knows it.
    price_per_kg : float or None
        As used, in the currency of the costs.
    supplement : bool
        Whether it is there to feed, as bran and hulls are.
    """

    name: str
    amount: float
    unit: str
    grams_per_measure: float | None = None
    moisture: float | None = None
    nitrogen: float | None = None
    price_per_kg: float | None = None
    supplement: bool = False

    @property
    def grams(self) -> float:
        """What it weighs as used."""
        if self.grams_per_measure is not None:
            return self.amount * self.grams_per_measure
        unit = weight_unit(self.unit)
        if unit is None:
            raise ValueError(f"the weight of one {self.unit} is not given")
        return grams(self.amount, unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What goes into one unit.

    Parameters
    ----------
    name : str
        Its name in the plan.
    ingredients : tuple of Ingredient
        The dry side of the mix, for one unit.
    water, spawn : Ingredient or None
        Water added and spawn, for one unit.
    moisture_target : float or None
        Share of water in the finished substrate, 0 to 1.
    """

    name: str
    ingredients: tuple[Ingredient, ...]
    water: Ingredient | None = None
    spawn: Ingredient | None = None
    moisture_target: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A planned trial; `trial_file.check_trial` is what makes one.

    Parameters
    ----------
    title, question, species, strain, place, grower : str
        In the grower's words; empty when not given.
    unit : str
        What one unit is called: bag, bucket, tray, log, block.
    start : datetime.date or None
        The planned day of the first spawning.
    flushes : int
        How many flushes will be picked.
    blind : bool
        Whether labels hide the treatment.
    weights : {"g", "kg", "oz", "lb"}
        The unit that the pages speak in, and that bare numbers in the records are in.
    flush_gap_days : int
        A picking so many days or more after the one before it begins a new flush,
        where the records give no flush number.
    looks : int or tuple of datetime.date or None
        How often every unit was looked at: so many days apart, or on which days; None where it
        is not said.
    invented : bool
        Whether the trial is made up (a demo); every page then says so.
    treatments : tuple of Treatment
        Two or more, exactly one of them the control.
    room : Room
        What the room was like; written down at any time and no part of what is locked.
    why_this_size : str
        Why so many units, no more and no fewer; decided before the draw, so it is locked.
    look_alike, paid_by : str
        Whether treatments can be told apart by eye; who paid, and who gave what is compared.
        Written down at any time, as the room is.
    """

    title: str
    question: str = ""
    species: str = ""
    strain: str = ""
    place: str = ""
    grower: str = ""
    unit: str = "bag"
    start: dt.date | None = None
    flushes: int
    blind: bool = False
    weights: WeightUnit = "g"
    flush_gap_days: int = 5
    looks: int | tuple[dt.date, ...] | None = None
    invented: bool = False
    treatments: tuple[Treatment, ...]
    design: Design
    aim: Aim
    costs: Costs = Costs()
    recipes: tuple[Recipe, ...] = ()
    room: Room = UNKNOWN_ROOM
    why_this_size: str = ""
    look_alike: str = ""
    paid_by: str = ""

    @property
    def control(self) -> Treatment:
        """The treatment that the others are compared with."""
        return next(one for one in self.treatments if one.control)

    @property
    def challengers(self) -> tuple[Treatment, ...]:
        """The treatments other than the control, in the order of the plan."""
        return tuple(one for one in self.treatments if not one.control)

    @property
    def units(self) -> int:
        """How many bags the plan calls for."""
        design = self.design
        each = len(self.treatments) * design.units_per_treatment + design.extra_control_units
        times = 1 if design.layout == "incomplete blocks" else len(design.block_names) or 1
        return each * design.bags_per_batch * times

    @property
    def factors(self) -> tuple[str, ...]:
        """The names of the factors; none where the treatments are no combinations."""
        return tuple(name for name, _ in self.treatments[0].factors)

    def levels(self, factor: str) -> tuple[str, ...]:
        """Give the levels of a factor in the order of the plan, the control's first."""
        found = [one.level(factor) for one in (self.control, *self.treatments)]
        return tuple(dict.fromkeys(found))

    def treatment(self, code: str) -> Treatment:
        """Give the treatment with a code; KeyError where there is none."""
        for one in self.treatments:
            if one.code == code:
                return one
        raise KeyError(code)
