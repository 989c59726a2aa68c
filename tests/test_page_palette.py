"""Colours of the page under the three kinds of colour blindness, and as greys on paper."""

import itertools
import re
from pathlib import Path

import numpy as np
import pytest

from takeoff.outputs.page import palette

# Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency"
# (2009), severity 1.0, on linear RGB.
VISION = {
    "usual": np.eye(3),
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}  # fmt: skip
SETS = {
    "methods": palette.METHODS,
    "roles": palette.ROLES,
    "severities": palette.SEVERITIES,
    "states": palette.STATES,
    "repetition": palette.REPETITION,
}
CLEAR = 12.0
"""Difference in CIELAB units; about 2.3 is the least that an eye notices side by side."""


def lab(colour: str, vision: str) -> np.ndarray:
    """CIELAB (D65) of an sRGB colour as somebody with this vision sees it (IEC 61966-2-1, CIE 15)."""
    value = np.array(palette.rgb(colour)) / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    linear = np.clip(np.array(VISION[vision]) @ linear, 0.0, 1.0)
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ linear
    ratio = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("vision", VISION)
@pytest.mark.parametrize("name", SETS)
def test_colours_of_a_legend_are_told_apart(name, vision):
    pairs = itertools.combinations(SETS[name].items(), 2)
    differences = {(a, b): float(np.linalg.norm(lab(x, vision) - lab(y, vision))) for (a, x), (b, y) in pairs}
    worst = min(differences, key=differences.__getitem__)
    assert differences[worst] > CLEAR, (worst, differences[worst])


def test_two_reds_and_greens_would_fail():
    assert np.linalg.norm(lab("#B04A3A", "deutan") - lab("#7A7A2A", "deutan")) < CLEAR


@pytest.mark.parametrize("vision", VISION)
def test_storeys_climb_in_lightness(vision):
    lightness = [lab(colour, vision)[0] for colour in palette.storey_colours(8)]
    assert all(b - a > 3.0 for a, b in itertools.pairwise(lightness)), lightness


def test_one_storey_and_none():
    assert palette.storey_colours(0) == []
    assert palette.storey_colours(1) == [palette.BLUE]


def looks() -> list[dict[str, str]]:
    """The colours of the page's texts and grounds: light, dark by the system, dark by choice."""
    style = (Path(palette.__file__).parent / "assets" / "page.css").read_text(encoding="utf-8")
    blocks = re.findall(r":root[^{]* \{([^}]*--attention-ink[^}]*)\}", style)
    return [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block)) for block in blocks]


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2)."""
    value = np.array(palette.rgb(colour)) / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


READ = [("ink", "paper"), ("ink", "panel"), ("muted", "paper"), ("muted", "panel"), ("accent-ink", "accent"),
        ("attention-ink", "attention")]  # fmt: skip


@pytest.mark.parametrize("look", range(3))
def test_words_stand_out_from_their_ground(look):
    colours = looks()[look]
    for ink, ground in READ:
        light, dark = sorted((luminance(colours[ink]), luminance(colours[ground])), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 4.5, (look, ink, ground)
