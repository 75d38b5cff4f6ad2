"""The colours of the window can be read, told apart by every eye, and told apart in grey; limits of its design page.

The test pairs are table 1 of G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula: implementation
notes, supplementary test data, and mathematical observations", Color Research and Application 30 (2005) 21-30, from
a public copy of the table.
"""

from itertools import combinations, pairwise

import pytest

from app.window.theme import DARK, LIGHT
from kinematics.verdict import Verdict
from tests.gui.colour_science import VISIONS, ciede2000, contrast, lab, linear, seen_as

TEXT, LINE, PAIR, STEP = 4.5, 3.0, 11.0, 9.0
LOOKS = pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
FIFTY = 50.0
PAIRS = (
    ((FIFTY, 2.6772, -79.7751), (FIFTY, 0.0, -82.7485), 2.0425),
    ((FIFTY, 3.1571, -77.2803), (FIFTY, 0.0, -82.7485), 2.8615),
    ((FIFTY, 2.8361, -74.0200), (FIFTY, 0.0, -82.7485), 3.4412),
    ((FIFTY, -1.3802, -84.2814), (FIFTY, 0.0, -82.7485), 1.0000),
    ((FIFTY, -1.1848, -84.8006), (FIFTY, 0.0, -82.7485), 1.0000),
    ((FIFTY, -0.9009, -85.5211), (FIFTY, 0.0, -82.7485), 1.0000),
    ((FIFTY, 0.0, 0.0), (FIFTY, -1.0, 2.0), 2.3669),
    ((FIFTY, 2.4900, -0.0010), (FIFTY, -2.4900, 0.0009), 7.1792),
    ((FIFTY, 2.4900, -0.0010), (FIFTY, -2.4900, 0.0011), 7.2195),
    ((FIFTY, 2.4900, -0.0010), (FIFTY, -2.4900, 0.0012), 7.2195),
    ((FIFTY, -0.0010, 2.4900), (FIFTY, 0.0009, -2.4900), 4.8045),
    ((FIFTY, -0.0010, 2.4900), (FIFTY, 0.0011, -2.4900), 4.7461),
    ((FIFTY, 2.5, 0.0), (FIFTY, 0.0, -2.5), 4.3065),
    ((FIFTY, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((FIFTY, 2.5, 0.0), (61.0, -5.0, 29.0), 22.8977),
    ((FIFTY, 2.5, 0.0), (56.0, -27.0, -3.0), 31.9030),
    ((FIFTY, 2.5, 0.0), (58.0, 24.0, 15.0), 19.4535),
    ((FIFTY, 2.5, 0.0), (FIFTY, 3.1736, 0.5854), 1.0000),
    ((FIFTY, 2.5, 0.0), (FIFTY, 3.2972, 0.0), 1.0000),
    ((FIFTY, 2.5, 0.0), (FIFTY, 1.8634, 0.5757), 1.0000),
    ((FIFTY, 2.5, 0.0), (FIFTY, 3.2592, 0.3350), 1.0000),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((63.0109, -31.0961, -5.8663), (62.8187, -29.7946, -4.0864), 1.2630),
    ((61.2901, 3.7196, -5.3901), (61.4292, 2.2480, -4.9620), 1.8731),
    ((35.0831, -44.1164, 3.7933), (35.0232, -40.0716, 1.5901), 1.8645),
    ((22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
    ((36.4612, 47.8580, 18.3852), (36.2715, 50.5065, 21.2231), 1.4146),
    ((90.8027, -2.0831, 1.4410), (91.1528, -1.6435, 0.0447), 1.4441),
    ((90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
    ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
)


@pytest.mark.parametrize(("one", "other", "expected"), PAIRS)
def test_that_the_difference_of_published_pairs_is_the_published_one(one, other, expected):
    assert ciede2000(one, other) == pytest.approx(expected, abs=1e-4)
    assert ciede2000(other, one) == pytest.approx(expected, abs=1e-4)


def test_that_black_on_white_has_the_contrast_that_the_recommendation_gives():
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)  # well known as just too little


@LOOKS
def test_that_text_on_every_plate_can_be_read(palette):
    for verdict in Verdict:
        plate = palette.plate(verdict)
        assert contrast(plate.fill.name(), plate.text.name()) >= TEXT, verdict


@LOOKS
def test_that_text_and_lines_can_be_read_on_ground_and_card(palette):
    for under in (palette.ground, palette.card):
        assert contrast(palette.ink.name(), under.name()) >= TEXT
        assert contrast(palette.quiet.name(), under.name()) >= TEXT
        assert round(contrast(palette.line.name(), under.name()), 1) >= LINE


@LOOKS
@pytest.mark.parametrize("vision", VISIONS)
def test_that_no_two_verdicts_look_alike_to_any_eye(palette, vision):
    seen = {v: lab(seen_as(linear(palette.plate(v).fill.name()), vision)) for v in Verdict}
    for one, other in combinations(Verdict, 2):
        assert ciede2000(seen[one], seen[other]) >= PAIR, (one, other)


@LOOKS
def test_that_no_two_verdicts_are_the_same_grey(palette):
    lightness = sorted(lab(linear(palette.plate(v).fill.name()))[0] for v in Verdict)
    assert min(b - a for a, b in pairwise(lightness)) >= STEP


def test_that_in_light_the_worse_is_darker_and_in_dark_brighter():
    ladder = (Verdict.HITS, Verdict.CAN_HIT, Verdict.TIGHT, Verdict.CLEAR)
    light, dark = ([lab(linear(p.plate(v).fill.name()))[0] for v in ladder] for p in (LIGHT, DARK))
    assert light == sorted(light)
    assert dark == sorted(dark, reverse=True)


# The least differences that the design page states, to a tenth; here so that a drift of a colour is noticed.
STATED = {
    ("light", "normal"): 26.2, ("light", "protan"): 23.5, ("light", "deutan"): 17.8, ("light", "tritan"): 20.5,
    ("dark", "normal"): 25.7, ("dark", "protan"): 11.5, ("dark", "deutan"): 13.5, ("dark", "tritan"): 13.2,
}  # fmt: skip


@pytest.mark.parametrize(("look", "vision"), STATED)
def test_that_the_least_differences_are_those_of_the_design_page(look, vision):
    palette = LIGHT if look == "light" else DARK
    seen = [lab(seen_as(linear(palette.plate(v).fill.name()), vision)) for v in Verdict]
    assert min(ciede2000(a, b) for a, b in combinations(seen, 2)) == pytest.approx(STATED[look, vision], abs=0.06)


# Contrast of plates (fill, text) in the order of Verdict's severity, worst first, as the design page states them.
CONTRASTS = {"light": (10.3, 5.2, 7.5, 10.9, 14.2), "dark": (10.9, 7.7, 7.2, 4.8, 10.3)}


@pytest.mark.parametrize("look", CONTRASTS)
def test_that_the_contrasts_are_those_of_the_design_page(look):
    palette = LIGHT if look == "light" else DARK
    for verdict, stated in zip(sorted(Verdict, key=lambda v: -v.severity), CONTRASTS[look], strict=True):
        plate = palette.plate(verdict)
        assert contrast(plate.fill.name(), plate.text.name()) == pytest.approx(stated, abs=0.06), verdict
