"""Every URL, as every role and as nobody, on the demo's records: who may open it, and what the page is like."""

from __future__ import annotations

import io
import json
import re
import tempfile
from html.parser import HTMLParser
from pathlib import Path
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client, override_settings
from django.urls import get_resolver, reverse
from django.utils import timezone
from pypdf import PdfReader

from jobs import demo, sheets
from jobs.models import (
    Damage,
    Isolation,
    Job,
    LabourClock,
    Run,
    SheetRevision,
    Tag,
    ThingOut,
    TorqueReading,
    WorkLine,
)
from tests.once import made_once
from tests.pages import EVERYBODY, PUBLIC, WHO
from tests.people import CAST, by, make_person
from vehicles.acts import calculation as calculation_acts
from vehicles.acts import due as due_acts
from vehicles.acts import fault as fault_acts
from vehicles.acts import issued as issued_acts
from vehicles.acts import share as share_acts
from vehicles.audience import Shows
from vehicles.models import (
    Attachment,
    Calculation,
    DataSheet,
    DrainStep,
    DrainTest,
    Fault,
    Figure,
    FittedPart,
    Instrument,
    IssuedPrint,
    Keeper,
    MaintenanceDone,
    MaintenanceInterval,
    OdometerReading,
    OutstandingItem,
    PastWork,
    Possibility,
    Registration,
    RoadworthinessTest,
    Share,
    SpreadsheetList,
    Survey,
    Vehicle,
    VehicleKeeper,
)
from workshop import sheets as printing
from workshop.acts import passes as pass_acts
from workshop.engineering.catalogue import find
from workshop.engineering.command import read_inputs
from workshop.models import Competence, Device, Event, OneTimePass, Person, PinLock, TorqueTool
from workshop.tokens import new_token, token_hash

pytestmark = [pytest.mark.xdist_group("played demo")]


def urls() -> dict[str, str]:
    """Name with namespace → pattern, of every URL that the app answers."""
    found: dict[str, str] = {}

    def walk(patterns, namespace):
        for entry in patterns:
            if hasattr(entry, "url_patterns"):
                walk(entry.url_patterns, f"{entry.namespace}:" if entry.namespace else namespace)
            else:
                found[f"{namespace}{entry.name}"] = str(entry.pattern)

    walk(get_resolver().url_patterns, "")
    return found


def played() -> dict[str, Person]:
    """The demo's records, and the cast of the tests."""
    with tempfile.TemporaryDirectory() as folder:
        demo.play(demo.Demo.open(Path(folder)), lambda text: None)
    people = {key: make_person(f"{name} of the tests", role) for key, (name, role) in CAST.items()}
    # The tests' car owner is the scenario's: the keeper's account is what opens their own pages.
    return {**people, "car_owner": Person.objects.get(sign_in_name="corin")}


world = made_once(played)


def arguments() -> dict[str, object]:
    """One record for each name that URL patterns use, all of the main story's car."""
    car = Vehicle.objects.get(make="Halden")
    job = Job.objects.get(vehicle=car)
    line = WorkLine.objects.get(job=job, complaint__startswith="Free the parking")
    run = Run.objects.filter(line=line).first()
    version = run.version_used
    return {
        "vehicle_id": car.pk,
        "registration_id": Registration.objects.filter(vehicle=car).first().pk,
        "part_for_id": VehicleKeeper.objects.filter(vehicle=car).first().pk,
        "keeper_id": Keeper.objects.get(name="Corin Ashby").pk,
        "instrument_id": Instrument.objects.filter(vehicle=car).first().pk,
        "part_id": FittedPart.objects.filter(vehicle=car, removed_at=None).first().pk,
        "data_sheet_id": DataSheet.objects.exclude(based_on=None).first().pk,
        "figure_id": Figure.objects.current().filter(part=None).first().pk,
        "survey_id": Survey.objects.get(vehicle__make="Ostra").pk,
        "place_slug": "tow-bar",
        "field": "cause",
        "zone": "brakes",
        "fault_id": Fault.objects.filter(vehicle=car, lines=line).first().pk,
        "calculator_slug": "torque-with-extension",
        "calculation_id": (Calculation.objects.first() or _calculation(car)).pk,
        "possibility_id": (Possibility.objects.first() or _possibility(car)).pk,
        "test_id": DrainTest.objects.first().pk,
        "drain_step_id": DrainStep.objects.first().pk,
        "item_id": OutstandingItem.objects.filter(vehicle=car).first().pk,
        "job_id": job.pk,
        "line_id": line.pk,
        "run_id": run.pk,
        "procedure_id": version.procedure_id,
        "version_id": version.pk,
        "step_id": version.steps.first().pk,
        "stage_id": version.steps.first().stages.first().pk,
        "reading_id": TorqueReading.objects.filter(run=run).first().pk,
        "tag_id": Tag.objects.first().pk,
        "clock_id": LabourClock.objects.first().pk,
        "thing_id": ThingOut.objects.first().pk,
        "isolation_id": Isolation.objects.first().pk,
        "tool_id": TorqueTool.objects.first().pk,
        "sheet_id": SheetRevision.objects.get(job=job).pk,
        "token": SheetRevision.objects.get(job=job).token,
        "person_id": Person.objects.get(sign_in_name="tamsin").pk,
        "competence_id": Competence.objects.first().pk,
        "device_id": Device.objects.first().pk,
        "pass_id": (one_time := _pass()).pk,
        "pass_token": one_time.token,
        "lock_id": (PinLock.objects.first() or _pin_lock()).pk,
        "seq": Event.objects.filter(detail__isnull=False).first().pk,
        "part": "lead",
        "share_id": _share().pk,
        "print_id": (IssuedPrint.objects.filter(vehicle=car).first() or _print(car)).pk,
        "list_id": SpreadsheetList.objects.get(kind="past").pk,
        "past_work_id": PastWork.objects.first().pk,
        "kind": "cars",
        "key": uuid4(),
        "interval_id": MaintenanceInterval.objects.current().first().pk,
        "done_id": MaintenanceDone.objects.first().pk,
        "roadworthiness_id": RoadworthinessTest.objects.first().pk,
        "feed_token": _feed(),
        "photo_id": Attachment.objects.filter(vehicle=car, kind="photo").first().pk,
        "damage_id": Damage.objects.first().pk,
        "occasion": "check_in",
        "angle": "roof",
    }


def _possibility(car: Vehicle) -> Possibility:
    """On a fault that is open: where the demo notes none, one is noted here."""
    lead = Person.objects.get(sign_in_name="lida")
    fault = fault_acts.report_fault(
        by=by(lead), vehicle=car, kind="finding", title="Ticks when cold", severity="minor"
    )
    return fault_acts.add_possibility(by=by(lead), fault=fault, what="exhaust manifold gasket")


def _calculation(car: Vehicle) -> Calculation:
    """Where the demo keeps no result of a calculator, one is kept here."""
    lead = Person.objects.get(sign_in_name="lida")
    chosen = find("torque-with-extension")
    inputs = {name: given.value for name, given in read_inputs(chosen, chosen.example.items()).items()}
    return calculation_acts.keep_result(by=by(lead), vehicle=car, calculator=chosen.slug, inputs=inputs)


def _pass() -> OneTimePass:
    """Made anew: the link of an earlier one is not known to anybody."""
    desk, owner = (Person.objects.get(sign_in_name=name) for name in ("fern", "corin"))
    return pass_acts.issue_pass(by=by(desk), person=owner, way="counter")


def _pin_lock() -> PinLock:
    now = timezone.now()
    person, device = Person.objects.get(sign_in_name="tamsin"), Device.objects.first()
    return PinLock.objects.create(person=person, device=device, locked_at=now, locked_until=now, count=5)


def _print(car: Vehicle) -> IssuedPrint:
    """A numbered print of the main story's car: where the demo issues none, one is issued here."""
    lead = Person.objects.get(sign_in_name="lida")
    with override_settings(SITE_URL="https://shop.example"):
        return issued_acts.issue(by=by(lead), kind="build", vehicle=car)


def _share() -> Share:
    """A link to the main story's car that shows everything, with its token."""
    return share_acts.make_share(
        by=by(Person.objects.get(sign_in_name="lida")),
        vehicle=Vehicle.objects.get(make="Halden"),
        label="for the sweep",
        shows=Shows.values,
        made_for=Keeper.objects.get(name="Corin Ashby"),
    )


def _feed() -> str:
    """The token of a calendar address, which is told only once: a new one."""
    token = new_token()
    due_acts.open_feed(by=by(Person.objects.get(sign_in_name="corin")), token_hash=token_hash(token))
    return token


# A name of a pattern's part that means another record on some URLs.
OTHER = {
    **{
        (name, "token"): lambda: _share().token
        for name in ("vehicles:shared", "vehicles:shared-photo", "vehicles:shared-thumb", "jobs:shared-sheet")
    },
    **{
        (name, "data_sheet_id"): lambda: MaintenanceInterval.objects.current().first().sheet_id
        for name in ("vehicles:interval-change", "vehicles:interval-withdraw")
    },
    ("vehicles:odometer-set-aside", "reading_id"): lambda: (
        OdometerReading.objects.exclude(value=None).first().pk
    ),
    ("vehicles:odometer-falsified", "reading_id"): lambda: (
        OdometerReading.objects.exclude(value=None).first().pk
    ),
}


def address(name: str, pattern: str, known: dict[str, object]) -> str:
    names = re.findall(r"<\w+:(\w+)>", pattern)
    return reverse(
        name, kwargs={part: OTHER[name, part]() if (name, part) in OTHER else known[part] for part in names}
    )


def test_every_url_has_a_row_and_every_row_a_url():
    assert set(urls()) == set(WHO) | PUBLIC


def test_who_may_open_what(world, db):
    """403 for a colleague without the right, the way to sign in for nobody, never a fault of the server."""
    known, wrong = arguments(), []
    # The other technician differs from the first by what they did, not by what they may open.
    people = [*(key for key in EVERYBODY if key != "other_technician"), None]
    clients = {key: Client(raise_request_exception=False) for key in people}
    for key, client in clients.items():
        if key is not None:
            client.force_login(Person.objects.get(pk=world[key].pk))
    for name, pattern in urls().items():
        url = address(name, pattern, known)
        for key, client in clients.items():
            response = client.get(url)
            if name in PUBLIC:
                expected = {200, 204, 302, 405}
            elif key is None:
                expected = {302}
                if response.status_code == 302 and not response.url.startswith(reverse("workshop:login")):
                    wrong.append((name, key, response.url))
            elif key in WHO[name]:
                # 404 and 400: the record is not in a state in which the page makes sense; said in words.
                expected = {200, 302, 400, 404, 405}
            else:
                expected = {403, 404} if name in SEEN_BY_OWNERS else {403}
            if response.status_code not in expected:
                wrong.append((name, key, response.status_code))
    assert not wrong, "\n".join(map(str, wrong))


# A stranger to the car gets 404 here, not 403: they do not learn that it exists.
SEEN_BY_OWNERS = {"jobs:sheet", "jobs:sheet-pdf", "vehicles:my-car", "jobs:own-answer", "jobs:sheet-sign-own",
                 "vehicles:issued"}  # fmt: skip


class Shape(HTMLParser):
    """Counts what every page must have once, and looks for what a template leaves when something is missing."""

    def __init__(self):
        super().__init__()
        self.count: dict[str, int] = {}
        self.ids: list[str] = []
        self.labels: set[str] = set()
        self.fields: list[dict] = []
        self.text: list[str] = []
        self._skip = 0

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.count[tag] = self.count.get(tag, 0) + 1
        if "id" in attrs:
            self.ids.append(attrs["id"])
        if tag == "label" and attrs.get("for"):
            self.labels.add(attrs["for"])
        if tag in ("input", "select", "textarea") and attrs.get("type") not in ("hidden", "submit"):
            self.fields.append(attrs)
        if tag in ("script", "style"):
            self._skip += 1

    def handle_endtag(self, tag):
        if tag in ("script", "style"):
            self._skip -= 1

    def handle_data(self, data):
        if not self._skip:
            self.text.append(data)


def test_what_every_page_is_like(world, db):
    """One h1, a title, every field labelled, no id twice, no None, no template left-overs, few queries."""
    known, wrong = arguments(), []
    client = Client()
    client.force_login(Person.objects.get(sign_in_name="silvan"))
    owner = Client()
    owner.force_login(Person.objects.get(sign_in_name="corin"))
    seen = 0
    for name, pattern in urls().items():
        url = address(name, pattern, known)
        with CountQueries() as queries:
            response = (owner if WHO.get(name) == frozenset({"car_owner"}) else client).get(url)
        if response.status_code != 200 or not response.headers["Content-Type"].startswith("text/html"):
            continue
        seen += 1
        page = Shape()
        text = response.content.decode()
        page.feed(text)
        body = " ".join(page.text)
        if "<html" in text and page.count.get("h1") != 1:
            wrong.append((name, "h1", page.count.get("h1")))
        if "<html" in text and page.count.get("title", 0) < 1:
            wrong.append((name, "title"))
        if twice := {each for each in page.ids if page.ids.count(each) > 1}:
            wrong.append((name, "ids twice", twice))
        if unlabelled := [
            field.get("name")
            for field in page.fields
            if field.get("id") not in page.labels
            and "aria-label" not in field
            and field.get("type") != "radio"
            and field.get("type") != "checkbox"
        ]:
            wrong.append((name, "no label", unlabelled))
        for left in (
            r"\bNone\b(?!\.|:| seen| of| here| for an angle| or not known)",
            r"\{\{|\}\}|\{%",
            r"object at 0x",
            r"<QuerySet",
        ):
            if found := re.search(left, body):
                wrong.append((name, found.group(), body[max(0, found.start() - 60) : found.end() + 20]))
        # Page tests count exactly, for little and much; this is the roof over all of them.
        if queries.count > ROOFS.get(name, 75):
            wrong.append((name, "queries", queries.count))
    assert not wrong, "\n".join(map(str, wrong))
    assert seen > 60


# A closed job of whose car something was written since: its sheet is gathered anew, to see whether it still says the
# same. Whoever opens an old job after that waits for it; the floor and the open jobs never do.
ROOFS = {"jobs:job": 90, "jobs:job-live": 90}


class CountQueries:
    def __enter__(self):
        from django.test.utils import CaptureQueriesContext

        self._context = CaptureQueriesContext(connection)
        self._context.__enter__()
        return self

    def __exit__(self, *args):
        self._context.__exit__(*args)
        self.count = len(self._context.captured_queries)


@pytest.mark.pdf
def test_the_scenarios_longest_visit_has_three_pages(world, db):
    """Two that go with the car, and one to take off. Letter is 18 mm shorter: there the end may go over."""
    sheet = SheetRevision.objects.get(job__vehicle__make="Halden")
    context = sheets.sheet_context(
        json.loads(sheet.technical), json.loads(sheet.text.personal),
        hashes=(sheet.technical_hash, sheet.personal_hash), token=sheet.token,
    )  # fmt: skip
    for paper, most in (("A4", 3), ("Letter", 4)):
        printed = printing.print_pdf(sheets.TEMPLATE, context, paper)
        *technical, personal = [page.extract_text() for page in PdfReader(io.BytesIO(printed.pdf)).pages]
        assert len(technical) + 1 <= most, paper
        assert "Keeper and prices" in personal
        assert not any("Keeper and prices" in page for page in technical)
