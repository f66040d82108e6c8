"""Starting files for `pinset new`: one for each kind of question, every line explained."""

from __future__ import annotations

from typing import Literal, TypeAlias

from trials.typed import typed

__all__ = ["QUESTIONS", "Question", "starter"]

Question: TypeAlias = Literal["yield", "contamination", "flush"]
QUESTIONS: tuple[Question, ...] = ("yield", "contamination", "flush")

_TRIAL = """\
# The plan of a trial. Change what stands right of each “=”. What stands after “#” explains; take
# the “#” at the beginning of a line away to use that line.
# When it says what you want, run:  pinset layout {folder}
# Do not change design and treatments after the draw.

format = 1                # leave this as it is

[trial]
title = "{title}"
question = "{question}"
species = "oyster"        # what you grow
strain = ""               # name or number of the culture, if you know it
place = ""                # which room or tent; a trial speaks for the place it was in
unit = "bag"              # what one unit is called: bag, bucket, tray, log, block ...
# start = 2026-03-02      # the day of spawning, year-month-day, without quotes
flushes = {flushes}               # how many flushes you will pick and weigh
blind = {blind}              # true: labels hide the treatment, so that nobody weighs with hope
weights = "g"             # g, kg, oz or lb: what your scale shows and the page speaks
# grower = ""             # who mixed, spawned, placed and weighed
# looks = 2               # you look for white bags and pins every so many days
# flush_gap_days = 5      # so many days without picking part two flushes, if you list pickings
# why_this_size = ""      # before the draw: what pinset size said, or how much room there was
# look_alike = ""         # can one tell the treatments apart by eye? Asked where labels hide them
# paid_by = ""            # who paid, and who gave what is compared

# One table for each thing compared. Exactly one is the control: what you do now.
[[treatments]]
code = "A"                # short; it stands for the treatment in the files
name = {named:<18} # as the page shall say it: “more than with ...”
control = true

[[treatments]]
code = "B"
name = "{challenger}"

[design]
{design}
seed = {seed:<18} # any whole number; the same number draws the same layout again
# Other layouts, and the lines that they need instead of those above:
#   "latin square"       row = "shelf", column = "day": as many rows and columns as treatments
#   "rows and columns"   row, rows = 6, column, units_per_treatment = 1 (in each row)
#   "incomplete blocks"  block, blocks, places = 3 (or [4, 4, 3]): shelves that cannot hold them all
#   "split plot"         block, blocks, units_per_treatment, batch_factor = "heat": what whole
#                        batches get; every treatment then has factors, such as
#                        factors = {{ heat = "short", mix = "bran" }}, one for each combination
# Lines that may be added:
#   places = 8               places on each shelf, to be warned when they are too few
#   extra_control_units = 1  more of the control than of the others (in each block)
#   batch_holds = 12         bags that you can mix and heat at once
#   growers = ["Ana", "Bo"]  complete blocks or split plot: each grower has blocks of their own

[aim]                     # what the trial is to show, decided before the first bag
#   outcome may be yield, contamination, flush drop, days to colonise or days to pins
{aim}
confidence = 0.95         # how sure the ranges are: 0.95 is 19 times in 20

# Optional: what it costs, for the answer in money.
# [costs]
# price_per_kg = 12.0        # what a kilogram of mushrooms brings (a pound's price times 2.2)
# cost_per_bag = 2.5         # what one bag costs you, filled and spawned
# shelf_days_to_first = 30   # days that a bag keeps its place until the first flush is picked
# shelf_days_per_flush = 10  # days more for each later flush
# currency = "EUR"

# Optional: a recipe, for the mixing sheet. Write recipe = "mine" into the treatment that uses it.
# [recipes.mine]
# moisture_target = 0.62   # share of water in the finished mix; the water to add is worked out
# ingredients = [          # for one bag, by weight, or by your own measure with its weight
#   {{ name = "beech sawdust", amount = 700, unit = "g", moisture = 0.10 }},
#   {{ name = "wheat bran", amount = 2, unit = "cup", grams_per_measure = 48, moisture = 0.12,
#     supplement = true, nitrogen = 2.5, price_per_kg = 0.6 }},   # nitrogen: % of dry matter
# ]
# spawn = {{ name = "grain spawn", amount = 110, unit = "g" }}
"""

_BLOCKS = """\
layout = "complete blocks" # every treatment on every shelf; or "completely random"
block = "shelf"            # what is kept alike: shelf, day, room
blocks = 8                 # how many of them
units_per_treatment = 2    # bags of each treatment on each shelf
applied_to = "bag"         # each bag could have got the other treatment"""

_BATCHES = """\
# A heat treatment is given to a whole batch: the batch is what counts, not the bag.
# Many small batches tell more than few large ones.
layout = "completely random"
units_per_treatment = 6    # batches of each treatment
applied_to = "batch"
bags_per_batch = 10        # bags in each batch"""

_AIMS: dict[Question, str] = {
    "yield": """\
outcome = "yield"         # weight of mushrooms per bag, all flushes together
claim = "better"          # better; or no worse, or same, within what stands in the next line
worthwhile = "15 %"       # the smallest gain you would change for; or a weight: "40 g", "2 oz"
""",
    "contamination": """\
outcome = "contamination" # bags lost to mould or sourness
claim = "no worse"        # no worse, within what stands in the next line; or better, or same
worthwhile = "5 in 100"   # how many more bags lost in a hundred you could live with
""",
    "flush": """\
outcome = "flush drop"    # the share of a flush that the next one keeps
claim = "better"          # better; or no worse, or same, within what stands in the next line
worthwhile = "10 in 100"  # so many hundredths of a flush more would be worth having
""",
}

_WORDS: dict[Question, dict[str, str]] = {
    "yield": {
        "title": "Which mix yields more",
        "question": "Does mix B give more mushrooms per bag than mix A?",
        "control": "mix A",
        "challenger": "mix B",
        "flushes": "3",
        "blind": "true",
        "design": _BLOCKS,
    },
    "contamination": {
        "title": "Is a shorter heat treatment safe enough",
        "question": "Does the shorter heat treatment lose more bags?",
        "control": "the full time",
        "challenger": "the shorter time",
        "flushes": "1",
        "blind": "true",
        "design": _BATCHES,
    },
    "flush": {
        "title": "How fast the flushes fall",
        "question": "Does mix B keep more of its yield from flush to flush?",
        "control": "mix A",
        "challenger": "mix B",
        "flushes": "4",
        "blind": "true",
        "design": _BLOCKS,
    },
}


def starter(question: Question, *, folder: str, seed: int) -> str:
    """Give a commented starting file.

    Parameters
    ----------
    question : {"yield", "contamination", "flush"}
        What the trial asks.
    folder : str
        The trial folder, for the command in the comment.
    seed : int
        Seed of the draw.

    Returns
    -------
    str
        Text of a trial file that `check_trial` accepts.

    Examples
    --------
    >>> from trials.trial_file import check_trial
    >>> check_trial(starter("yield", folder="okara-or-bran", seed=7)).design.layout
    'complete blocks'
    """
    shown = typed(" ".join(folder.split()))
    aim = _AIMS[question].rstrip("\n")
    named = f'"{_WORDS[question]["control"]}"'
    return _TRIAL.format(folder=shown, seed=seed, aim=aim, named=named, **_WORDS[question])
