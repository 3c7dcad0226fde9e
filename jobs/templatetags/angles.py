"""The car seen from above with the side from which it is photographed, and pairs of shots."""

from __future__ import annotations

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from jobs.angles import Shot
from vehicles.models import Angle

register = template.Library()

# Where the camera stands on a drawing 160 × 120 of a car that looks to the left, and towards which point it looks.
_STANDS = {
    Angle.FRONT: (14, 60),
    Angle.FRONT_LEFT: (22, 104),
    Angle.LEFT: (80, 110),
    Angle.REAR_LEFT: (138, 104),
    Angle.REAR: (146, 60),
    Angle.REAR_RIGHT: (138, 16),
    Angle.RIGHT: (80, 10),
    Angle.FRONT_RIGHT: (22, 16),
}
# What is photographed where the camera's place says nothing: parts of the drawing that are filled.
_FILLS = {
    Angle.ROOF: '<rect class="from" x="66" y="44" width="46" height="32" rx="5"/>',
    Angle.DASHBOARD: '<rect class="from" x="58" y="46" width="7" height="28" rx="2"/>',
    Angle.CABIN: '<rect class="from" x="68" y="46" width="12" height="12" rx="3"/>'
    '<rect class="from" x="68" y="62" width="12" height="12" rx="3"/>'
    '<rect class="from" x="88" y="46" width="10" height="28" rx="3"/>',
    Angle.LOAD_SPACE: '<rect class="from" x="106" y="44" width="18" height="32" rx="3"/>',
    Angle.ENGINE_BAY: '<rect class="from" x="36" y="44" width="20" height="32" rx="3"/>',
    Angle.WHEELS: "".join(
        f'<rect class="from" x="{x}" y="{y}" width="18" height="8" rx="2"/>'
        for x in (42, 100)
        for y in (32, 80)
    ),
}
_CAR = (
    '<rect class="outline" x="30" y="36" width="100" height="48" rx="12"/>'
    '<rect class="outline" x="56" y="42" width="58" height="36" rx="6"/>'
    '<path class="outline" d="M44 40v40"/>'
)


@register.simple_tag
def angle_drawing(angle: Angle) -> SafeString:
    """A car from above, its front to the left, with the camera or the part. Words beside it say the same."""
    if angle in _STANDS:
        x, y = _STANDS[angle]
        toward_x, toward_y = 80 - x, 60 - y
        length = (toward_x**2 + toward_y**2) ** 0.5
        dx, dy = toward_x / length, toward_y / length
        tip = f"{x + 13 * dx:.1f},{y + 13 * dy:.1f}"
        left = f"{x - 4 * dx - 8 * dy:.1f},{y - 4 * dy + 8 * dx:.1f}"
        right = f"{x - 4 * dx + 8 * dy:.1f},{y - 4 * dy - 8 * dx:.1f}"
        what = format_html('<polygon class="from" points="{} {} {}"/>', tip, left, right)
    else:
        what = mark_safe(_FILLS[angle])
    return format_html('<svg viewBox="0 0 160 120" aria-hidden="true">{}{}</svg>', mark_safe(_CAR), what)


@register.filter
def pair_with(first: Shot, second: Shot) -> tuple[Shot, Shot]:
    return first, second
