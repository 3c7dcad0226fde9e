"""What calculators know of a car, what a result is kept with, and the kept results. Reads only.

A value in a form is the car's own as long as it equals what is on record; changed, it was typed in. So nothing but
the values goes round with a form, and the server says where each came from.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db.models import Model, QuerySet

from vehicles.figures import figures_of
from vehicles.models import Calculation, FittedPart, Vehicle
from vehicles.models.calculation import SUBJECTS
from vehicles.timeline import Entry, Source, Window, add_source
from workshop.engineering.declare import Calculator, Choice, Input, Number, Numbers
from workshop.engineering.effect import CarFigures, Figure, Part
from workshop.engineering.result import Given
from workshop.engineering.units import UNITS, Amount, UnitError

Value = Amount | tuple[Amount, ...] | str


@dataclass(frozen=True)
class Known:
    """What is on record of one car for calculators. `part`: the figures of that part come first."""

    figures: CarFigures = field(default_factory=lambda: CarFigures({}))
    part: str = ""

    def of(self, calculator: Calculator) -> dict[str, Figure]:
        """By input: what the car's record says, in a unit that the input takes; of a `factory_item` the data sheet."""
        now = self.figures.now
        own = next((each.figures for each in self.figures.parts if each.id == self.part), {})
        found = {}
        for each in calculator.inputs:
            if isinstance(each, Numbers):
                continue
            if each.factory_item:
                figure = self.figures.factory.get(each.factory_item)
            else:
                figure = own.get(each.item) or now.get(each.item)
            fitting = _fitting(each, figure) if figure else None
            if fitting is not None:
                found[each.name] = fitting
        return found

    def parts_for(self, calculator: Calculator) -> tuple[Part, ...]:
        """Parts whose own figures (a circuit's cable, say) would fill inputs that no figure of the car fills."""
        now = self.figures.now
        keys = {
            each.item
            for each in calculator.inputs
            if not isinstance(each, Numbers) and each.item and each.item not in now
        }
        return tuple(part for part in self.figures.parts if keys & set(part.figures))


def known_of(vehicle: Vehicle, part: FittedPart | None = None) -> Known:
    """As many queries as `figures_of`, whatever the car's history."""
    return Known(figures_of(vehicle), str(part.pk) if part else "")


def _fitting(of: Input, figure: Figure) -> Figure | None:
    """The figure as this input takes it: in one of its units, one of its choices; None where it is neither."""
    value = figure.value
    if isinstance(of, Number):
        if not isinstance(value, Amount) or value.dimension != of.dimension:
            return None
        if value.unit not in of.unit_codes:
            value = value.to(of.unit)
        return Figure(value, figure.origin, figure.words, figure.sure)
    if not isinstance(value, str):
        return None
    if isinstance(of, Choice) and value not in dict(of.options):
        return None
    return figure


def given_of(inputs: Mapping[str, Value], known: Mapping[str, Figure]) -> dict[str, Given]:
    """Each input with where it came from: from the record what equals the record, typed in what does not."""
    given = {}
    for name, value in inputs.items():
        figure = known.get(name)
        if figure is not None and alike(value, figure.value):
            given[name] = Given(value, figure.origin, figure.words)
        else:
            given[name] = Given(value)
    return given


def alike(one: Value, other: Value) -> bool:
    """The same number, as it would be typed: 1200 and 1200.0000 are, in one unit."""
    if isinstance(one, Amount) and isinstance(other, Amount):
        try:
            return one.to(other.unit).value == other.value
        except UnitError:
            return False
    return one == other


# ------------------------------------------------------------------------------------------- what it is kept with


def subject_named(vehicle: Vehicle, asked: Mapping[str, str]) -> dict[str, Model]:
    """The one thing of this car that `asked` names (`{"fault": uuid}`), by its column; empty: the car alone.

    Raises `LookupError` where there is no such thing of this car, or several are named.
    """
    named = {name: asked[name] for name in SUBJECTS if asked.get(name)}
    if len(named) > 1:
        raise LookupError("A result is kept with one thing.")
    found = {}
    for name, key in named.items():
        rows = Calculation._meta.get_field(name).remote_field.model._default_manager
        # A work line belongs to the room above: its car is that of its job.
        path = "job__vehicle" if name == "line" else "vehicle"
        related = {"line": ("job",), "part": ("place",)}.get(name, ())
        try:
            found[name] = rows.select_related(*related).get(pk=key, **{path: vehicle})
        except (ObjectDoesNotExist, ValidationError, ValueError) as error:
            raise LookupError(f"There is no such {name} of this car.") from error
    return found


def subject_words(subject: Mapping[str, Model]) -> str:
    """ "fault F3 Battery flat", "work line 2 of job 2026-0007"; of no subject "the car"."""
    for name, row in subject.items():
        match name:
            case "line":
                return f"line {row.order} of job {row.job.number}: {row.complaint}"
            case "part":
                return f"{row.description}, {row.where}"
            case "survey":
                return f"the survey of {row.made_at:%-d %b %Y}"
            case _:
                return f"fault {row}"
    return "the car"


@dataclass(frozen=True)
class Offered:
    """Things of one sort that a result may be kept with: the column that points at them, and they with their words."""

    title: str
    name: str
    rows: tuple[tuple[Model, str], ...]


def subjects_offered(vehicle: Vehicle) -> list[Offered]:
    """What is open on this car: its faults, the lines of its jobs, its survey. Three queries."""
    lines = Calculation._meta.get_field("line").remote_field.model._default_manager
    found = (
        ("Open faults", "fault", vehicle.faults.without_end().order_by("-made_at")),
        (
            "Lines of open jobs",
            "line",
            lines.filter(job__in=vehicle.jobs.open(), dropped_because="")
            .select_related("job")
            .order_by("job__year", "job__serial", "order"),
        ),
        ("Survey under way", "survey", vehicle.surveys.filter(finished_at=None)),
    )
    named = [
        Offered(title, name, tuple((row, subject_words({name: row})) for row in rows))
        for title, name, rows in found
    ]
    return [each for each in named if each.rows]


def kept_with(row: Calculation) -> dict[str, Model]:
    """The one thing that a result is kept with, by its column; empty: the car alone."""
    return {name: getattr(row, name) for name in SUBJECTS if getattr(row, f"{name}_id")}


# ------------------------------------------------------------------------------------------------- kept results


def kept(rows: QuerySet[Calculation]) -> list[Calculation]:
    """Kept results for a list, newest first: one query."""
    return list(rows.select_related("made_by", "device").order_by("-made_at", "-pk"))


def kept_of_car(vehicle: Vehicle, most: int | None = None) -> list[Calculation]:
    """The same of all of a car, each with `with_words`: what it is kept with. One query."""
    rows = vehicle.calculations.select_related("made_by", "fault", "part__place", "survey", "line__job")
    found = list(rows.order_by("-made_at", "-pk")[:most])
    for row in found:
        row.with_words = subject_words(kept_with(row))
    return found


def told(row: Calculation) -> dict[str, str | bool]:
    """A kept result in short, as plain data for a print: what, the main value, the verdict, what went in."""
    return {
        "name": str(row),
        "value": row.in_short,
        "verdict": row.data["verdict"] if row.main else "",
        "odd": row.data["odd"],
        "inputs": row.inputs_in_one_line,
        "version": str(row.formula_version),
        "said": row.said,
    }


def worked_out(vehicle: Vehicle, window: Window) -> Iterator[Entry]:
    """Kept results in the car's history."""
    rows = vehicle.calculations.select_related("made_by", "line__job", "fault__job", "part__place", "survey")
    for row in window.rows(rows):
        told = [
            row.entered_in_error and f"kept in error: {row.entered_in_error}",
            # Two results of one calculator are told apart by this before all else.
            f"kept with {subject_words(kept_with(row))}",
            row.main and row.data["verdict"],
            row.said,
            row.inputs_in_one_line,
        ]
        job = row.line.job if row.line_id else row.fault.job if row.fault_id else None
        yield Entry(
            row.made_at, row.pk, f"Worked out: {row}", " · ".join(filter(None, told)), row.get_absolute_url(),
            by=str(row.made_by), job=job, figure="" if row.entered_in_error else row.in_short,
        )  # fmt: skip


add_source(Source("calculation", "calculation", "Calculations", worked_out, person="made_by"))


def units_offered(codes: Iterable[str]) -> list[tuple[str, str]]:
    return [(code, UNITS[code].label or "plain number") for code in codes]


__all__ = [
    "SUBJECTS", "Known", "Offered", "Value", "alike", "given_of", "kept", "kept_of_car", "kept_with", "known_of",
    "subject_named", "subject_words", "subjects_offered", "told", "units_offered",
]  # fmt: skip
