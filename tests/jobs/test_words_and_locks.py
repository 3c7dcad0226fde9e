"""What every act on a job keeps to: typed words stand beside the chain of events, and the car is locked first."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils import timezone

from jobs.acts import answer as answers
from jobs.acts import isolation as isolations
from jobs.acts import job as jobs
from jobs.acts import labour, measurement, roadtest, tag, thing, waiver, work
from jobs.acts import part as parts
from jobs.models import Job, WorkLine
from tests.factories.job import CheckInFactory, JobFactory, job_in, qualify
from tests.factories.work import authorised_line, owner_of
from tests.once import once
from tests.people import by
from vehicles.acts import fault as faults
from vehicles.models import Place, Vehicle
from workshop.engineering.units import Amount
from workshop.models import Event, LogHead

CANARY = "kestrel"


def typed(what: str) -> str:
    return f"{what} {CANARY}"


@once
def owner(car, lead):
    return owner_of(car, lead)


@pytest.fixture
def acts(car, lead, other_technician, owner):
    """Every act of the job card, its lines and what hangs on them, each a function of nothing, in their order."""
    car.high_voltage = True
    car.save()
    qualify(lead)
    me = lambda: by(lead)  # noqa: E731
    made: dict = {}
    alternator, lamps = Place.objects.get(pk="alternator"), Place.objects.get(pk="headlamps")

    def keep(name, act, **arguments):
        def perform():
            called = {key: value() if callable(value) else value for key, value in arguments.items()}
            made[name] = act(by=me(), **called)

        perform.__name__ = name
        return perform

    def of(name, field=""):
        def get():
            record = made[name]
            record.refresh_from_db()
            return getattr(record, field) if field else record

        return get

    job, line, version = of("book"), of("add_line"), of("add_line", "version")
    fault = faults.report_fault(by=me(), vehicle=car, kind="finding", title="Hose weeps", severity="minor")
    return [
        keep("book", jobs.book, vehicle=car, title=typed("title"), complaint=typed("complaint"), limit=10),
        keep("agree_anew", jobs.agree_anew, job=job, seen_version=of("book", "version"), reason=typed("why"),
             title=typed("other title"), complaint=typed("more")),
        keep("check_in", jobs.check_in, job=job, fuel="2", keys=1, keys_where=typed("hook"), damage=typed("dent"),
             belongings=typed("seat"), road_test_consent=True, plates_legal=True, odometer_not_readable=typed("dark")),
        keep("change_check_in", jobs.change_check_in, check_in=of("check_in"), seen_version=1, reason=typed("why"),
             keys_where=typed("box"), belongings=typed("drum")),
        keep("raise_limit", jobs.agree_anew, job=job, seen_version=of("book", "version"), reason=typed("why"),
             limit=Decimal(20), given_by=owner, channel="phone"),
        keep("move", jobs.move, job=job, to_state="in_work"),
        keep("plan", jobs.plan, job=job, seen_version=of("book", "version"), standing_at=typed("lift"),
             waiting_for="parts", waiting_note=typed("cable")),
        keep("pass_on", jobs.pass_on, job=job, to_person=other_technician, loose=typed("hose"),
             fasteners=typed("box 3")),
        keep("set_tag", tag.set_tag, vehicle=car, kind="no_start", because=typed("no oil"), job=job),
        keep("waive", waiver.waive, job=job, blocker=lambda: f"tag:{made['set_tag'].pk}", reason=typed("trailer")),
        keep("lift_tag", tag.lift_tag, tag=of("set_tag"), lifted_because=typed("filled")),
        keep("put_out", thing.put_out, job=job, kind="car_part", what=typed("cover"), where=typed("rack")),
        keep("bring_back", thing.bring_back, thing=of("put_out")),
        keep("isolate", isolations.isolate, job=job, isolated_by=lead, method=typed("pulled"),
             proved_dead=typed("tester"), locked_with=typed("padlock")),
        keep("re_energise", isolations.re_energise, isolation=of("isolate"), note=typed("covers on")),
        keep("add_line", work.add_line, job=job, complaint=typed("squeals"), faults=[fault]),
        keep("write_line", work.write_line, line=line, seen_version=version, complaint=typed("howls"),
             cause=typed("glazed"), correction=typed("cleaned")),
        keep("estimate_line", answers.estimate_line, line=line, seen_version=version, estimate=Decimal(90)),
        keep("record_answer", answers.record_answer, line=line, answer="yes", given_by=owner, channel="phone",
             right=typed("owner"), words=typed("do it"), amount=Decimal(400)),
        keep("add_labour", labour.add_labour, line=line, person=lead, day=timezone.localdate(), minutes=5,
             note=typed("looked")),
        keep("strike_labour", labour.strike_labour, entry=of("add_labour"), reason=typed("not me")),
        keep("use_part", labour.use_part, line=line, description=typed("hose"), part_number=typed("BH")),
        keep("strike_part", labour.strike_part_used, used=of("use_part"), reason=typed("none")),
        keep("measure", measurement.measure, line=line, what=typed("pad"), phase="before", place=lamps,
             position="left", reading=Amount(Decimal(3), "mm"), low=Decimal(2), limit_source=typed("sheet"),
             instrument=typed("gauge"), note=typed("worn")),
        keep("strike_measurement", measurement.strike_measurement, measurement=of("measure"), reason=typed("slip")),
        keep("fit_part", parts.fit_part, line=line, place=alternator, description=typed("alternator"),
             provenance="aftermarket", part_number="AL-1", invoice=typed("invoice"), old_description=typed("old one"),
             factory_fits=typed("90 A"), follows=typed("belt"), whereabouts="core", whereabouts_note=typed("to Marl"),
             note=typed("tight"), on_trial=True),
        keep("keep_trial", parts.keep_trial, line=line, part=lambda: made["fit_part"].part_on, note=typed("stays")),
        keep("refit_part", parts.refit_part, line=line, part=lambda: made["fit_part"].part_on, note=typed("off")),
        keep("remove_part", parts.remove_part, line=line, part=lambda: made["fit_part"].part_on, whereabouts="kept",
             whereabouts_note=typed("shelf"), note=typed("off")),
        keep("put_back", parts.put_back, line=line, part=lambda: made["remove_part"].part_off, note=typed("on")),
        keep("finish_line", work.finish_line, line=line, seen_version=version, correction=typed("bedded in")),
        keep("reopen_line", work.reopen_line, line=line, reason=typed("again")),
        keep("finish_again", work.finish_line, line=line, seen_version=version, correction=typed("bedded in")),
        keep("end_fixed", work.end_fixed, fault=fault, line=line, check_made=typed("dry")),
        keep("other_line", work.add_line, job=job, complaint=typed("wiper"), kind="make_safe"),
        keep("tell", answers.tell_made_safe, line=of("other_line"), told_to=owner, channel="phone",
             told=typed("secured")),
        keep("drop_line", work.drop_line, line=of("other_line"), seen_version=of("other_line", "version"),
             dropped_because=typed("not wanted")),
        keep("road_test", roadtest.record_road_test, job=job, driver=lead, driven=typed("hill"), found=typed("quiet"),
             licence_and_insurance=True),
        keep("no_road_test", roadtest.record_road_test, job=job, not_done_because=typed("ice")),
        keep("final_check", roadtest.final_check, job=job, new_damage=typed("none"), tools_complete=False,
             parts_complete=True, note=typed("socket")),
    ]  # fmt: skip


def test_no_typed_word_stands_in_the_chain(acts):
    for perform in acts:
        perform()
    assert Event.objects.count() > len(acts)
    leaks = [event.act for event in Event.objects.filter(body__icontains=CANARY)]
    assert leaks == []


def test_every_act_locks_the_car_then_the_job_then_the_line(acts, monkeypatch):
    """What the gate looks at is the car's, so that is what keeps two acts apart; and a plain lock would deadlock."""
    locks: list = []
    lock = QuerySet.select_for_update

    def watched(self, *args, **kwargs):
        locks.append((self.model, kwargs.get("no_key", False)))
        return lock(self, *args, **kwargs)

    acts[0]()  # a booking changes no record that another act could be changing
    monkeypatch.setattr(QuerySet, "select_for_update", watched)
    for perform in acts[1:]:
        locks.clear()
        perform()
        mine = [(model, no_key) for model, no_key in locks if model is not LogHead]
        first_seen = list(dict.fromkeys(model for model, _ in mine))
        assert first_seen[0] is Vehicle, perform.__name__
        ranked = [model for model in first_seen if model in (Vehicle, Job, WorkLine)]
        assert ranked == sorted(ranked, key=[Vehicle, Job, WorkLine].index), perform.__name__
        assert all(no_key for _, no_key in mine), perform.__name__


@pytest.mark.parametrize(
    "late",
    ["labour", "use_part", "measure", "finish", "road_test", "final_check", "pass_on", "put_out"],
)
def test_nothing_is_done_at_the_car_before_it_came_in(late, car, lead, other_technician, owner):
    now = timezone.now()
    job = JobFactory(person=lead, vehicle=car, made_at=now - timedelta(days=3))
    CheckInFactory(person=lead, job=job, made_at=now - timedelta(hours=1))
    jobs.move(by=by(lead), job=job, to_state="in_work")
    line = authorised_line(job=job, person=lead, owner=owner)
    early = by(lead, made_at=now - timedelta(hours=2))
    perform = {
        "labour": lambda: labour.add_labour(
            by=early, line=line, person=lead, day=timezone.localdate(), minutes=5
        ),
        "use_part": lambda: labour.use_part(by=early, line=line, description="hose"),
        "measure": lambda: measurement.measure(
            by=early, line=line, what="x", phase="after", reading=Amount(Decimal(1), "mm")
        ),
        "finish": lambda: work.finish_line(by=early, line=line, seen_version=line.version, correction="done"),
        "road_test": lambda: roadtest.record_road_test(by=early, job=job, not_done_because="ice"),
        "final_check": lambda: roadtest.final_check(
            by=early, job=job, new_damage="none", tools_complete=True, parts_complete=True
        ),
        "pass_on": lambda: jobs.pass_on(
            by=early, job=job, to_person=other_technician, loose="a", fasteners="b"
        ),
        "put_out": lambda: thing.put_out(by=early, job=job, kind="car_part", what="a", where="b"),
    }[late]
    with pytest.raises(ValidationError, match="The car came in at") as refused:
        perform()
    assert list(refused.value.error_dict) == ["made_at"]
    [sentence] = refused.value.message_dict["made_at"]
    assert "is before that" in sentence  # with both times


def test_a_line_is_not_done_before_it_was_written(car, lead, owner):
    job = job_in("in_work", person=lead, vehicle=car, made_at=timezone.now() - timedelta(days=1))
    line = authorised_line(job=job, person=lead, owner=owner)
    with pytest.raises(ValidationError, match="The line was written at") as refused:
        work.finish_line(
            by=by(lead, made_at=line.made_at - timedelta(minutes=2)),
            line=line,
            seen_version=line.version,
            correction="done",
        )
    assert list(refused.value.error_dict) == ["made_at"]
