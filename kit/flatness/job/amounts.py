"""Areas, volumes, densities, masses, accelerations and rates as people write them, to mm2, mm3, kg/mm3, kg and m/s2.

Exact, as lengths are: a number stays a rational number until it is converted. Every amount carries its unit.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from flatness.corrections.quantities import POUND_KG
from flatness.errors import LengthError
from flatness.lengths import MM_PER

_LITRE_MM3 = 10**6

_AREA = {f"{unit}2": per**2 for unit, per in MM_PER.items()}
_VOLUME = {f"{unit}3": per**3 for unit, per in MM_PER.items()} | {"l": Fraction(_LITRE_MM3)}
_MASS = {"kg": Fraction(1), "g": Fraction(1, 1000), "lb": Fraction(str(POUND_KG))}
UNITS: dict[str, dict[str, Fraction]] = {
    "area": _AREA,
    "volume": _VOLUME,
    "mass": _MASS,
    "density": {f"{mass}/{volume}": _MASS[mass] / _VOLUME[volume]
                for mass, volume in (("kg", "m3"), ("kg", "l"), ("g", "cm3"), ("lb", "ft3"), ("kg", "mm3"))},
    "acceleration": {"m/s2": Fraction(1), "ft/s2": MM_PER["ft"] / 1000},
}  # fmt: skip
SUCH_AS = {
    "area": "1 ft2 or 0.1 m2", "volume": "0.42 ft3 or 12 l", "mass": "220 lb or 100 kg",
    "density": "120 lb/ft3 or 1920 kg/m3", "acceleration": "9.81 m/s2",
}  # fmt: skip
RATE_SUCH_AS = {
    "length": "0.2 per ft or 0.65 per m", "area": "0.06 per ft2 or 0.65 per m2", "volume": "2 per ft3 or 0.07 per l",
}  # fmt: skip
_ALIASES = {"lbs": "lb", "litre": "l", "litres": "l", "liter": "l", "liters": "l"}
_AMOUNT = re.compile(
    r"(?:(?P<whole>\d{1,9})\s+)?(?:(?P<top>\d{1,6})\s*/\s*(?P<bottom>\d{1,6})|(?P<decimal>(?:\d{1,15}(?:\.\d{0,20})?"
    r"|\.\d{1,20})(?:[eE][+-]?\d{1,2})?))\s*(?P<unit>[a-z][a-z0-9/^ ]*)?",
    re.ASCII | re.IGNORECASE,
)
_RATE = re.compile(
    r"(?P<number>\d{1,12}(?:\.\d{0,12})?|\.\d{1,12})\s*(?:per|/)\s*(?P<unit>[a-z]+[23]?)", re.ASCII | re.IGNORECASE
)


def parse_amount(raw: object, kind: str) -> float:
    """An amount in the kit's own unit of it: mm2, mm3, kg, kg/mm3 or m/s2.

    Parameters
    ----------
    raw : a text with number and unit, such as ``0.42 ft3``; or a plain 0
    kind : ``area``, ``volume``, ``mass``, ``density`` or ``acceleration``

    Raises
    ------
    LengthError : what cannot be read, has no unit, or has one of another kind

    Examples
    --------
    >>> parse_amount("1 ft2", "area")
    92903.04
    >>> parse_amount("12 l", "volume")
    12000000.0
    """
    known = UNITS[kind]
    if isinstance(raw, (int, float)) and not isinstance(raw, bool) and raw == 0:
        return 0.0
    # superscripts become digits; the slash of a fraction sign becomes a slash
    text = unicodedata.normalize("NFKC", raw).replace("⁄", "/").strip() if isinstance(raw, str) else str(raw)
    found = _AMOUNT.fullmatch(text) if isinstance(raw, str) else None
    if found is None or (found["whole"] and found["decimal"]) or (found["bottom"] and not int(found["bottom"])):
        raise _refused(f"not {_a(kind)}", text, kind, "write number and unit as a text in quotes")
    unit = re.sub(r"[\s^]", "", (found["unit"] or "").lower())
    mass, slash, rest = unit.partition("/")
    unit = f"{_ALIASES.get(mass, mass)}{slash}{_ALIASES.get(rest, rest)}"
    if unit not in known:
        what = f"{_a(kind)} without a unit" if not unit else f"not a unit of {kind}"
        raise _refused(what, text, kind, f"write one of the units {', '.join(known)} behind the number")
    part = Fraction(found["decimal"]) if found["decimal"] else Fraction(int(found["top"]), int(found["bottom"]))
    return float((int(found["whole"] or 0) + part) * known[unit])


def parse_rate(raw: object, kind: str) -> float:
    """What one mm, mm2 or mm3 costs, in whatever the number counts.

    Parameters
    ----------
    raw : a text such as ``0.06 per ft2``; or a plain 0
    kind : ``length``, ``area`` or ``volume``

    Raises
    ------
    LengthError : what cannot be read, or names no unit of this kind

    Examples
    --------
    >>> parse_rate("92.90304 per ft2", "area"), parse_rate("0.2 per m", "length"), parse_rate(0, "volume")
    (0.001, 0.0002, 0.0)
    """
    if isinstance(raw, (int, float)) and not isinstance(raw, bool) and raw == 0:
        return 0.0
    known = MM_PER if kind == "length" else UNITS[kind]
    text = unicodedata.normalize("NFKC", raw).strip() if isinstance(raw, str) else str(raw)
    found = _RATE.fullmatch(text) if isinstance(raw, str) else None
    unit = found["unit"].lower() if found else ""
    unit = _ALIASES.get(unit, unit)
    if found is None or unit not in known:
        raise LengthError(
            f"no rate by {kind}", value=text, expected=f"a text such as {RATE_SUCH_AS[kind]}",
            remedy=f"write number, per, and one of the units {', '.join(known)}, in quotes",
        )  # fmt: skip
    return float(Fraction(found["number"]) / known[unit])


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] == "a" else f"a {kind}"


def _refused(what: str, text: str, kind: str, remedy: str) -> LengthError:
    return LengthError(what, value=text, expected=f"{_a(kind)} such as {SUCH_AS[kind]}", remedy=remedy)
