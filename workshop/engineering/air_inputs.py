"""What the calculators of compressed air ask and assume alike, each declared once; the effect assumes the same."""

from __future__ import annotations

from decimal import Decimal

from workshop.engineering.declare import Assumption, Number

D = Decimal

AMBIENT = Number(
    "ambient", "Pressure of the air outside, absolute", "pressure", "kPa", D(50), D(110),
    assumed=Assumption(D("101.3"), D(95), D(103), "usual weather from sea level to 500 m"),
)  # fmt: skip
EFFICIENCY = Assumption(
    D(60), D(50), D(72), "usual for a belt-driven blower; a turbocharger near its best point has more"
)
