"""The plots of a car, each with its table and a sentence of what it shows: for its page, the owner's account, a share
link and the history report alike.

Each room draws its own through a door: the rooms above hang theirs in here. A plot that has nothing to draw says so
in words. What may be seen of money, of what is outstanding and of the plots at all is the audience's matter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from vehicles.models import Vehicle
from workshop.engineering.numbers import day_words
from workshop.engineering.plot import Plot

if TYPE_CHECKING:
    from vehicles.audience import Audience


@dataclass(frozen=True)
class PlotShown:
    """One plot to be shown. `plot` is for `{% draw_plot %}`; None where there is nothing to draw, and `words` say why.

    `words` is one sentence or two of what it shows, also for those who can't see it.
    """

    slug: str
    title: str
    plot: Plot | None
    words: str

    @property
    def table(self) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]] | None:
        """The same as a table: its head and its rows. It stands under the drawing by itself."""
        return None if self.plot is None else (self.plot.head, self.plot.rows)


def nothing_to_draw(slug: str, title: str, because: str) -> PlotShown:
    """In the place of a plot: `because` ends the sentence."""
    return PlotShown(slug, title, None, f"Nothing to draw yet, because {because}.")


def shown(slug: str, plot: Plot) -> PlotShown:
    """A plot under its own title and summary."""
    return PlotShown(slug, plot.title, plot, plot.summary)


# A table with more rows than this is no help beside a drawing: then only the last of each period is shown, in both.
MOST_ROWS = 48
PERIOD_WORDS = {3: "quarter", 6: "half-year", 12: "year"}


def period_of(day: date, months: int) -> tuple[int, int]:
    """The period of so many months that a day lies in; 12 is the year."""
    return day.year, (day.month - 1) // months


def day_said(day: date) -> str:
    """A day as it stands in a plot's table."""
    return day_words(day)


Gather = Callable[[Vehicle, "Audience | None"], Iterable[PlotShown]]
_sources: dict[str, tuple[int, Gather]] = {}


def add_plots(slug: str, order: int, gather: Gather) -> None:
    """`gather(vehicle, audience)` answers plots in a fixed number of queries; none where the audience sees none of it."""
    _sources[slug] = (order, gather)


def register() -> None:
    """The plots of this room."""
    from vehicles import plots_distance, plots_items

    add_plots("distance", 10, plots_distance.gather)
    add_plots("outstanding", 40, plots_items.gather)


def plots_of(vehicle: Vehicle, audience: Audience | None = None) -> list[PlotShown]:
    """Every plot that this audience may see; None is the shop's own people. A fixed number of queries."""
    if audience is not None:
        from vehicles.audience import Shows

        if not audience.sees(Shows.PLOTS):
            return []
    return [
        one
        for _, gather in sorted(_sources.values(), key=lambda each: each[0])
        for one in gather(vehicle, audience)
    ]
