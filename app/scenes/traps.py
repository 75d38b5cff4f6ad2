"""What people write instead of a number, and the words for each."""

from __future__ import annotations

import math
import re

from app.scenes.located import short

_DECIMAL_COMMA = re.compile(r"[-+]?[0-9]*,[0-9]+")
_THOUSANDS = re.compile(r"[-+]?[0-9]{1,3}([ '_\u00a0\u202f][0-9]{3})+(\.[0-9]+)?")
_FRACTION = re.compile(r"([-+]?)(?:([0-9]+)[ -]+)?([0-9]{1,6}) ?/ ?([0-9]{1,6})( ?(?:\"|''|in|inch))?")
_WITH_UNIT = re.compile(
    r"([-+]?[0-9]*\.?[0-9]+) ?(mm|cm|m|in|inch|inches|\"|''|\u2033|deg|degrees?|\u00b0|\u00b5m|um|thou)"
)
_IN_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "\u00b5m": 0.001, "um": 0.001, "thou": 0.0254}
_DEGREES = ("deg", "degree", "degrees", "\u00b0")


def number_words(text: str, expected: str, units: str) -> str:
    """Why a text is no number, what was expected, and the nearest right thing.

    Parameters
    ----------
    text : what stands in the file.
    expected : what was expected, for example "a length in mm".
    units : "mm" or "inch" for a length (the units of the file), "deg" for an angle, "" for a plain number.
    """
    text = text.strip()
    if len(text) > 200:
        return f"'{short(text)}' is a text; expected {expected}"
    if _DECIMAL_COMMA.fullmatch(text):
        return f"'{text}' has a decimal comma; expected a decimal point: {text.replace(',', '.')}"
    if _THOUSANDS.fullmatch(text):
        plain = re.sub(r"[ '_\u00a0\u202f]", "", text)
        return f"'{text}' has separated thousands; expected digits only: {plain}"
    if (found := _FRACTION.fullmatch(text)) is not None and float(found[4]) > 0.0:
        value = float(found[2] or 0) + float(found[3]) / float(found[4])
        decimal = f"{found[1].strip('+')}{value:.6g}"
        return f"'{text}' is a fraction; expected a decimal number: {decimal}"
    if (found := _WITH_UNIT.fullmatch(text)) is not None:
        return _unit_words(text, float(found[1]), found[2], units, expected)
    if re.fullmatch(r"[-+]?[0-9.,]*[oO][0-9.,oO]*", text) and any(c.isdigit() for c in text):
        return f"'{text}' has the letter O in it; expected {expected}"
    if text.startswith("\u2212") and _is_number(text[1:]):
        return f"'{text}' begins with a printed minus sign; expected the hyphen: -{text[1:]}"
    return f"'{short(text)}' is a text; expected {expected}"


def _unit_words(text: str, value: float, unit: str, units: str, expected: str) -> str:
    if units == "deg" or unit in _DEGREES:
        if units == "deg" and unit in _DEGREES:
            return f"'{text}' has a unit; expected the number alone: {value:g}"
        return f"'{text}' has a unit that does not belong here; expected {expected}"
    if not units:
        return f"'{text}' has a unit; expected {expected}"
    in_mm = value * _IN_MM.get(unit, 25.4)
    converted = in_mm if units == "mm" else in_mm / 25.4
    return f"'{text}' has a unit; expected the number alone, in {units} as the file says: {converted:.6g}"


def looks_like_number(text: str) -> bool:
    """Whether a text is likely meant as a number: with a decimal comma, a unit, in quotes, as a fraction."""
    text = text.strip()
    if len(text) > 200:
        return False
    forms = (_DECIMAL_COMMA, _THOUSANDS, _FRACTION, _WITH_UNIT)
    return _is_number(text) or any(form.fullmatch(text) for form in forms)


def quoted_words(text: str) -> str | None:
    """The words for a number in quotes, or None if it is no number."""
    return (
        f"'{text}' is in quotes and so a text; expected the number alone: {text.strip()}" if _is_number(text) else None
    )


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text)) and "_" not in text
    except ValueError:
        return False
