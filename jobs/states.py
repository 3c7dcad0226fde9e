"""The states of a job and every move between them: from where to where, who may make it, whether it needs a reason.

One table. The screens' buttons, the acts and the database's check on recorded moves all come from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from operator import or_

from django.db import models
from django.db.models import Q

from workshop.permissions import May


class JobState(models.TextChoices):
    BOOKED = "booked", "Booked"
    CHECKED_IN = "checked_in", "Checked in"
    IN_WORK = "in_work", "In work"
    FINAL_CHECKS = "final_checks", "Final checks"
    READY = "ready", "Ready for collection"
    HANDED_OVER = "handed_over", "Handed over"
    COLLECTED_UNFINISHED = "collected_unfinished", "Collected unfinished"
    CANCELLED = "cancelled", "Cancelled"

    @property
    def in_the_building(self) -> bool:
        return self in IN_THE_BUILDING

    @property
    def closed(self) -> bool:
        return self in CLOSED


IN_THE_BUILDING = (JobState.CHECKED_IN, JobState.IN_WORK, JobState.FINAL_CHECKS, JobState.READY)
CLOSED = (JobState.HANDED_OVER, JobState.COLLECTED_UNFINISHED, JobState.CANCELLED)


@dataclass(frozen=True)
class Move:
    """One allowed move. `way` says by what it is made: "move" is by hand, all else by the act of that name."""

    from_state: JobState
    to_state: JobState
    may: May
    label: str
    needs_reason: bool = False
    way: str = "move"

    @property
    def by_hand(self) -> bool:
        return self.way == "move"


_S = JobState
MOVES: tuple[Move, ...] = (
    # forwards
    Move(_S.BOOKED, _S.CHECKED_IN, May.CHECK_IN, "Check the car in", way="check_in"),
    Move(_S.CHECKED_IN, _S.IN_WORK, May.MOVE_JOB, "Start work"),
    Move(_S.IN_WORK, _S.FINAL_CHECKS, May.MOVE_JOB, "Go to the final checks"),
    Move(_S.FINAL_CHECKS, _S.READY, May.CALL_READY, "Call the car ready", way="call_ready"),
    Move(_S.READY, _S.HANDED_OVER, May.HAND_OVER, "Hand over", way="hand_over"),
    # back
    Move(_S.FINAL_CHECKS, _S.IN_WORK, May.MOVE_JOB, "Back to work", needs_reason=True),
    Move(_S.READY, _S.IN_WORK, May.MOVE_JOB, "Back to work", needs_reason=True),
    # out
    Move(_S.BOOKED, _S.CANCELLED, May.CANCEL_JOB, "Cancel the booking", needs_reason=True, way="cancel"),
    *(
        Move(
            state,
            _S.COLLECTED_UNFINISHED,
            May.HAND_OVER,
            "Car collected unfinished",
            needs_reason=True,
            way="collect_unfinished",
        )
        for state in IN_THE_BUILDING
    ),
)
TABLE: dict[tuple[JobState, JobState], Move] = {(move.from_state, move.to_state): move for move in MOVES}

# What to do instead of moving a job there by hand.
INSTEAD = {
    JobState.CHECKED_IN: "Check the car in: odometer, fuel, keys and damage are written down there.",
    JobState.READY: "A car is called ready through the gate: see what still blocks handover on the job's page.",
    JobState.HANDED_OVER: "A car leaves by its handover, with its sheet.",
    JobState.COLLECTED_UNFINISHED: "A car leaves by its handover, with its sheet.",
    JobState.CANCELLED: "A booking is cancelled with “Cancel the booking” on the job's page.",
}


def moves_from(state: str, person=None) -> list[Move]:
    """The moves out of a state, forwards first; with `person`, those this person may make."""
    return [move for move in MOVES if move.from_state == state and (person is None or person.may(move.may))]


def why_not(from_state: str, to_state: str) -> str:
    """The sentence for a move that is not in the table: where the job stands, and where it may go from there."""
    here, there = JobState(from_state), JobState(to_state)
    if here == there:
        return f"The job is “{here.label}” already."
    if here.closed:
        return f"The job is over (“{here.label}”). A car that comes back gets a new job."
    goals = ", ".join(f"“{move.to_state.label}”" for move in moves_from(here))
    return f"A job that is “{here.label}” does not go to “{there.label}”. From here it goes to: {goals}."


def pairs(from_field: str, to_field: str, *, with_reason: bool = True) -> Q:
    """Condition for a check constraint: the two columns hold an allowed move (or one that needs no reason)."""
    return reduce(
        or_,
        (
            Q(**{from_field: move.from_state.value, to_field: move.to_state.value})
            for move in MOVES
            if with_reason or not move.needs_reason
        ),
    )
