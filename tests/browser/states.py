"""Records in states that the demo has none of, made upon it, and the pages that show them: rows for the sweep."""

from __future__ import annotations

from datetime import timedelta

from django.urls import reverse
from django.utils import timezone

from jobs.acts import procedure as procedure_acts
from jobs.acts import procedure_step as step_acts
from jobs.models import WorkLine
from tests.factories.procedure import WHEEL, ProcedureFactory
from tests.factories.run import RunFactory, click, click_all
from tests.factories.tool import CalibrationFactory, ToolFactory
from tests.people import by
from vehicles.models import Keeper
from workshop.acts import devices, people
from workshop.models import Device, Person

Row = tuple[str, str, int, str]


def of_the_house() -> list[Row]:
    """Competences and calibrations that are good, due soon, past and withdrawn; a device in use and one lost."""
    owner, lead, technician = (Person.objects.get(sign_in_name=name) for name in ("silvan", "lida", "tamsin"))
    today = timezone.localdate()
    for kind, number, days in (
        ("high_voltage", "HV-1", 12),
        ("airbags", "AB-2", -3),
        ("lifting", "LE-3", None),
    ):
        row = people.add_competence(
            by=by(owner), person=technician, kind=kind, certificate=f"{number}, Tarn Training Hall",
            valid_from=today - timedelta(days=400),
            expires_on=today + timedelta(days=days) if days is not None else None,
        )  # fmt: skip
    people.withdraw_competence(by=by(owner), competence=row, from_on=today, reason="Refresher not taken.")
    tool = ToolFactory(person=lead, label="TW-71", calibrated=False)
    CalibrationFactory(
        person=lead, tool=tool, calibrated_on=today - timedelta(days=360), due_on=today + timedelta(days=5)
    )
    device = Device.objects.create(name="Tablet, bay two")
    lost = Device.objects.create(name="Old telephone")
    devices.revoke_device(by=by(lead), device=lost, reason="Lost on a road test.")
    good = technician.competences.get(certificate__startswith="HV-1")
    return [
        (reverse("workshop:shop-change"), "silvan", 200, "axe"),
        (reverse("workshop:person", args=[technician.pk]), "silvan", 200, "axe"),
        (reverse("workshop:person-add"), "silvan", 200, "axe"),
        (reverse("workshop:competence-withdraw", args=[good.pk]), "silvan", 200, "axe"),
        (reverse("workshop:device", args=[device.pk]), "silvan", 200, "axe"),
        (reverse("workshop:device", args=[lost.pk]), "silvan", 200, "axe"),
        (reverse("workshop:calibrations"), "silvan", 200, "axe"),
        (f"{reverse('workshop:log')}?act=revoke&day=nonsense", "silvan", 200, "axe"),
        (reverse("vehicles:keeper-erase", args=[Keeper.objects.get(name="Corin Ashby").pk]), "silvan", 200, "axe"),
    ]  # fmt: skip


def of_a_procedure(line: WorkLine) -> list[Row]:
    """A procedure with a released version and a draft, a reading below its limit, a step that waits for its check."""
    lead, technician = (Person.objects.get(sign_in_name=name) for name in ("lida", "tamsin"))
    tool = ToolFactory(person=lead, label="TW-72")
    procedure = ProcedureFactory(person=lead, title="Hub", steps=[{**WHEEL, "critical": True}])
    run, checked = (
        RunFactory(person=lead, line=line, procedure=procedure, where=where)
        for where in ("rear left", "rear right")
    )
    low = click(technician, run, 1, 1, 50, tool)
    click_all(technician, checked, tool)
    draft = procedure_acts.copy_released(by=by(lead), procedure=procedure)
    step = draft.steps.get()
    step_acts.rewrite_step(
        by=by(lead), step=step, fasteners=6, stages=[{**WHEEL["stages"][0], "value": "65"}]
    )
    at = f"step={low.step_id}&stage={low.stage_id}&fastener=1"
    pages = (
        procedure.get_absolute_url(),
        draft.get_absolute_url(),
        reverse("jobs:step-write", args=[step.pk]),
        reverse("jobs:version-preview", args=[draft.pk]),
        reverse("jobs:versions-compare", args=[procedure.pk]),
        reverse("jobs:version-release", args=[draft.pk]),
        f"{run.get_absolute_url()}?{at}",
        f"{run.get_absolute_url()}?do=correct&reading={low.pk}",
        checked.get_absolute_url(),
    )
    return [(page, "lida", 200, "axe") for page in pages]
