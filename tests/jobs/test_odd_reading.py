"""A torque typed in the wrong unit: asked about once, with the value in the unit that fits, one tap away."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from jobs.models import TorqueReading
from tests.factories.run import RunFactory, click
from tests.factories.tool import ToolFactory
from tests.once import once
from workshop.engineering.units import Amount

STEP = {
    "title": "Carrier bolts",
    "fasteners": 2,
    "pattern": "line",
    "stages": [{"name": "Final", "value": "110", "plus": "6", "unit": "N.m"}],
}


@once
def tool(lead):
    return ToolFactory(person=lead)


@once
def run(lead, car):
    return RunFactory(person=lead, vehicle=car, steps=[STEP])


def post(client, run, tool, **changes):
    page = client.get(f"{run.get_absolute_url()}?torque_tool={tool.pk}")
    form = page.context["form"]
    data = {name: form[name].value() for name in ("key", "step", "stage", "fastener")}
    data |= {"kind": "clicked", "tool": tool.pk, "reading_unit": "N.m", **changes}
    return client.post(reverse("jobs:reading-add", args=[run.pk]), data)


# Conversions by NIST SP 811 (2008), appendix B.8: 81 lbf·ft is 109.8 N·m, 950 lbf·in is 107.3, 11.2 kgf·m is 109.8.
@pytest.mark.parametrize(
    ("value", "typed_in", "meant"),
    [
        ("81", "N.m", "81 lbf·ft would fit"),
        ("110", "lbf.ft", "110 N·m would fit"),
        ("950", "N.m", "950 lbf·in would fit"),
        ("11.2", "N.m", "11.2 kgf·m would fit"),
    ],
)
def test_the_classic_slip_is_said(technician, run, tool, value, typed_in, meant):
    with pytest.raises(ValidationError) as refusal:
        click(technician, run, 1, 1, value, tool, unit=typed_in)
    assert meant in " ".join(refusal.value.message_dict["reading"])


def test_far_off_it_is_asked_also_where_it_only_comes_near(technician, run, tool):
    # 1055 lbf·in is 119.2 N·m: outside 104 to 116, within a tenth of 110.
    with pytest.raises(ValidationError, match="1055 lbf·in would fit"):
        click(technician, run, 1, 1, "1055", tool)


# 75 lbf·ft is 101.7 N·m: a wrench set to 75 by mistake is no slip of the unit.
@pytest.mark.parametrize("value", ["75", "90", "104", "116", "130", "300"])
def test_what_fits_in_no_other_unit_is_not_asked(technician, run, tool, value):
    assert click(technician, run, 1, 1, value, tool).pk


def test_a_zero_too_much_is_offered_as_well(technician, run, tool):
    # 1050 lbf·in is 118.6 N·m, near the target; 105 N·m lies within its limits.
    with pytest.raises(ValidationError) as refusal:
        click(technician, run, 1, 1, "1050", tool)
    text = " ".join(refusal.value.message_dict["reading"])
    assert "1050 lbf·in would fit" in text
    assert "did you mean 105 N·m" in text


def test_through_an_extension_the_torque_at_the_fastener_is_compared(technician, run, tool):
    through = {
        "lever_length": Amount(D(450), "mm"),
        "extension_length": Amount(D(60), "mm"),
        "extension_angle": Amount(D(30), "deg"),
    }
    # 72.7 lbf·ft set is 98.6 N·m, and 110 at the fastener.
    with pytest.raises(ValidationError, match=r"72\.7 lbf·ft would fit"):
        click(technician, run, 1, 1, "72.7", tool, **through)


def test_the_form_comes_back_filled_with_a_tap_and_a_tick(client, technician, run, tool):
    client.force_login(technician)
    answer = post(client, run, tool, reading_value="81", redo_reason="kept")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'name="reading_value" value="81"' in page
    assert "kept" in page
    assert '<button class="btn" name="reading_unit" value="lbf.ft">It was 81 lbf·ft</button>' in page
    assert 'name="confirmed_odd"' in page
    assert not TorqueReading.objects.exists()


def test_the_tap_records_it_in_the_other_unit(client, technician, run, tool):
    """The browser sends the button's value after that of the list: the last one counts."""
    client.force_login(technician)
    assert post(client, run, tool, reading_value="81", reading_unit=["N.m", "lbf.ft"]).status_code == 302
    row = TorqueReading.objects.get()
    assert (row.typed, row.unit, row.verdict) == (81, "lbf.ft", "within")


def test_the_tick_keeps_it_as_typed(client, technician, run, tool):
    client.force_login(technician)
    assert post(client, run, tool, reading_value="81", confirmed_odd="on").status_code == 302
    row = TorqueReading.objects.get()
    assert (row.typed, row.unit, row.verdict) == (81, "N.m", "below")


def test_several_at_once_are_asked_too(client, technician, run, tool):
    client.force_login(technician)
    client.get(f"{run.get_absolute_url()}?torque_tool={tool.pk}")
    url = reverse("jobs:round-add", args=[run.pk])
    form = client.get(url).context["form"]
    data = {name: form[name].value() for name in ("key", "step", "stage")}
    data |= {
        "fasteners": [1, 2],
        "kind": "clicked",
        "tool": tool.pk,
        "reading_value": "81",
        "reading_unit": "N.m",
    }
    answer = client.post(url, data)
    assert "81 lbf·ft would fit" in answer.content.decode()
    assert 'name="confirmed_odd"' in answer.content.decode()
    assert client.post(url, {**data, "confirmed_odd": "on"}).status_code == 302
    assert TorqueReading.objects.count() == 2
