"""A trial whose every text that a grower can type holds something that a program might obey."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np

PAYLOADS = (
    "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "<svg onload=alert(1)>",
    "{{7*7}} {% if x %} ${7*7} <%= 7*7 %> #{7*7}", "=cmd|'/C calc'!A0", '=HYPERLINK("http://x","y")',
    "+1+cmd|' /C calc'!A0", "-2+3", "@SUM(1+1)", "\t=1+1", "\r=1+1", "](javascript:alert(1))",
    "![x](http://127.0.0.1/x.png)", "[a](http://127.0.0.1)", "]]><x>", "--><x>", "</style><x>",
    "</title></svg><x>", "&#x3c;script&#x3e; &lt;b&gt; &#x202e;", "\u202egnp.exe\u202c",
    "\x1b[31mred\x1b]0;title\x07", "\u009b31m\u2066x", "`rm -rf ~`", "# top",
    "| a | b |\n|---|---|",
    "$\\frac{1}{2}$ \\input{/etc/passwd}", "%n%s%x %(x)s {0.__class__}", "../../etc/passwd",
    "x' OR 1=1 --", "\u200f\u05e9\u05dc\u05d5\u05dd <b>", "javascript:alert(1)", "<?php x ?>",
)  # fmt: skip
SHORT = ("=1+1", "<b>", "{{7*7}}", "@x", "](j:x)", "`x`", "&lt;b", "+A", "-A", "'x", '"x', "|a|")
"""For what may be twelve letters long at most."""

TAME = "plain words"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


class Words:
    """Gives each field a payload in turn, beginning at another one for each `turn`."""

    def __init__(self, turn: int | None) -> None:
        self.turn, self.given = turn, 0

    def next(self, longest: int = 300, mark: str = "") -> str:
        self.given += 1
        if self.turn is None:
            return f"{TAME} {self.given}"[:longest] if longest > 12 else f"P{self.given}"
        among = PAYLOADS if longest > 12 else SHORT
        text = among[(self.turn + self.given) % len(among)]
        return f"{text} {mark}".strip(" ")[:longest] if longest > 12 else text

    def field(self, longest: int = 300, mark: str = "") -> str:
        return _quoted(self.next(longest, mark))


def nasty_plan(turn: int | None) -> str:
    """Give a plan; None gives the same one in tame words."""
    word = Words(turn)
    recipe = word.field(60)
    return f"""\
format = 1
[trial]
title = {word.field()}
question = {word.field(900)}
species = {word.field()}
strain = {word.field()}
place = {word.field()}
grower = {word.field()}
why_this_size = {word.field(900)}
look_alike = {word.field(900)}
paid_by = {word.field(900)}
unit = {word.field(30)}
flushes = 2
start = 2026-03-02
[[treatments]]
code = {word.field(12)}
name = {word.field(mark="one")}
control = true
recipe = {recipe}
note = {word.field(900)}
[[treatments]]
code = {word.field(12)}
name = {word.field(mark="two")}
note = {word.field(900)}
[design]
layout = "complete blocks"
block = {word.field(30)}
blocks = 4
units_per_treatment = 2
seed = 5
growers = [{word.field(60, "a")}, {word.field(60, "b")}]
[aim]
outcome = "yield"
worthwhile = "15 %"
[costs]
price_per_kg = 11
currency = {word.field(12)}
[recipes.{recipe}]
moisture_target = 0.6
ingredients = [
  {{ name = {word.field()}, amount = 700, unit = {word.field(30)}, grams_per_measure = 2 }},
  {{ name = {word.field()}, amount = 80, unit = "g", supplement = true }},
]
spawn = {{ name = {word.field()}, amount = 110, unit = "g" }}
"""


def fill_in(folder: Path, turn: int | None) -> None:
    """Write records with payloads in every free text."""
    word, rng = Words(turn), np.random.default_rng(9)
    with (folder / "layout.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    heads = ["code", "treatment", "block", "fate", "seen", "note", "flush 1", "flush 2"]
    out = []
    for number, row in enumerate(rows):
        lost = number % 9 == 4
        weights = ["", ""] if lost else [f"{w:.0f}" for w in rng.normal([300, 150], 30)]
        out.append([row["code"], row["treatment"], row["block"],
                    "contaminated" if lost else "finished", word.next() if lost else "",
                    word.next(), *weights])  # fmt: skip
    with (folder / "bags.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([[*heads, word.next(40)], *([*row, word.next()] for row in out)])
