"""The car all round: for one job, what was photographed from which angle at check-in and before handover."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from jobs.models import AngleNotPossible, Job
from vehicles.models import Angle, Attachment, Occasion

LATE = timedelta(hours=2)


@dataclass
class Shot:
    """One angle on one occasion: its photos (the latest counts), or why there is none."""

    angle: Angle
    photos: list[Attachment] = field(default_factory=list)
    not_possible: AngleNotPossible | None = None

    @property
    def photo(self) -> Attachment | None:
        return self.photos[-1] if self.photos else None

    @property
    def done(self) -> bool:
        return bool(self.photos or self.not_possible)

    @property
    def state(self) -> str:
        """ "photo", "not_possible" or "missing"."""
        if self.photos:
            return "photo"
        return "not_possible" if self.not_possible else "missing"


@dataclass
class Round:
    """All angles of one occasion, in the order of the walk."""

    occasion: Occasion
    shots: list[Shot]

    @property
    def done(self) -> int:
        return sum(shot.done for shot in self.shots)

    @property
    def total(self) -> int:
        return len(self.shots)

    @property
    def complete(self) -> bool:
        return self.done == self.total

    @property
    def begun(self) -> bool:
        return self.done > 0

    @property
    def next(self) -> Shot | None:
        return next((shot for shot in self.shots if not shot.done), None)

    @property
    def photos(self) -> list[Attachment]:
        return [shot.photo for shot in self.shots if shot.photo]

    def span(self) -> tuple[datetime, datetime] | None:
        """First and last moment of its pictures; None without any."""
        moments = [photo.taken_or_made for shot in self.shots for photo in shot.photos]
        return (min(moments), max(moments)) if moments else None


def rounds(job: Job, photos: Iterable[Attachment] | None = None) -> dict[str, Round]:
    """Both sets of a job: two queries, whatever they hold; one where the job's photos are given."""
    found = {occasion: {angle: Shot(angle) for angle in Angle} for occasion in Occasion}
    if photos is None:
        photos = Attachment.objects.shown().filter(job=job).exclude(angle="").select_related("made_by")
    for photo in photos:
        found[Occasion(photo.occasion)][Angle(photo.angle)].photos.append(photo)
    for row in AngleNotPossible.objects.filter(job=job).select_related("made_by"):
        found[Occasion(row.occasion)][Angle(row.angle)].not_possible = row
    return {occasion.value: Round(occasion, list(shots.values())) for occasion, shots in found.items()}


def late_words(photo: Attachment, job: Job) -> str:
    """What a check-in picture says that was added long after check-in; empty else. Reads `job.check_in`."""
    check_in = getattr(job, "check_in", None)
    if photo.occasion != Occasion.CHECK_IN or check_in is None or photo.made_at <= check_in.made_at + LATE:
        return ""
    gap = photo.made_at - check_in.made_at
    hours = int(gap.total_seconds() // 3600)
    span = f"{hours} hours" if hours < 48 else f"{gap.days} days"
    return f"added {span} after check-in"
