import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import RequestFactory

from tests.people import by
from workshop import log, pass_tries, passes
from workshop.acts import passes as acts
from workshop.models import Event
from workshop.tokens import masked


def issue(desk, who, way="counter"):
    return acts.issue_pass(by=by(desk), person=who, way=way)


def test_once(front_desk, car_owner):
    one = issue(front_desk, car_owner)
    assert (
        passes.find(one.token).pk
        == passes.find_code(passes.tidy(passes.in_two(one.code).lower())).pk
        == one.pk
    )
    acts.use_pass(by=by(car_owner), one=one)
    with pytest.raises(ValidationError, match="used already"):
        acts.use_pass(by=by(car_owner), one=one)
    assert not any(secret in e.body for e in Event.objects.all() for secret in (one.token, one.code))
    assert list(log.problems()) == []


def test_newer_voids(front_desk, car_owner):
    first, second = issue(front_desk, car_owner), issue(front_desk, car_owner, "mail")
    assert "newer" in passes.why_not(passes.find(first.token))
    assert passes.why_not(passes.find(second.token)) == ""
    acts.end_access(by=by(front_desk), person=car_owner)
    assert "ended" in passes.why_not(passes.find(second.token))
    with pytest.raises(ValidationError):
        acts.ask_for_pass(by=by(car_owner))


def test_refused(front_desk, technician, lead, car_owner, other_owner):
    with pytest.raises(ValidationError, match="works here"):
        issue(front_desk, lead)
    with pytest.raises(PermissionDenied):
        issue(technician, car_owner)
    with pytest.raises(ValidationError, match="somebody else"):
        acts.use_pass(by=by(other_owner), one=issue(front_desk, car_owner))
    assert passes.find("x" * 22) is None
    assert passes.find("") is None
    assert passes.find_code("AAAAAAAA") is None


def test_tries(db):
    request = RequestFactory().get("/")
    assert [pass_tries.count_code(request)[1] for _ in range(5)] == [4, 3, 2, 1, 0]
    with pytest.raises(ValidationError, match="Too many"):
        pass_tries.count_code(request)
    assert [pass_tries.count_link(request, "a@example.org") for _ in range(4)] == [True, True, True, False]


def test_letters():
    assert len(set(passes.ALPHABET)) == 28


def test_masked():
    assert masked("Gone: /enter/abcDEF0123456789_-xyz/") == "Gone: /enter/(token)/"
    assert (
        masked("/keepers/0b6d2c1e-1111-4222-8333-444455556666/ /calculators/torque-with-extension/")
        == "/keepers/0b6d2c1e-1111-4222-8333-444455556666/ /calculators/torque-with-extension/"
    )
