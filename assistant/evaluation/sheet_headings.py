"""Meaning of the column headings in a laboratory's sheet."""

import re
from dataclasses import dataclass

from assistant.evaluation.assay_units import Unit

OF_TARGET = (
    r"%\s*(?:of\s+)?(?:the\s+)?(?:target|label(?:led)?(?: (?:claim|amount|content|strength))?"
    r"|l\.?c\.?|claim|nominal|theor(?:y|etical)|declared)(?: (?:content|amount|value))?"
)
_UNITS: tuple[tuple[str, str], ...] = (
    (OF_TARGET, Unit.PERCENT),
    (r"%\s*by (?:weight|mass)", Unit.BY_WEIGHT),
    (r"fraction of (?:target|label claim|nominal)", Unit.FRACTION),
    (r"mg\s*(?:/|per )\s*g", Unit.MG_PER_G),
    (r"%\s*\(?(?:w/w|m/m|wt/wt)\)?|(?:w/w|m/m|wt)[- ]?%", "%"),
    (r"%|per ?cent(?:age)?", "%"),
    (r"fraction", "fraction"),
    (r"mg", Unit.MG),
    (r"g", "g"),
)
"""Patterns of a unit, first match wins; '%' and 'fraction' do not say of what."""

_NUMBER = r"(?: (?:no|nr|number|id|label|code|name))?"
_INJECTION = (
    r"(?:assay |result |content |potency )?(?:assay|inj|injection|result|prep|determination) ?[1-9]"
)
_WORDS: tuple[tuple[str, str], ...] = (
    (rf"vial{_NUMBER}|sample{_NUMBER}|label(?: code)?|bar ?code|code", "vial"),
    (r"(?:sampling )?(?:location|spot|point)" + _NUMBER, "location"),
    (r"(?:shaft |die )?position|die set|set|replicate|rep(?:licate)?" + _NUMBER, "position"),
    (r"(?:tablet|capsule|dosage unit)" + _NUMBER, "position"),
    (r"port" + _NUMBER, "port"),
    (r"(?:injection|inj|preparation|prep|determination)" + _NUMBER, "injection"),
    (r"(?:batch|lot)" + _NUMBER, "batch"),
    (r"origin", "origin"),
    (r"(?:mean|average|avg)(?: (?:assay|result|content|potency))?", "mean"),
    (
        r"(?:drug )?(?:assay|content|potency)(?: (?:result|value|found))?|result|found|api|"
        + _INJECTION,
        "assay",
    ),
    (r"(?:gross|full)(?: (?:mass|weight|wt))?", "gross"),
    (r"(?:tare|empty)(?: (?:mass|weight|wt))?", "tare"),
    (r"(?:net|sample|powder|tablet|unit|fill)? ?(?:mass|weight|wt)|net", "mass"),
)
_MASSES = ("mass", "gross", "tare")
_CORRECTED = re.compile(
    r"\b(un|not[ -]|non[ -]?)?(?:(?:weight|mass|wt)[ -]?)corrected\b"
    r"|\b(un|not[ -]|non[ -]?)?corrected for (?:weight|mass)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Meaning:
    """Meaning of a heading."""

    kind: str = ""
    """'vial', 'location', 'position', 'port', 'injection', 'batch', 'origin', 'assay', 'mean',
    'mass', 'gross', 'tare', or '' for a column that is not used."""
    unit: str = ""
    """For assays a `Unit`, or '%' or 'fraction' if it does not say of what; for masses 'mg' or 'g';
    '' if the heading does not say."""
    number: int = 0
    """Number of an injection with its own column, from 1."""


def meaning_of(heading: str) -> Meaning:
    """Interpret a heading; case, dots, brackets and word order do not matter."""
    plain = re.sub(r"[\s_]+", " ", heading.casefold().replace("#", " no "))
    plain = " ".join(_CORRECTED.sub(" ", plain).split())
    word, unit = _parted(plain)
    if re.search(r"\brsd\b|\bsd\b", word):
        return Meaning()
    for pattern, kind in _WORDS:
        if re.fullmatch(pattern, word):
            return _fitting(kind, unit, word)
    if not word and unit and unit != "g":
        return Meaning("assay", unit)
    return Meaning()


def weight_corrected(heading: str) -> bool | None:
    """Whether a heading says that the assays are weight-corrected; None if it does not say."""
    found = _CORRECTED.search(heading)
    return None if found is None else not (found[1] or found[2])


def _parted(plain: str) -> tuple[str, str]:
    """Split a heading into its word and its unit."""
    for pattern, unit in _UNITS:
        found = re.search(rf"(?:^|(?<=[\s(\[,;:/]))(?:{pattern})(?=$|[\s)\],;:])", plain)
        if found:
            rest = plain[: found.start()] + " " + plain[found.end() :]
            return _bare(rest), str(unit)
    return _bare(plain), ""


def _bare(text: str) -> str:
    return " ".join(re.sub(r"[()\[\],;:.]", " ", text).split())


def _fitting(kind: str, unit: str, word: str) -> Meaning:
    """The meaning if word and unit match; otherwise the column is not used."""
    if kind in ("assay", "mean"):
        digit = re.search(r"[1-9]$", word)
        return Meaning(kind, unit, int(digit[0]) if digit else 0) if unit != "g" else Meaning()
    if kind in _MASSES:
        return Meaning(kind, unit) if unit in ("", "mg", "g") else Meaning()
    return Meaning() if unit else Meaning(kind)
