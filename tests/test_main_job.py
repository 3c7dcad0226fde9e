"""The main job, by hand in the browser: a car comes in, is looked at, repaired, proved, and handed back on paper."""

from __future__ import annotations

import io
import re

import pytest
from django.urls import reverse
from pypdf import PdfReader

from jobs.models import Job, JobState, ProcedureVersion, Run, SheetRevision, TorqueReading, WorkLine
from tests import signing
from tests.hand import Hand, filled
from vehicles.models import Fault, FittedPart, Keeper, OutstandingItem, Place, Survey, Vehicle
from workshop import log
from workshop.models import TorqueTool


@pytest.fixture
def hands(technician, lead, front_desk, shop_owner):
    return Hand(technician), Hand(lead), Hand(front_desk)


def a_calibrated_wrench(lead: Hand, today) -> TorqueTool:
    from datetime import timedelta

    lead.do("workshop:tool-add", on=lead.see("workshop:tools"), label="TW-1", name="click wrench", kind="setting",
            iso_class="II-A", unit="N.m", scale_low="20", scale_high="200")  # fmt: skip
    tool = TorqueTool.objects.get()
    lead.do("workshop:calibration-add", tool, on=lead.see("workshop:tool", tool), calibrated_on=today - timedelta(30),
            due_on=today + timedelta(300), laboratory="Tarn Calibration Room", certificate="TC-1",
            deviation_percent="4", range_low="20", range_high="200", passed="yes")  # fmt: skip
    return tool


def a_released_procedure(lead: Hand) -> ProcedureVersion:
    lead.do("jobs:procedure-add", on=lead.see("jobs:procedures"), title="Wheel nuts, four M12", area="wheels")
    procedure = ProcedureVersion._meta.get_field("procedure").related_model.objects.get()
    lead.do(
        "jobs:version-add",
        procedure,
        on=lead.see("jobs:procedure", procedure),
        source="Halden manual, section 40",
    )
    version = ProcedureVersion.objects.get()
    lead.do("jobs:step-add", version, on=lead.see("jobs:procedure-version", version), title="Wheel to hub",
            fasteners="4", pattern="circle", critical=True, thread="M12x1.5", property_class="10.9",
            nut_factor="0,2", raw={"stage_count": "1", "stage-0-name": "Final", "stage-0-kind": "torque",
            "stage-0-t0-limit": "range", "stage-0-t0-unit": "N.m", "stage-0-t0-low": "100",
            "stage-0-t0-high": "120"})  # fmt: skip
    lead.do("jobs:version-release", version, on=lead.see("jobs:procedure-version", version))
    version.refresh_from_db()
    return version


def test_the_whole_job_by_hand(hands, technician, lead, settings, real_print):
    from django.utils import timezone

    tech, boss, desk = hands
    today = timezone.localdate()
    tool = a_calibrated_wrench(boss, today)
    version = a_released_procedure(boss)

    # A car is taken on, with the people around it.
    desk.do("vehicles:vehicle-add", on=desk.see("vehicles:vehicles"), number="xzh dray0zt1204471", make="Halden",
            model="Drayman", year="2006")  # fmt: skip
    car = Vehicle.objects.get()
    assert car.number == "XZHDRAY0ZT1204471"
    desk.do("vehicles:keeper-add", on=desk.see("vehicles:keepers"), name="Corin Ashby", phone="00 555 0177")
    corin = Keeper.objects.get()
    for part in ("owner", "authoriser"):
        desk.do("vehicles:part-for-add", car, on=desk.see("vehicles:vehicle", car), part=part, keeper=corin)
    desk.do("vehicles:registration-add", car, on=desk.see("vehicles:vehicle", car), plate="tar h 88",
            country="Tarnshire")  # fmt: skip

    # Booked and checked in.
    desk.do("jobs:job-book", car, on=desk.see("vehicles:vehicle", car), title="First look at a used camper",
            complaint="The hand brake only holds when I pull like mad.", payer=corin, authoriser=corin,
            limit="100")  # fmt: skip
    job = Job.objects.get()
    assert job.number == f"{today.year}-0001"
    desk.do("jobs:check-in", job, on=desk.see("jobs:job", job), odometer=["187432", "km"], fuel="2", keys="1",
            damage="None seen.", road_test_consent=True, plates_legal=True)  # fmt: skip
    assert "TAR H 88" in tech.see("jobs:floor")
    tech.do("jobs:job-move", job, on=tech.see("jobs:job", job), query={"to_state": "in_work"})

    # Surveyed: one place is not as the factory made it.
    tech.do("vehicles:survey-start", car, on=tech.see("vehicles:vehicle", car), job=job)
    survey = Survey.objects.get()
    tow_bar = Place.objects.get(pk="tow-bar")
    tech.do("vehicles:survey-part", survey, "tow-bar", description="fixed tow bar", provenance="aftermarket",
            condition="good", supplied_by="earlier", supply_quality="not_known")  # fmt: skip
    assert FittedPart.objects.get().place == tow_bar
    tech.do("vehicles:survey-finish", survey, on=tech.see("vehicles:survey", survey), summary="Brakes first.")

    # A complaint and a finding; what was tried.
    desk.do("vehicles:fault-add", car, on=desk.see("jobs:job", job), kind="complaint", title="Parking brake weak",
            words="It only holds when I pull like mad.", severity="major", reported_by=corin, job=job)  # fmt: skip
    tech.do("vehicles:fault-add", car, kind="finding", title="Hose weeping", severity="minor", job=job)
    brake, hose = Fault.objects.order_by("order")
    tech.do("vehicles:fault-step", brake, on=tech.see("vehicles:fault", brake), tried="Brake tester",
            seen="right side weak", reading=["310", "N"])  # fmt: skip

    # Agreed with the owner, line by line.
    tech.do("jobs:line-add", job, on=tech.see("jobs:job", job), complaint="New parking brake cable",
            faults=[brake], technician=technician)  # fmt: skip
    line = WorkLine.objects.get()
    desk.do("jobs:line-estimate", line, on=desk.see("jobs:line", line), estimate="210,50")
    desk.do("jobs:line-answer", line, on=desk.see("jobs:line", line), answer="yes", given_by=corin, channel="phone",
            right="owner", amount="220")  # fmt: skip

    # Repaired, measured, tightened, checked by somebody else.
    tech.do(
        "jobs:labour-add",
        line,
        on=tech.see("jobs:line", line),
        person=technician,
        day=today,
        minutes=["90", "min"],
    )
    tech.do("jobs:part-fit", line, place=Place.objects.get(pk="parking-brake"), description="cable, right",
            provenance="aftermarket", supplied_by="shop", supply_quality="matching", condition="good",
            part_number="HD-4417-R")  # fmt: skip
    tech.do("jobs:measure", line, on=tech.see("jobs:line", line), what="Parking brake force, right", phase="after",
            reading=["1580", "N"], low="1155", limit_source="70 % of the other side")  # fmt: skip
    tech.do(
        "jobs:run-start",
        line,
        on=tech.see("jobs:line", line),
        procedure=version.procedure,
        where="rear right",
    )
    run = Run.objects.get()
    tighten(tech, run, tool)
    step = version.steps.get()
    response = tech.try_to("jobs:second-check", run, step, method="applied_again", result="in_order")
    assert response.status_code in (403, 422), "who tightened does not check"
    boss.do("jobs:second-check", run, step, on=boss.see("jobs:run", run), method="applied_again",
            result="in_order", tool=tool)  # fmt: skip
    tech.do("jobs:run-complete", run, on=tech.see("jobs:run", run))
    tech.do("jobs:line-finish", line, on=tech.see("jobs:line", line), correction="Cable replaced, adjusted.")
    tech.do("jobs:fault-fix", line, brake, on=tech.see("jobs:line", line), check_made="brake tester: 1580 N",
            confirmed=True)  # fmt: skip
    tech.do("vehicles:fault-outstanding", hose, on=tech.see("vehicles:fault", hose), title="Hose weeps",
            severity="minor", reason="parts", due_on=today.replace(year=today.year + 1, day=1))  # fmt: skip

    # Closed: the gate names what is missing until nothing is.
    tech.do("jobs:job-move", job, on=tech.see("jobs:job", job), query={"to_state": "final_checks"})
    page = boss.see("jobs:job", job)
    assert "road test" in page.lower()
    boss.do("jobs:road-test", job, on=page, driver=lead, driven="Town and hill, 10 km", found="Holds.",
            licence_and_insurance=True, distance=["10", "km"])  # fmt: skip
    boss.do("jobs:final-check", job, on=boss.see("jobs:job", job), new_damage="None.", tools_complete=True,
            parts_complete=True)  # fmt: skip
    boss.do("jobs:call-ready", job, opens="jobs:handover", form="ready_form")
    # What is still asked; then both read the very sheet and sign it on the screen.
    assert reverse("jobs:handover", args=[job.pk]) in boss.see("jobs:job", job)
    asked = boss.client.get(reverse("jobs:handover", args=[job.pk])).context["form"]
    typed = filled(asked, {"odometer": ["187442", "km"], "collected_by": corin, "identified_by": "identity card",
                           "left_how": "driven", "keys_returned": "1"})  # fmt: skip
    signed = signing.hand_over(
        boss.client, reverse("jobs:handover", args=[job.pk]), typed,
        lead_signs="glass", lead_ink=signing.drawing(), collector_signs="glass", collector_ink=signing.drawing(1),
    )  # fmt: skip
    assert signed.status_code == 302

    job.refresh_from_db()
    sheet = SheetRevision.objects.get()
    assert job.state == JobState.HANDED_OVER
    assert sheet.revision == 1
    assert 1 <= sheet.pages <= 3

    text = pdf_text(boss, sheet)
    for words in (
        job.number,
        "XZHDRAY0ZT1204471",
        "187432 km",
        "187442 km",
        "Parking brake weak",
        "New parking brake cable",
        "Cable replaced, adjusted.",
        "HD-4417-R",
        "set 110 N·m, clicked",
        "TC-1",
        "Lida Marchbank",
        "Hose weeps",
        "1580 N",
        "50 km",
    ):
        assert squeeze(words) in text, words
    assert squeeze("110.0") not in text, "a click is no measured value"

    # Confirmed by anybody who holds the sheet, without a person's name.
    page = Hand.__new__(Hand)
    from django.test import Client

    page.client = Client()
    confirmed = page.see("vehicles:confirm", sheet.token)
    assert job.number in confirmed
    assert "Corin" not in confirmed

    # The next visit starts from what is left.
    assert {item.title for item in OutstandingItem.objects.open()} >= {"Hose weeps"}
    assert any(item.due_km == 50 for item in OutstandingItem.objects.open()), "wheel nuts again after 50 km"
    assert log.first_broken_link() is None


def tighten(hand: Hand, run: Run, tool: TorqueTool) -> None:
    """Four nuts to the set value on the run screen, as it offers them one after the other."""
    version = run.version_used
    step, stage = version.steps.get(), version.steps.get().stages.get()
    chosen = link_with(hand.see("jobs:run", run), str(tool.pk))
    for fastener in step.sequence:
        hand.do("jobs:reading-add", run, opens="jobs:run", query={chosen: tool.pk}, step=step, stage=stage, fastener=fastener, kind="clicked",
                reading=["110", "N.m"], tool=tool)  # fmt: skip
    assert TorqueReading.objects.filter(run=run, verdict="within").count() == 4


def link_with(page: str, key: str) -> str:
    """Name of the query's part that chooses `key` on this page."""
    return re.search(rf"[?;&](\w+)={key}", page).group(1)


def pdf_text(hand: Hand, sheet: SheetRevision) -> str:
    from django.urls import reverse

    response = hand.client.get(reverse("jobs:sheet-pdf", args=[sheet.pk]))
    assert response.headers["Content-Type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(response.getvalue()))
    return squeeze(" ".join(page.extract_text() for page in reader.pages))


def squeeze(text: str) -> str:
    """Without blanks: a PDF's lines break where they like."""
    return re.sub(r"\s+", "", text)
