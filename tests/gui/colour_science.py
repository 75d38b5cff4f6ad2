"""Colours in numbers, by their published definitions, in plain Python; shares nothing with the product.

WCAG 2.2 relative luminance and contrast ratio (W3C Recommendation; with its threshold as corrected, 0.04045). sRGB
to XYZ for D65, IEC 61966-2-1. CIELAB, CIE 15. CIEDE2000, as G. Sharma, W. Wu, E. N. Dalal, Color Research and
Application 30 (2005) write it down. Colour vision: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE TVCG 15
(2009), severity 1.0, on linear sRGB. All written from memory; CIEDE2000 is held to the test pairs of that paper, and
the three matrices were compared with several public copies of the paper's table.
"""

import math

RGB_TO_XYZ = (
    (0.4124564, 0.3575761, 0.1804375),
    (0.2126729, 0.7151522, 0.0721750),
    (0.0193339, 0.1191920, 0.9503041),
)
D65 = (0.95047, 1.0, 1.08883)
NORMAL = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
PROTAN = ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998))
DEUTAN = ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881))
TRITAN = ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900))
VISIONS = {"normal": NORMAL, "protan": PROTAN, "deutan": DEUTAN, "tritan": TRITAN}


def linear(colour):
    """Linear sRGB of #RRGGBB."""
    values = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    return [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values]


def luminance(colour):
    r, g, b = linear(colour)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def times(matrix, vector):
    return [sum(m * v for m, v in zip(row, vector, strict=True)) for row in matrix]


def seen_as(rgb, vision):
    """Linear sRGB as it looks to a vision, within the gamut."""
    return [min(1.0, max(0.0, v)) for v in times(VISIONS[vision], rgb)]


def lab(rgb):
    """CIELAB of linear sRGB."""

    def f(t):
        return t ** (1.0 / 3.0) if t > (6.0 / 29.0) ** 3 else t / (3.0 * (6.0 / 29.0) ** 2) + 4.0 / 29.0

    x, y, z = (f(v / n) for v, n in zip(times(RGB_TO_XYZ, rgb), D65, strict=True))
    return 116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)


def ciede2000(one, other):
    """The difference of two colours in CIELAB."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    mean7 = ((math.hypot(a1, b1) + math.hypot(a2, b2)) / 2.0) ** 7
    g = 0.5 * (1.0 - math.sqrt(mean7 / (mean7 + 25.0**7)))
    a1, a2 = (1.0 + g) * a1, (1.0 + g) * a2
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = (math.degrees(math.atan2(b, a)) % 360.0 if a or b else 0.0 for a, b in ((a1, b1), (a2, b2)))
    turn, mean_h = h2 - h1, h1 + h2
    if c1 * c2 == 0.0:
        turn = 0.0
    elif abs(h2 - h1) <= 180.0:
        mean_h = (h1 + h2) / 2.0
    else:
        turn -= math.copysign(360.0, turn)
        mean_h = (h1 + h2 + (360.0 if h1 + h2 < 360.0 else -360.0)) / 2.0
    d_hue = 2.0 * math.sqrt(c1 * c2) * math.sin(math.radians(turn) / 2.0)
    mean_l, mean_c = (l1 + l2) / 2.0, (c1 + c2) / 2.0
    t = (
        1.0
        - 0.17 * math.cos(math.radians(mean_h - 30.0))
        + 0.24 * math.cos(math.radians(2.0 * mean_h))
        + 0.32 * math.cos(math.radians(3.0 * mean_h + 6.0))
        - 0.20 * math.cos(math.radians(4.0 * mean_h - 63.0))
    )
    s_l = 1.0 + 0.015 * (mean_l - 50.0) ** 2 / math.sqrt(20.0 + (mean_l - 50.0) ** 2)
    s_c, s_h = 1.0 + 0.045 * mean_c, 1.0 + 0.015 * mean_c * t
    around_blue = 30.0 * math.exp(-(((mean_h - 275.0) / 25.0) ** 2))
    r_t = -2.0 * math.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)) * math.sin(math.radians(2.0 * around_blue))
    dl, dc, dh = (l2 - l1) / s_l, (c2 - c1) / s_c, d_hue / s_h
    return math.sqrt(dl * dl + dc * dc + dh * dh + r_t * dc * dh)
