"""The job page is made of sections. Each subject adds its own beside its views, so that no file knows them all.

    add_section(30, "lines", "jobs/_lines.html", gather)

`gather(request, job)` answers the names that the template reads, in a fixed number of queries whatever the job
holds, or None where there is nothing to draw. The template also sees `job`, `car` and all of the page's context.
What several sections look at is read once: `jobs.picture.picture_of(job)`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.http import HttpRequest

from jobs.models import Job

Gather = Callable[[HttpRequest, Job], dict[str, Any] | None]


@dataclass(frozen=True)
class Section:
    """`side` sections stand in the side column: what blocks, what to do next. `of_parts`: the template is made of
    several parts that are brought up to date one by one (`{% part %}`); every other section is one part.
    """

    order: int
    slug: str
    template: str
    gather: Gather
    side: bool = False
    of_parts: bool = False


@dataclass(frozen=True)
class Gathered:
    """A section with what was gathered for one job, ready for `{% draw section %}`."""

    section: Section
    context: dict[str, Any] = field(default_factory=dict)


_sections: dict[str, Section] = {}


def add_section(
    order: int, slug: str, template: str, gather: Gather, *, side: bool = False, of_parts: bool = False
) -> None:
    """Add a section to the job page, or replace the one with this slug."""
    _sections[slug] = Section(order, slug, template, gather, side, of_parts)


def for_job(request: HttpRequest, job: Job) -> tuple[list[Gathered], list[Gathered]]:
    """Main and side column, in order."""
    columns: tuple[list[Gathered], list[Gathered]] = ([], [])
    for section in sorted(_sections.values(), key=lambda each: (each.order, each.slug)):
        found = section.gather(request, job)
        if found is not None:
            columns[section.side].append(Gathered(section, found))
    return columns
