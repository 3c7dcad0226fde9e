"""Two people, one record: what the later one is shown, what takes the newer value by itself, and that nothing typed
is lost.
"""

from __future__ import annotations

import html
import json
import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.acts import answer as answer_acts
from jobs.acts import work as work_acts
from jobs.models import WorkLine
from tests.factories.run import OpenLineFactory
from tests.factories.work import owner_of
from tests.hand import filled
from tests.once import once
from tests.people import by
from vehicles.acts import vehicle as vehicle_acts
from workshop import log
from workshop.forms.meanwhile import together
from workshop.models import Event


@once
def line(car, lead) -> WorkLine:
    line = OpenLineFactory(person=lead, vehicle=car)
    write(lead, line, cause="Seat rusty.")
    return line


def write(person, line, **texts) -> WorkLine:
    line.refresh_from_db()
    return work_acts.write_line(by=by(person), line=line, seen_version=line.version, **texts)


def url_of(line) -> str:
    return reverse("jobs:line-write", args=[line.pk])


def opened(client, person, line) -> dict:
    """What the browser would send from the form as it opens now."""
    client.force_login(person)
    return filled(client.get(url_of(line)).context["form"], {})


def fields(answer) -> dict:
    """{name: Both} of the form that came back."""
    return {field.name: field.meanwhile for field in answer.context["form"].differing}


def resent(answer) -> dict:
    return filled(answer.context["form"], {})


def test_who_and_when_is_said_at_the_top_and_both_texts_stand_by_the_field(client, line, technician, lead):
    sent = opened(client, technician, line)
    write(lead, line, cause="Seat rusty, cleaned.")
    answer = client.post(url_of(line), {**sent, "cause": "Stud stretched."})
    assert answer.status_code == 422
    at = timezone.localtime(Event.objects.latest("seq").made_at).strftime("%H:%M")
    assert f"{lead} changed this at {at}, while you were writing." in answer.text
    assert f"On record now ({lead}, {at})" in answer.text
    assert '<p class="lines">Seat rusty, cleaned.</p>' in answer.text
    assert '<p class="lines">Stud stretched.</p>' in answer.text
    assert set(fields(answer)) == {"cause"}
    line.refresh_from_db()
    assert line.cause == "Seat rusty, cleaned.", "nothing was saved over it"
    # The field itself still holds what was typed; saved again, it is a decision.
    again = resent(answer)
    assert again["cause"] == "Stud stretched."
    assert client.post(url_of(line), again).status_code == 302
    line.refresh_from_db()
    assert line.cause == "Stud stretched."


def test_left_lying_and_taken_up_again_both_texts_are_compared_anew(client, line, technician, lead):
    """What the tablet kept goes back with what it had seen before the conflict: it writes over nothing unseen."""
    sent = opened(client, technician, line)
    write(lead, line, cause="Seat rusty, cleaned.")
    page = client.post(url_of(line), {**sent, "cause": "Stud stretched."})
    before = json.loads(html.unescape(re.search(r'data-seen-before="([^"]*)"', page.text)[1]))
    assert before == {name: sent[name] for name in ("seen_version", "seen_values")}
    again = client.post(url_of(line), {**resent(page), **before})
    assert again.status_code == 422
    assert set(fields(again)) == {"cause"}
    line.refresh_from_db()
    assert line.cause == "Seat rusty, cleaned."


def test_in_the_tablets_list_it_says_where_both_texts_are(client, line, technician, lead):
    sent = opened(client, technician, line)
    write(lead, line, cause="Seat rusty, cleaned.")
    answer = client.post(url_of(line), {**sent, "cause": "Stud stretched."}, headers={"X-Outbox": "1 later"})
    (reason,) = json.loads(answer.headers["X-Reasons"])
    assert reason.startswith(f"{lead} changed this at ")
    assert reason.endswith("Open its page and save it there: both texts then stand side by side.")


def test_each_button_holds_what_the_control_would(client, line, technician, lead):
    sent = opened(client, technician, line)
    write(lead, line, cause="Seat rusty.\nCleaned.")
    page = client.post(url_of(line), {**sent, "cause": "Seat rusty.\nStud “M12” <stretched>."}).text
    taken = [json.loads(html.unescape(text)) for text in re.findall(r'data-take="([^"]*)"', page)]
    assert taken == [
        ["Seat rusty.\nCleaned."],
        ["Seat rusty.\nStud “M12” <stretched>."],
        ["Seat rusty.\nCleaned.\nStud “M12” <stretched>."],
    ]
    assert all(" hidden>" in tag for tag in re.findall(r"<button[^>]*data-take[^>]*>", page)), (
        "till a script is there"
    )
    assert "js/meanwhile" in page


def test_the_script_comes_only_with_two_texts(client, line, technician):
    opened(client, technician, line)
    assert "js/meanwhile" not in client.get(url_of(line)).text


def test_what_was_not_touched_takes_the_newer_text_by_itself(client, line, technician, lead):
    sent = opened(client, technician, line)
    write(lead, line, cause="Seat rusty, cleaned.", technician=lead)
    answer = client.post(url_of(line), {**sent, "correction": "Nuts renewed."})
    assert answer.status_code == 422
    assert {name: both.taken for name, both in fields(answer).items()} == {"cause": True, "technician": True}
    assert "You had not touched “Cause”, “Technician”: there it now reads as on record." in answer.text
    again = resent(answer)
    assert (again["cause"], again["correction"]) == ("Seat rusty, cleaned.", "Nuts renewed.")
    assert client.post(url_of(line), again).status_code == 302
    line.refresh_from_db()
    assert (line.cause, line.correction) == ("Seat rusty, cleaned.", "Nuts renewed.")
    assert line.technician == lead


def test_what_only_i_touched_is_no_conflict(client, line, technician, lead):
    sent = opened(client, technician, line)
    write(lead, line, correction="Wheel put back.")
    answer = client.post(url_of(line), {**sent, "cause": "Stud stretched."})
    assert answer.status_code == 422
    assert {name: both.taken for name, both in fields(answer).items()} == {"correction": True}
    again = resent(answer)
    assert (again["cause"], again["correction"]) == ("Stud stretched.", "Wheel put back.")


def test_the_same_typed_by_both_is_no_conflict(client, line, technician, lead):
    sent = opened(client, technician, line)
    write(lead, line, cause="Stud stretched.")
    answer = client.post(url_of(line), {**sent, "cause": "Stud stretched.\r\n"})
    assert fields(answer) == {}
    assert "It does not touch what you typed" in answer.text


def test_a_third_hand_in_between_is_shown_once_more(client, line, technician, lead, shop_owner):
    sent = opened(client, technician, line)
    write(lead, line, cause="Seat rusty, cleaned.")
    first = client.post(url_of(line), {**sent, "cause": "Stud stretched."})
    write(shop_owner, line, cause="Seat rusty, cleaned and oiled.", correction="All renewed.")
    second = client.post(url_of(line), resent(first))
    assert second.status_code == 422
    assert f"{shop_owner} changed this at " in second.text
    both = fields(second)
    assert (both["cause"].theirs, both["cause"].mine) == ("Seat rusty, cleaned and oiled.", "Stud stretched.")
    assert both["correction"].taken
    assert client.post(url_of(line), resent(second)).status_code == 302
    line.refresh_from_db()
    assert (line.cause, line.correction) == ("Stud stretched.", "All renewed.")


def test_one_s_own_other_window_is_said_as_such(client, line, technician):
    sent = opened(client, technician, line)
    write(technician, line, cause="Seat rusty, cleaned.")
    answer = client.post(url_of(line), {**sent, "cause": "Stud stretched."})
    assert "You changed this yourself at " in answer.text


def test_an_older_day_is_said_with_its_day(client, line, technician, lead):
    sent = opened(client, technician, line)
    write(lead, line, cause="Seat rusty, cleaned.")
    event = log.last_change(line)
    from workshop.forms.meanwhile import clock

    assert re.fullmatch(r"\d\d:\d\d", clock(event.made_at))
    assert re.fullmatch(r"\d{1,2} \w{3} \d{4} \d\d:\d\d", clock(event.made_at - timedelta(days=2)))
    assert client.post(url_of(line), {**sent, "cause": "x"}).status_code == 422


def test_a_form_without_what_it_began_with_shows_every_difference(client, line, technician, lead):
    """Such as one that lay open while the app was upgraded."""
    sent = opened(client, technician, line) | {"seen_values": ""}
    write(lead, line, cause="Seat rusty, cleaned.")
    answer = client.post(url_of(line), {**sent, "correction": "Nuts renewed."})
    assert fields(answer)["cause"].mine == "Seat rusty."
    assert not fields(answer)["cause"].taken
    assert client.post(url_of(line), sent | {"seen_values": "cause:0 :: x"}).status_code == 422


def test_who_changed_it_through_another_record_is_found(client, line, car, technician, lead, shop_owner):
    """The owner's answer is an event of its own, and changes the line besides."""
    keeper = owner_of(car, lead)
    write(technician, line, cause="Seat worn.")
    line.refresh_from_db()
    answer_acts.estimate_line(by=by(lead), line=line, seen_version=line.version, estimate=Decimal(80))
    client.force_login(lead)
    url = reverse("jobs:line-estimate", args=[line.pk])
    sent = filled(client.get(url).context["form"], {"estimate": "95"})
    answer_acts.record_answer(by=by(shop_owner), line=line, answer="yes", given_by=keeper, channel="phone")
    answer = client.post(url, sent)
    assert answer.status_code == 422
    assert f"{shop_owner} changed this at " in answer.text
    line.refresh_from_db()
    assert json.loads(log.last_change(line).body)["changed"] == [f"jobs.workline:{line.pk}#{line.version}"]
    assert log.first_broken_link() is None


def test_who_changed_it_is_one_question_for_little_and_much_history(
    line, technician, django_assert_num_queries
):
    with django_assert_num_queries(1):
        assert log.last_change(line).person.name
    for number in range(12):
        write(technician, line, cause=f"Seat rusty, look {number}.")
    with django_assert_num_queries(1):
        assert log.last_change(line).person == technician


def test_numbers_choices_and_ticks_are_told_apart_too(client, car, lead, front_desk):
    client.force_login(front_desk)
    url = reverse("vehicles:vehicle-correct", args=[car.pk])
    sent = filled(client.get(url).context["form"], {"reason": "told", "year": 2007, "as_stamped": True})
    vehicle_acts.correct_vehicle(
        by=by(lead), vehicle=car, seen_version=car.version, reason="seen", year=2005, high_voltage=True,
        colour="sand",
    )  # fmt: skip
    answer = client.post(url, sent)
    assert answer.status_code == 422
    both = fields(answer)
    assert (both["year"].theirs, both["year"].mine, both["year"].take_theirs) == ("2005", "2007", '["2005"]')
    assert both["year"].take_both == "", "two numbers are not put together"
    assert (both["high_voltage"].taken, both["high_voltage"].theirs) == (True, "yes")
    again = resent(answer)
    assert again["high_voltage"] == "on"
    assert again["colour"] == "sand"
    assert client.post(url, again).status_code == 302
    car.refresh_from_db()
    assert (car.year, car.high_voltage, car.colour) == (2007, True, "sand")


@pytest.mark.parametrize(
    ("theirs", "mine", "both"),
    [
        ("Seat rusty.", "Stud stretched.", "Seat rusty.\nStud stretched."),
        ("Seat rusty. Cleaned.", "Seat rusty. Stud stretched.", "Seat rusty. Cleaned.\nStud stretched."),
        ("Seat rusty", "Seat rusty and worn", "Seat rusty\nand worn"),
        ("A.\nB.\nC.", "A.\nD.\nC.", "A.\nB.\nC.\nD."),
        ("All of it is in here.", "is in here", "All of it is in here."),
        ("Bolt M12", "Bolt M10", "Bolt M12\nBolt M10"),
        (
            "Torque 120, wheel on; done.",
            "Torque 120, wheel on; nut new.",
            "Torque 120, wheel on; done.\nnut new.",
        ),
        ("", "Mine.", "\nMine."),
    ],
)
def test_both_put_together_says_nothing_twice_and_loses_nothing(theirs, mine, both):
    assert together(theirs, mine) == both
