"""What the pages of figures show: rows with their history, in the groups of the list of items."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.http import HttpRequest
from django.utils.http import url_has_allowed_host_and_scheme

from vehicles.figure_rules import by_group, keys_for
from vehicles.figures import lines_of, used_by
from vehicles.forms.figures import label_of, span
from vehicles.models import DataSheet, Figure, FittedPart, Vehicle
from workshop.engineering.declare import Calculator
from workshop.engineering.items import ITEMS, KEYS, Item


@dataclass
class FigureRow:
    """One item of one owner. `now` is what stands (a withdrawal too), `earlier` what it replaced, the latest first.

    `base` is the sheet that an inherited figure stands in; `instead` what it would be without a nearer one.
    """

    key: str
    item: Item
    now: Figure | None = None
    earlier: list[Figure] = field(default_factory=list)
    base: DataSheet | None = None
    instead: Figure | None = None
    # Where it comes from, where that is not what most of its group come from.
    own_source: str = ""

    @property
    def label(self) -> str:
        return label_of(self.key)

    @property
    def span(self) -> str:
        return "" if self.item.dimension in ("text", "choice") else span(self.item)

    @property
    def is_known(self) -> bool:
        return self.now is not None and not self.now.withdrawn_because

    @property
    def told_source(self) -> str:
        """Source, sureness and sheet in one line; "" where nothing stands."""
        if not self.is_known:
            return ""
        told = [self.now.from_where, self.now.get_confidence_display().lower()]
        if self.base is not None:
            told.append(f"on {self.base}")
        if self.earlier:
            told.append(f"changed {len(self.earlier)} time{'s' if len(self.earlier) > 1 else ''}")
        return " · ".join(told)

    @property
    def uses(self) -> tuple[Calculator, ...]:
        return used_by(self.key)


@dataclass
class Group:
    """Rows of one group. `common` is the source that most of them share, said once above them."""

    title: str
    rows: list[FigureRow]
    common: str = ""

    def __post_init__(self) -> None:
        sources = Counter(source for row in self.rows if (source := row.told_source))
        if sources:
            self.common = sources.most_common(1)[0][0]
        for row in self.rows:
            row.own_source = "" if row.told_source == self.common else row.told_source

    @property
    def known(self) -> list[FigureRow]:
        return [row for row in self.rows if row.is_known]

    @property
    def told(self) -> list[FigureRow]:
        """Rows with anything to tell: known, or withdrawn."""
        return [row for row in self.rows if row.now is not None]

    @property
    def open(self) -> list[FigureRow]:
        return [row for row in self.rows if not row.is_known]


def rows_of_sheet(chain: list[DataSheet], figures: list[Figure]) -> list[Group]:
    """A sheet's rows by group: its own figures, else those of the nearest sheet that it is based on."""
    lines = lines_of(figures)
    sheet = chain[0]

    def row(key: str) -> FigureRow:
        found = FigureRow(key, KEYS[key])
        for one in chain:
            line = lines.get((one.pk, key), [])
            standing = bool(line) and not line[0].withdrawn_because
            if found.is_known:
                if standing and found.instead is None:
                    found.instead = line[0]
            elif standing or (line and one is sheet):
                found.now, found.earlier = line[0], line[1:]
                found.base = None if one is sheet else one
        return found

    return [Group(title, [row(key) for key in keys]) for title, keys in by_group(keys_for(sheet))]


def rows_of(
    owner: Vehicle | FittedPart, figures: Iterable[Figure], *, keys: Iterable[str] | None = None
) -> list[FigureRow]:
    """The rows of a car's own figures or of a part, in the order of the list; of a part also the unknown ones."""
    lines = lines_of(figures)
    wanted = list(keys_for(owner) if keys is None else keys)
    # What a part carries that its place no longer asks for is shown all the same.
    wanted += [key for _, key in lines if key not in wanted]
    rows = []
    for key in wanted:
        item = KEYS.get(key) or ITEMS.get(key)
        line = lines.get((owner.pk, key), [])
        if item is not None and (line or isinstance(owner, FittedPart)):
            rows.append(FigureRow(key, item, line[0] if line else None, line[1:]))
    return rows


def figures_of_part(part: FittedPart) -> dict[str, Any]:
    """For the part's page: its figures with their history, and what else its place may say. One query."""
    rows = rows_of(part, Figure.objects.filter(part=part).select_related("made_by", "device"))
    return {"figures": Group("Dimensions", rows)}


def next_of(request: HttpRequest, otherwise: str) -> str:
    """Where to go on: a path of this installation that was asked for, or `otherwise`."""
    address: Any = request.POST.get("next") or request.GET.get("next") or ""
    if address.startswith("/") and url_has_allowed_host_and_scheme(address, {request.get_host()}):
        return address
    return otherwise
