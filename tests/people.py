"""The fixed cast of the tests: every screen and act is tried as each of them. All invented."""

from __future__ import annotations

from workshop.acting import By
from workshop.models import Person, RoleHeld
from workshop.permissions import Role

PASSWORD = "a long enough pass phrase"


def make_person(name: str, *roles: Role) -> Person:
    """A person with roles, inserted directly: the act that adds people needs a person already."""
    person = Person(name=name, sign_in_name=name.casefold().replace(" ", "."))
    person.set_password(PASSWORD)
    person.save()
    RoleHeld.objects.bulk_create(RoleHeld(person=person, role=role) for role in roles)
    return person


def by(person: Person, **kwargs) -> By:
    return By(person, **kwargs)


CAST = {
    "technician": ("Tamsin Orrell", Role.TECHNICIAN),
    "other_technician": ("Odo Fennick", Role.TECHNICIAN),
    "lead": ("Lida Marchbank", Role.LEAD),
    "front_desk": ("Fern Dellow", Role.FRONT_DESK),
    "shop_owner": ("Silvan Quarrie", Role.SHOP_OWNER),
    "car_owner": ("Corin Ashby", Role.VEHICLE_OWNER),
    "other_owner": ("Orla Penn", Role.VEHICLE_OWNER),
}
