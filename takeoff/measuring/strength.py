"""Strength classes of concrete, found in texts and values and written in one form.

Forms known: EN 206 (C30/37, LC25/28), the cylinder or cube class alone as national practice writes it (C30,
B25, K40, N32, S40, M25, HA-25, Rck 30), and a cylinder strength in psi, ksi or MPa. A class is never
converted into another one: C30 stays C30.
"""

import re
from collections.abc import Iterable
from functools import lru_cache

_PAIR = re.compile(r"(?<![A-Za-z])(L?C)\s?(\d{1,3}(?:[.,]\d)?)\s?/\s?(\d{1,3})(?!\d)", re.IGNORECASE)
_IMPERIAL = re.compile(r"(\d[\d,.']*)\s?(psi|ksi)\b", re.IGNORECASE)
_METRIC = re.compile(r"(\d{2,3}(?:[.,]\d+)?)\s?(?:MPa|N/mm2|N/mm²)(?![A-Za-z\d])", re.IGNORECASE)
_FC = re.compile(r"f\s?['’′]?\s?c\s?['’′]?k?\s?=?\s?(\d[\d,.]*)(?!\s?[/\d])", re.IGNORECASE)
_SPANISH = re.compile(r"(?<![A-Za-z])(H[AMP])\s?-?\s?(\d{2,3})(?!\d)", re.IGNORECASE)
_CUBE = re.compile(r"(?<![A-Za-z])(R\s?ck)\s?\.?\s?=?\s?(\d{2,3})(?!\d)", re.IGNORECASE)
_SINGLE = re.compile(r"(?<![A-Za-z\d])(LC|C|B|K|N|S|M)[\s-]?(\d{2})(?![\d/.,]|\s?[/x×]\s?\d)", re.IGNORECASE)
_STRONGEST = 130.0  # MPa, above the classes of EN 206 and of the model codes


@lru_cache(maxsize=1 << 14)
def strength_in_text(text: str, *, single_letters: str = "C LC B K M") -> str:
    """The strength class that `text` holds, in its normal form, empty where it holds none.

    `single_letters` are the letters trusted before a lone number: "C30" or "M25" in a concrete's material,
    while "N12" or "S40" may be a bar or a steel and count only where the text is known to be a strength.
    """
    if pair := _PAIR.search(text):
        kind, low, high = pair[1].upper(), pair[2].replace(",", "."), pair[3]
        if 8 <= float(low) < float(high) <= _STRONGEST:
            return f"{kind}{low}/{high}"
    if spanish := _SPANISH.search(text):
        return f"{spanish[1].upper()}-{spanish[2]}"
    if cube := _CUBE.search(text):
        return f"Rck {cube[2]}"
    if imperial := _IMPERIAL.search(text):
        psi = float(imperial[1].replace(",", "").replace("'", "").rstrip(".") or 0)
        psi *= 1000 if imperial[2].lower() == "ksi" else 1
        if 1000 <= psi <= 20000:
            return f"{psi:.0f} psi"
    if (metric := _METRIC.search(text)) and 8 <= (mpa := float(metric[1].replace(",", "."))) <= _STRONGEST:
        return f"{mpa:g} MPa"
    if (cylinder := _FC.search(text)) and (value := _strength_in_number(_number(cylinder[1]))):
        return value
    for single in _SINGLE.finditer(text):
        if single[1].upper() in single_letters.split() and int(single[2]) >= 8:
            return f"{single[1].upper()}{single[2]}"
    return ""


def _number(text: str) -> float:
    """A figure that may have a comma or point between thousands ("4,000")."""
    digits = text.rstrip(".,")
    if re.fullmatch(r"\d{1,3}([.,]\d{3})+", digits):
        digits = re.sub(r"[.,]", "", digits)
    try:
        return float(digits.replace(",", "."))
    except ValueError:
        return 0.0


def _strength_in_number(value: float) -> str:
    """A bare number as a strength: MPa up to 130, psi from 1,000, pascal from a million; else empty."""
    if 8 <= value <= _STRONGEST:
        return f"{value:g} MPa"
    if 1000 <= value <= 20000:
        return f"{value:.0f} psi"
    if 8e6 <= value <= _STRONGEST * 1e6:
        return f"{value / 1e6:g} MPa"
    return ""


def strength_class(texts: Iterable[str], values: Iterable[str | float | int | bool]) -> str:
    """The first strength class in `texts` (of materials), else in `values` (of properties), else empty.

    A value may be a class as text, a text of a number, or a number (MPa, psi or Pa by its size).
    """
    for text in texts:
        if found := strength_in_text(text):
            return found
    for value in values:
        if isinstance(value, bool):
            continue
        if isinstance(value, int | float):
            found = _strength_in_number(float(value))
        else:
            found = strength_in_text(value, single_letters="C LC B K N S M")
            if not found and re.fullmatch(r"\s*\d[\d.,]*\s*", value):
                found = _strength_in_number(_number(value.strip()))
        if found:
            return found
    return ""
