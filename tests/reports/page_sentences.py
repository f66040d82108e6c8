"""Reads a whole page back, in plain text, and holds what it says against the analysis.

Every verdict, size, percentage, number of units and advice is looked at; every finding has to be
told just once. What they should say is worked out anew from the limits, in `expected_verdicts`.
"""

from __future__ import annotations

import re

from analyses.finding import BETTER_WHEN
from tests.reports.expected_verdicts import expected, right_advice, way
from tests.reports.said import advice, names_in, share, size, verdict
from trials.measures import GRAMS_IN
from trials.plurals import plural

__all__ = ["WIDE", "page_contradictions"]

WIDE = 100_000
"""Columns of a page on which no line is broken."""

NEVER = re.compile(
    r"\bsignifican|\bproved?\b|\bproven\b|\bno effect\b|\btrend|\balways (?!gives|ready)"
    r"|\bas safe as\b|\bp\s*[=<>]|\bp.value|\bnan\b|(?-i:\bNone\b)(?! (?:of|was|were))"
    r"|\binf\b|[{}]|\bdegrees of freedom",
    re.IGNORECASE,
)


def page_contradictions(text, analysis):
    """List what a page says that its analysis does not bear out.

    Parameters
    ----------
    text : str
        The page as plain text, `WIDE` columns.
    analysis : Analysis
        Its treatments have names that stand nowhere else in a sentence.
    """
    top, sections = _sections(text)
    page = _Page(analysis)
    main = "\n".join([top, *(body for name, body in sections if "statistician" not in name)])
    if NEVER.search(main):
        page.wrong.append(f"forbidden: {NEVER.search(main).group()}")
    page.read_top([line for line in top.splitlines() if line])
    for name, body in sections:
        if "statistician" not in name:
            page.read_section([line.removeprefix("- ") for line in body.splitlines() if line])
    page.miss_nothing()
    return page.wrong


def _sections(text):
    parts = re.split(r"^(.+)\n=+\n", text, flags=re.MULTILINE)
    return parts[0], list(zip(parts[1::2], parts[2::2], strict=True))


class _Page:
    def __init__(self, analysis):
        self.analysis, self.trial = analysis, analysis.records.trial
        self.names = {one.name: one.code for one in self.trial.treatments}
        self.control = self.trial.control.name
        planned = [one for one in analysis.findings if one.planned]
        first = analysis.findings[0].estimate if analysis.findings else None
        self.answer = planned or [
            one for one in analysis.findings
            if (one.estimate.outcome, one.estimate.estimand) == (first.outcome, first.estimand)
        ]  # fmt: skip
        self.wrong, self.told = [], []

    def of(self, name):
        """The finding of the answer about a treatment."""
        return next(one for one in self.answer if one.estimate.treatment == self.names[name])

    def told_of(self, who, sentence):
        """Those of the named that a sentence of the answer may be about."""
        others = [name for name in who if name == self.control]
        self.wrong += [f"about {name}: {sentence}" for name in others]
        return [name for name in who if name != self.control]

    def read_top(self, lines):
        lines = lines[1:]
        while not _opens(lines[0], self.names):
            lines = lines[1:]
            if not lines:
                self.wrong.append("no headline")
                return
        self._headline(lines[0])
        steps = [line for line in lines if line.startswith("Next")]
        for line in lines[1:]:
            if line not in steps:
                self.read_section([line.removeprefix("- ")], top=True)
        self._steps(steps)

    def _headline(self, line):
        covered = []
        for sentence in re.split(r"(?<=\.) (?=[A-Z\d])", line):
            said = verdict(sentence, self.names)
            if said.control not in (None, self.control):
                self.wrong.append(f"held against {said.control}: {sentence}")
            who = said.who or tuple(
                one.name for one in self.trial.challengers
                if said.kind in ("explored", "withheld")
            )  # fmt: skip
            covered += who
            if not who:
                self.wrong.append(f"about nobody: {sentence} {said.kind}")
            for name in self.told_of(who, sentence):
                self.wrong += _against(said, self.of(name), sentence, self.trial)
        if sorted(covered) != sorted(one.name for one in self.trial.challengers):
            self.wrong.append(f"headline is about {covered}")

    def _steps(self, lines):
        covered = []
        for line in lines:
            said = advice(line, self.names)
            who = said.who or (tuple(one.name for one in self.trial.challengers))
            covered += who
            if said.name not in (None, *who):
                self.wrong.append(f"advice about {said.name}: {line}")
            for name in self.told_of(who, line):
                finding = self.of(name)
                numbers = {n for whom, n in said.numbers if whom in (None, name)}
                right = right_advice(finding, self.trial, said, numbers)
                if not right:
                    self.wrong.append(f"advice {said.action} {numbers}: {line}")
        if sorted(covered) != sorted(one.name for one in self.trial.challengers):
            self.wrong.append(f"advice is about {covered}")

    def read_section(self, lines, *, top=False):
        for line in lines:
            if line.startswith("[Picture"):
                self._picture(line)
                continue
            if "fits these" in line and (top or not self._about_factors(line)):
                self._size(line, top=top)
            self._basis(line)
            self._hundred(line)
            self._lost(line)

    def _about_factors(self, line):
        """Whether a line tells how one factor goes with another: it has tests of its own."""
        return bool(self.trial.factors) and "Whether that changes with" in line

    def _size(self, line, *, top):
        said = size(line, self.names)
        if said is None:
            self.wrong.append(f"size not understood: {line}")
            return
        name = said.it or (self.trial.challengers[0].name if len(self.answer) == 1 else None)
        if name is None or said.control not in (None, self.control):
            self.wrong.append(f"size about nobody, or against {said.control}: {line}")
            return
        found = [
            one for one in self.analysis.findings
            if one.estimate.treatment == self.names[name] and one.estimate.outcome == said.outcome
            and ("fruited" in one.estimate.estimand) == said.fruited
        ]  # fmt: skip
        if len(found) != 1 or (top and found[0] not in self.answer):
            self.wrong.append(f"size of no finding: {line}")
            return
        finding = found[0]
        self.told.append(finding.id)
        self.wrong += [f"{one}: {line}" for one in _off(said, line, finding, self.trial)]

    def _basis(self, line):
        rests = re.search(r"The comparison rests (on .+?)\.(?: |$)", line)
        for part in re.split(r"[,;]? (?:and )?on (?=\d)", f" {rests[1]}")[1:] if rests else ():
            number, whom = re.match(r"(\d+) \S+(?: for (.+))?", part).groups()
            who = names_in(whom, self.names) if whom else None
            about = [self.of(name) for name in who] if who else self.answer
            if {int(number)} != {one.estimate.units for one in about} - {0}:
                self.wrong.append(f"rests on {number}: {line}")
        made = re.match(r"(?:You .*?\. )?(\d+) .+ drawn by lot, labels", line)
        if made and int(made[1]) != len(self.analysis.records.layout.slots):
            self.wrong.append(f"made {made[1]}: {line}")

    def _hundred(self, line):
        told = re.match(r"A hundred .+? with (.+), set beside a hundred with (.+?): (.*)", line)
        if not told:
            return
        who = names_in(told[1], self.names)
        if not who or self.control in who or told[2] != self.control:
            self.wrong.append(f"not understood: {line}")
            return
        estimate = self.of(who[0]).estimate
        ends = _ends_of(told[3])
        heavier = GRAMS_IN["kg" if self.trial.weights in ("g", "kg") else "lb"]
        per = heavier / 100 if estimate.unit == "g" else 1.0
        true = (estimate.low / per, estimate.high / per)
        slack = max(0.051 * (true[1] - true[0]) / 2, 0.501 if per == 1.0 else 0)
        if ends is None or any(abs(a - b) > slack for a, b in zip(ends, true, strict=True)):
            self.wrong.append(f"a hundred {ends} for {true}: {line}")

    def _lost(self, line):
        told = re.match(r"(\d+|None|All) (?:of )?(\d+) .+? with (.+?) (?:was|were) lost", line)
        if not told or told[3] not in self.names:
            return
        bags = self.analysis.records.bags
        mine = bags[(bags["treatment"] == self.names[told[3]]) & (bags["fate"] != "not recorded")]
        lost = int((mine["fate"] == "contaminated").sum())
        said = (
            {"None": 0, "All": int(told[2])}.get(told[1]) if not told[1].isdigit() else int(told[1])
        )
        if (said, int(told[2])) != (lost, len(mine)):
            self.wrong.append(f"lost {said} of {told[2]} for {lost} of {len(mine)}: {line}")

    def _picture(self, line):
        for name, what in re.findall(
            r"(?:\. |: )([^.:]+): best guess ([^.]*(?:\.\d[^.]*)*) fits\.", line
        ):
            if name not in self.names or name == self.control:
                self.wrong.append(f"picture about {name}")
                continue
            estimate = self.of(name).estimate
            per = GRAMS_IN[self.trial.weights] if estimate.unit == "g" else 1.0
            ends = _ends_of(what.split("; ")[1])
            slack = _slack(estimate, per)
            true = (estimate.low / per, estimate.high / per)
            if ends is None or any(abs(a - b) > slack for a, b in zip(ends, true, strict=True)):
                self.wrong.append(f"picture {ends} for {true}: {line}")

    def miss_nothing(self):
        for finding in self.analysis.findings:
            times = self.told.count(finding.id)
            if times != (finding.verdict != "withheld"):
                self.wrong.append(f"{finding.id} ({finding.verdict}) told {times} times")


def _opens(line, names):
    sentences = re.split(r"(?<=\.) (?=[A-Z\d])", line)
    return not verdict(sentences[0], names).kind.startswith("not understood")


def _ends_of(text):
    amount, way = (
        r"(\d+(?:\.\d+)?|nothing)(?: (?:g|kg|oz|lb|days?|points))?",
        r"(more|less|fewer|longer)",
    )
    told = re.search(rf"from {amount}(?: {way})? to {amount}(?: {way})?", text)
    if told:
        low = 0.0 if told[1] == "nothing" else float(told[1])
        high = 0.0 if told[3] == "nothing" else float(told[3])
        return (
            low * (1 if told[2] in ("more", "longer") else -1),
            high * (-1 if told[4] in ("less", "fewer") else 1),
        )
    told = re.search(rf"{way}(?: lost)? \(between {amount} and {amount}\)", text)
    if told:
        ends = [float(told[2]), float(told[3])]
        way_said = told[1]
    else:
        told = re.search(rf"between {amount} and {amount} {way}", text) or re.search(
            rf"{amount} to {amount} {way}", text
        )
        if not told:
            return None
        ends, way_said = [float(told[1]), float(told[2])], told[3]
    sign = -1 if way_said in ("less", "fewer") else 1
    return tuple(sorted(sign * one for one in ends))


def _slack(estimate, per):
    """How far rounding may go: half of the step that two figures of the half-width leave."""
    coarsest = 0.051
    if estimate.unit == "g":
        coarsest = 0.126 if per == GRAMS_IN["oz"] else 0.0
    elif estimate.unit.endswith("in 100"):
        coarsest = 0.501
    return max(0.051 * (estimate.high - estimate.low) / 2 / per, coarsest)


def _off(said, line, finding, trial):
    estimate = finding.estimate
    per = GRAMS_IN[trial.weights] if estimate.unit == "g" else 1.0
    slack = _slack(estimate, per)
    for name, told, true in (
        ("low", said.low, estimate.low / per), ("high", said.high, estimate.high / per),
        ("best guess", said.about, estimate.value / per),
    ):  # fmt: skip
        if told is None:
            continue
        if told != true and not abs(told - true) <= slack:
            yield f"{name} {told} for {true}"
        elif name != "best guess" and told * true < 0:
            yield f"{name} on the other side of nothing: {told} for {true}"
    if (said.about is None) != (estimate.low <= 0 <= estimate.high):
        yield "a best guess with a range across nothing, or none with one that is not"
    if said.units != plural(trial.unit):
        yield f"units {said.units}"
    if said.odds:
        times, among = re.search(r"(\d+) times in (\d+)", said.odds).groups()
        if abs(int(times) / int(among) - estimate.level) > 0.006:
            yield f"odds {said.odds}"
        alone = (estimate.low, estimate.high) == (estimate.low_alone, estimate.high_alone)
        if ("all such ranges" in said.odds) == alone:
            yield f"family {said.odds}"
    yield from _share_off(share(line), estimate.percent)
    margin = re.search(r"You (?:said|allowed) (.*?)(?: would|\.(?= |$))", line)
    if margin and not _right_margin(margin[1], finding, trial, per):
        yield f"margin {margin[1]} for {finding.worthwhile}"


def _share_off(said, percent):
    if said is None:
        return
    value, limits = said
    half = (percent.high - percent.low) / 2
    slack = max(0.051 * half, 0.51)
    if abs(value - percent.value) > slack:
        yield f"percentage {value} for {percent.value}"
    true = (max(percent.low, -100.0), percent.high)
    if limits and any(abs(a - b) > slack for a, b in zip(limits, true, strict=True)):
        yield f"percentage {limits} for {true}"


def _right_margin(said, finding, trial, per):
    numbers = [float(one) for one in re.findall(r"\d+(?:\.\d+)?", said)]
    written = trial.aim.worthwhile
    here = finding.worthwhile / per
    slack = _slack(finding.estimate, per)
    right = numbers[0] == written.value and f"{written.value:g} {written.unit}".split()[1] in (
        *said.split(), "in", "days"
    )  # fmt: skip
    if len(numbers) > 1:
        return right and abs(numbers[1] - here) <= slack
    return right or abs(numbers[0] - here) <= slack


def _against(said, finding, sentence, trial):
    estimate, right = finding.estimate, expected(finding)
    kinds = {right, "open"} if right in ("better open", "same open") else {right}
    if said.kind not in kinds:
        yield f"verdict {said.kind} for {right}: {sentence}"
    if said.outcome not in (None, estimate.outcome):
        yield f"outcome {said.outcome} for {estimate.outcome}: {sentence}"
    open_ways = {"better open": 1, "no worse open": -1}
    if said.way:
        good = 1 if BETTER_WHEN[estimate.outcome] == "higher" else -1
        true = open_ways[said.kind] * good if said.kind in open_ways else way(estimate)
        if said.way != true:
            yield f"way {said.way} for {true}: {sentence}"
    if said.bound is not None:
        bad = estimate.low if BETTER_WHEN[estimate.outcome] == "higher" else estimate.high
        per = GRAMS_IN[trial.weights] if estimate.unit == "g" else 1.0
        if abs(said.bound - bad / per) > _slack(estimate, per):
            yield f"bound {said.bound} for {bad / per}: {sentence}"
