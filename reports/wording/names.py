"""The grower's own words made fit to print: one line, no control characters, not too long.

Escaping is the business of whoever prints (HTML, SVG); here text only loses what no page can
show or what would turn the text around it.
"""

from __future__ import annotations

import unicodedata

from analyses.estimate import Estimate
from reports.wording.grammar import plural
from trials.trial import Trial

__all__ = [
    "LONGEST_NAME", "estimand_words", "outcome_words", "printable", "shorten", "treatment_names",
    "unit_word",
]  # fmt: skip

LONGEST_NAME = 48
_JOINER = "\u200d"
_ISOLATE, _POP = "\u2068", "\u2069"


def printable(text: str) -> str:
    r"""Give text without control characters and with white space made single.

    Text with right-to-left letters is wrapped in isolates, so that it cannot turn around the
    sentence that it stands in (Unicode Standard Annex 9, section 2.4).

    Examples
    --------
    >>> printable("okara\x00 \n 10 %\u202e")
    'okara 10 %'
    """
    kept = "".join(_kept(letter) for letter in text)
    single = " ".join(kept.split())
    if any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in single):
        return f"{_ISOLATE}{single}{_POP}"
    return single


def shorten(text: str, longest: int = LONGEST_NAME) -> str:
    """Cut a text that is too long, at a word where there is one, with an ellipsis.

    Examples
    --------
    >>> shorten("wheat bran with gypsum", 15)
    'wheat bran…'
    """
    inner = text.strip(_ISOLATE + _POP)
    if len(inner) <= longest:
        return text
    cut = inner[: longest - 1]
    at_word = cut.rsplit(" ", 1)[0]
    # A very long word is cut inside rather than lost.
    short = (at_word if len(at_word) > longest // 2 else cut).rstrip(" ,;:") + "…"
    return f"{_ISOLATE}{short}{_POP}" if text.startswith(_ISOLATE) else short


def treatment_names(trial: Trial, longest: int = LONGEST_NAME) -> dict[str, str]:
    """Give the name of each treatment as sentences use it.

    Parameters
    ----------
    trial : Trial
        The plan.
    longest : int
        Names are cut to so many characters.

    Returns
    -------
    dict of str to str
        By treatment code. The code stands in for an empty name, and follows in brackets where a
        name was cut or two are alike.
    """
    full = {one.code: printable(one.name) or printable(one.code) for one in trial.treatments}
    short = {code: shorten(name, longest) for code, name in full.items()}
    shown = list(short.values())
    return {
        code: name if name == full[code] and shown.count(name) == 1 else f"{name} ({code})"
        for code, name in short.items()
    }


def unit_word(trial: Trial) -> str:
    """Give the grower's word for one unit, fit to print.

    Parameters
    ----------
    trial : Trial
        The plan.
    """
    return shorten(printable(trial.unit), 24) or "bag"


def estimand_words(estimand: str, trial: Trial) -> str:
    """Say over which units a number is, in the grower's word for a unit.

    Parameters
    ----------
    estimand : str
        ``per bag started``, ``per bag that fruited``.
    trial : Trial
        The plan.
    """
    return printable(estimand).replace("per bag", f"per {unit_word(trial)}")


def outcome_words(estimate: Estimate, trial: Trial) -> str:
    """Say what a number is about: what was measured, and over which units.

    Parameters
    ----------
    estimate : Estimate
    trial : Trial
        The plan.
    """
    unit = unit_word(trial)
    if estimate.outcome == "yield":
        return f"weight {estimand_words(estimate.estimand, trial)}"
    return {
        "contamination": f"{plural(unit)} lost to contamination",
        "flush drop": "how much of a flush the next one keeps",
        "days to colonise": "days to colonise",
        "days to pins": "days to first pins",
    }[estimate.outcome]


def _kept(letter: str) -> str:
    kind = unicodedata.category(letter)
    if kind in ("Zl", "Zp", "Zs") or letter in "\t\n\r\v\f":
        return " "
    unfit = kind in ("Cc", "Cs", "Co", "Cn") or (kind == "Cf" and letter != _JOINER)
    return "" if unfit else letter
