"""What the calculators of cables and fuses ask alike, each declared once; the electrical effect assumes the same."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Assumption, Choice, Number
from workshop.engineering.electrical import INSULATIONS

D = Decimal

AROUND = Assumption(D(40), D(25), D(60), "a closed body in the sun; near the engine it is hotter")

SURROUNDINGS = Number(
    "surroundings", "Temperature around the cable", "temperature", "degC", D(-40), D(100), assumed=AROUND
)
FUSE_SHARE = Number(
    "share", "Share of its rating that a fuse carries for hours", "ratio", "%", D(40), D(100),
    assumed=Assumption(D(75), D(70), D(80), "common practice at 23 °C; less in a hot fuse box"),
)  # fmt: skip
INSULATION = Choice("insulation", "Insulation of the cable", INSULATIONS, usual="70")
SECTION = Number(
    "section",
    "Cross-section of the cable",
    "area",
    "mm2",
    D("0.1"),
    D(150),
    item="cable_section",
    optional=True,
)
