"""What a grower might write that a page, a picture or a file could take for something else."""

from __future__ import annotations

import dataclasses
from functools import cache

from reports.report import write_report
from tests.reports.invented import renamed, two_mixes
from trials.trial import Design

__all__ = ["NASTY", "WORDS", "written", "written_report"]

WORDS = {
    "markup": "<script>alert(1)</script> <img src=x onerror=alert(1)> & \"<b>bran</b>\" 'n'",
    "template": "{{ 7 * 7 }} {% include 'x' %} ${jndi}",
    "money": "$5 bran_{2} $x^2$",
    "formula": '=HYPERLINK("http://example.org","bran")',
    "minus": "-2+3 | @SUM(A1) | +1",
    "turned around": "נסורת \u202egnp.exe עץ",
    "right to left": "נסורת עם קש نشارة الخشب",
    "wide": "麦麸 培养料 " * 8,
    "emoji": "🍄\u200d🟫 bran 🧑🏽\u200d🌾 🌾🌾",
    "marks": "b̸̡̢͜ran " + "e\u0301" * 40,
    "long": "bran-and-okara" * 22,
    "unbroken": "b" * 300,
    "long words": "spent coffee grounds with oat bran " * 9,
    "control": "bran\x00\x1b[31m red\x07\r\n# heading \u202e\n\tmore",
    "markdown": "# [x](javascript:alert(1)) `code` **bold** ~~no~~ <!-- -->",
}

NASTY = {
    name: WORDS[name]
    for name in (
        "markup", "money", "control", "right to left", "emoji", "long words", "unbroken",
    )
}  # fmt: skip
"""One of each kind, where all would take too long."""


def written(words):
    """A trial whose grower wrote the same odd words everywhere."""
    design = Design(layout="complete blocks", block=words[:30], blocks=8, units_per_treatment=2,
                    seed=41)  # fmt: skip
    told = two_mixes(
        title=words, question=words, species=words, strain=words, place=words, grower=words,
        unit=words[:30], design=design,
    )  # fmt: skip
    bags = told.records.bags.assign(seen=words, note=words)
    told = dataclasses.replace(told, records=dataclasses.replace(told.records, bags=bags))
    return renamed(told, O=words)


@cache
def written_report(words):
    """The report of that trial, drawn once for all tests that look at it."""
    return write_report(written(words))
