"""Jobs that are about to leave, and that have left: made through the acts from booking on. All invented."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import factory
from django.utils import timezone

from jobs.acts import answer as answer_acts
from jobs.acts import handover as acts
from jobs.acts import job as job_acts
from jobs.acts import labour as labour_acts
from jobs.acts import measurement as measurement_acts
from jobs.acts import part as part_acts
from jobs.acts import roadtest as test_acts
from jobs.acts import second_check as second_check_acts
from jobs.acts import torque as torque_acts
from jobs.acts import work as work_acts
from jobs.models import Job, SheetRevision, WorkLine
from tests.factories.fault import FaultFactory
from tests.factories.job import CheckInFactory, JobFactory, RoadTestFactory
from tests.factories.keeper import KeeperFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.procedure import ProcedureFactory
from tests.factories.run import RunFactory, click_all, step_of
from tests.factories.tool import ToolFactory
from tests.people import by
from vehicles.acts import fault as fault_acts
from vehicles.acts import keeper as keeper_acts
from vehicles.acts import outstanding as outstanding_acts
from vehicles.acts import part as car_part_acts
from vehicles.acts import vehicle as vehicle_acts
from vehicles.models import Keeper, Place
from workshop.engineering.units import Amount

OUT = Amount(Decimal(148_223), "km")


def owner_of(car, person, name: str = "Corin Ashby", **fields) -> Keeper:
    """An owner on record: may authorise and collect."""
    keeper = KeeperFactory.create(person=person, name=name, **fields)
    keeper_acts.add_part_for(by=by(person), vehicle=car, keeper=keeper, part="owner")
    return keeper


def authorised(line: WorkLine, keeper: Keeper, person, amount="100.00") -> WorkLine:
    line.refresh_from_db()
    answer_acts.estimate_line(
        by=by(person), line=line, seen_version=line.version, estimate=Decimal(amount), cost=None
    )
    answer_acts.record_answer(
        by=by(person), line=line, answer="yes", given_by=keeper, right="owner", channel="phone",
        amount=Decimal(amount),
    )  # fmt: skip
    line.refresh_from_db()
    return line


def done_line(job: Job, keeper: Keeper, person, complaint="Squeals when braking", **fields) -> WorkLine:
    """A line from complaint to done."""
    texts = {
        "cause": fields.pop("cause", "Pads worn to the plate."),
        "correction": fields.pop("correction", "Front pads renewed, guides cleaned and greased."),
    }
    amount = fields.pop("amount", "100.00")
    line = work_acts.add_line(by=by(person), job=job, complaint=complaint, **fields)
    authorised(line, keeper, person, amount)
    work_acts.write_line(by=by(person), line=line, seen_version=line.version, **texts)
    line.refresh_from_db()
    return line


def finish(line: WorkLine, person) -> WorkLine:
    line.refresh_from_db()
    return work_acts.finish_line(by=by(person), line=line, seen_version=line.version)


def in_work(car, keeper: Keeper, person, **fields) -> Job:
    """Checked in and in work, with nothing on it."""
    job = JobFactory(person=person, vehicle=car, payer=keeper, authoriser=keeper, **fields)
    CheckInFactory(person=person, job=job, keys=2, brought_by=keeper)
    job_acts.move(by=by(person), job=job, to_state="in_work")
    job.refresh_from_db()
    return job


def to_final_checks(job: Job, person) -> Job:
    """Road test, final check, and on to the final checks."""
    RoadTestFactory(person=person, job=job)
    test_acts.final_check(by=by(person), job=job, new_damage="none", tools_complete=True, parts_complete=True)
    job_acts.move(by=by(person), job=job, to_state="final_checks")
    job.refresh_from_db()
    return job


class ReadyJobFactory(factory.django.DjangoModelFactory):
    """A job that was called ready through the gate, with one line done. Give `person` (a lead), `vehicle`, `keeper`."""

    class Meta:
        model = Job

    title = "Brakes"
    complaint = "It squeals when I brake in the morning."

    @classmethod
    def _create(cls, model_class, *args, person, vehicle, keeper, **fields):
        job = in_work(vehicle, keeper, person, **fields)
        finish(done_line(job, keeper, person), person)
        to_final_checks(job, person)
        acts.call_ready(by=by(person), job=job)
        job.refresh_from_db()
        return job


def leaving(keeper: Keeper, **fields) -> dict:
    """What the handover form asks for, filled in."""
    return {
        "collected_by": keeper,
        "identified_by": "known by sight",
        "left_how": "driven",
        "keys_returned": 2,
        "told": "Pads run in gently for 200 km.",
        "odometer": OUT,
        **fields,
    }


class HandedOverFactory(factory.django.DjangoModelFactory):
    """The sheet of a job that was handed over. Give `person` (a lead), `vehicle`, `keeper`."""

    class Meta:
        model = SheetRevision

    @classmethod
    def _create(cls, model_class, *args, person, vehicle, keeper, key=None, **fields):
        job = ReadyJobFactory(person=person, vehicle=vehicle, keeper=keeper)
        return acts.hand_over(by=by(person), job=job, **leaving(keeper, **fields))


# Two wheel nuts and a tow bar: the second is a critical joint with a hold point.
TOW_BAR = {
    "title": "Tow bar to chassis",
    "fasteners": 8,
    "pattern": "grid",
    "rows": 2,
    "columns": 4,
    "critical": True,
    "stages": [
        {"name": "Snug", "value": "40", "tolerance_percent": "20", "unit": "N.m"},
        {"name": "Final", "value": "110", "unit": "N.m"},
    ],
}


def critical_run(line: WorkLine, person, **fields):
    """A run of a critical joint on this line, just started."""
    procedure = ProcedureFactory(
        person=person,
        title=fields.pop("title", "Tow bar bolts M12"),
        area="towing",
        steps=[TOW_BAR],
        version={"recheck_km": Decimal(100), "recheck_note": "tow bar bolts", "cautions": "Car on stands."},
    )
    return RunFactory(person=person, line=line, procedure=procedure, where=fields.pop("where", "rear"))


def rich_job(car, lead, technician, other, desk) -> Job:
    """A middling visit with something in every section of the sheet, ready for handover."""
    keeper = owner_of(car, desk, name="Corin Ashby", address="2 Mill Rise\nBrackwater", phone="0000 1234")
    vehicle_acts.add_registration(by=by(desk), vehicle=car, plate="QX 06 HLD", from_on=date(2024, 3, 1))
    job = in_work(
        car, keeper, lead, title="Flat battery, tow bar and brakes before a long trip",
        complaint="After two nights it does not start. And the tow bar is a bit loose, can you look? "
        "We leave for the coast on Friday.",
        limit=Decimal(120),
    )  # fmt: skip
    flat = FaultFactory(
        person=desk, vehicle=car, job=job, title="Battery flat after two nights", severity="major"
    )
    loose = FaultFactory(
        person=desk, vehicle=car, job=job, title="Tow bar loose", severity="dangerous", words=""
    )
    brake = FaultFactory(
        person=technician, vehicle=car, job=job, kind="finding", severity="major", words="",
        title="Parking brake holds on the left side only",
    )  # fmt: skip
    tick = FaultFactory(
        person=desk, vehicle=car, job=job, title="Ticking after switching off", severity="minor"
    )
    hose = FaultFactory(
        person=technician, vehicle=car, job=job, kind="finding", severity="minor", words="",
        title="Power-steering hose weeps at the crimp",
    )  # fmt: skip

    drain = done_line(
        job, keeper, lead, complaint="Find the drain and put it right", faults=[flat], technician=technician,
        cause="The relay of the fridge stayed closed: 420 mA with everything off.",
        correction="Relay rewired to the ignition-switched supply, 10 A fuse added beside it. 28 mA afterwards.",
        amount="186.50",
    )  # fmt: skip
    labour_acts.add_labour(
        by=by(technician), line=drain, person=technician, day=timezone.localdate(), minutes=95
    )
    labour_acts.use_part(by=by(technician), line=drain, description="Relay 12 V 30 A", part_number="RL-1230",
                         quantity=Decimal(1), price=Decimal("14.90"))  # fmt: skip
    for phase, value in (("before", "420"), ("after", "28")):
        measurement_acts.measure(
            by=by(technician), line=drain, what="Current with everything off", phase=phase,
            reading=Amount(Decimal(value), "mA"), high=Decimal(50), limit_source="maker's workshop data, sheet 8-12",
            instrument="Clamp meter CM-2",
        )  # fmt: skip
    finish(drain, technician)
    work_acts.end_fixed(
        by=by(technician), fault=flat, line=drain, check_made="28 mA after 20 minutes' rest, limit 50"
    )

    bar = done_line(
        job, keeper, lead, complaint="Secure the tow bar", faults=[loose], technician=technician, amount="142.00",
        cause="Eight bolts of property class 5.8 where the maker of the bar asks for 10.9, two of them loose.",
        correction="Eight new bolts M12 × 1.75 of class 10.9 fitted, tightened by procedure, second check made.",
    )  # fmt: skip
    tow = Place.objects.get(pk="tow-bar")
    car_part_acts.record_part(
        by=by(technician), vehicle=car, place=tow, description="Tow bar, maker unknown", provenance="unknown"
    )
    part_acts.fit_part(
        by=by(technician), line=bar, place=tow, description="Tow bar with type plate", part_number="TB-6640",
        provenance="aftermarket", supply_quality="matching", evidence=[("part_number", "TB-6640 on the plate")],
        whereabouts="kept", whereabouts_note="shelf 4, until the owner has seen it",
    )  # fmt: skip
    run = critical_run(bar, lead)
    tool = ToolFactory(person=lead)
    click_all(technician, run, tool, values=(40, 110))
    second_check_acts.second_check(by=by(other), run=run, step=step_of(run), method="mark_sighted")
    torque_acts.complete_run(by=by(technician), run=run)
    labour_acts.use_part(by=by(technician), line=bar, description="Bolt M12 × 45 10.9", quantity=Decimal(8),
                         price=Decimal("2.35"))  # fmt: skip
    labour_acts.use_part(by=by(technician), line=bar, description="Tow bar TB-6640", own_part=True)
    finish(bar, technician)
    work_acts.end_fixed(
        by=by(technician), fault=loose, line=bar, check_made="No play at 500 N, bar pulled by hand"
    )

    hand = done_line(
        job, keeper, lead, complaint="Parking brake uneven", faults=[brake], technician=other, amount="96.00",
        cause="Right cable seized in its sheath.", correction="Right cable renewed, both sides set.",
    )  # fmt: skip
    place = Place.objects.get(pk="parking-brake")
    for phase, left, right in (("before", "1.9", "0.3"), ("after", "2.1", "2.0")):
        for side, value in (("left", left), ("right", right)):
            measurement_acts.measure(
                by=by(other),
                line=hand,
                what=f"Parking brake force, rear {side}",
                phase=phase,
                place=place,
                reading=Amount(Decimal(value), "kN"),
                instrument="Roller tester",
            )
    finish(hand, other)
    work_acts.end_fixed(by=by(other), fault=brake, line=hand, check_made="Both sides hold on the ramp, 16 %")

    tyres = work_acts.add_line(by=by(lead), job=job, complaint="Four tyres of the right load index")
    answer_acts.estimate_line(by=by(lead), line=tyres, seen_version=tyres.version, estimate=Decimal("612.00"))
    answer_acts.record_answer(by=by(desk), line=tyres, answer="later", given_by=keeper, right="owner", channel="phone",
                              words="After the trip.")  # fmt: skip
    danger = ItemFactory(
        person=lead, vehicle=car, severity="dangerous", reason="deferred", raised_in=job,
        raised_by_line=tyres, title="Tyres: load index too low for the real weight",
        detail="Rear axle 1640 kg on the weighbridge; the tyres carry 1500 kg. A tyre can fail under load.",
        due_on=timezone.localdate() + timedelta(days=7),
    )  # fmt: skip
    outstanding_acts.tell(
        by=by(lead), item=danger, told_to=keeper, channel="phone", job=job,
        told="Not to be loaded, and not above 80 km/h, before the tyres are changed.", answer="deferred",
        answer_words="We will take the small tent then.",
    )  # fmt: skip
    hose_item = ItemFactory(
        person=technician, vehicle=car, severity="minor", reason="parts", raised_in=job,
        title="Power-steering hose weeps", detail="Hose ordered. Level marked at maximum.",
    )  # fmt: skip
    ItemFactory(
        person=lead, vehicle=car, severity="advice", reason="beyond", raised_in=job,
        title="Swivel seats: find the papers of the converter",
    )  # fmt: skip
    hose.refresh_from_db()
    fault_acts.end_outstanding(by=by(technician), fault=hose, seen_version=hose.version, item=hose_item)
    fault_acts.end_normal(
        by=by(technician),
        fault=tick,
        seen_version=tick.version,
        normal_source="maker's owner's handbook, page 212",
    )
    to_final_checks(job, lead)
    return job
