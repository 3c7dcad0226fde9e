"""What every page needs: the shop and the navigation that this person may use."""

from __future__ import annotations

from django.urls import reverse
from django.utils.functional import SimpleLazyObject

from workshop.models import Shop
from workshop.permissions import May
from workshop.saved import take_saved

# label, URL name, what one must be allowed to see it
_NAV = [
    ("Floor", "jobs:floor", May.SEE_SHOP),
    ("Vehicles", "vehicles:vehicles", May.SEE_SHOP),
    ("Procedures", "jobs:procedures", May.SEE_SHOP),
    ("Tools", "workshop:tools", May.SEE_SHOP),
    ("Shop", "workshop:shop", May.SEE_PEOPLE),
    ("My cars", "vehicles:my-cars", May.SEE_OWN_CARS),
]


def shop(request) -> dict:
    person = getattr(request, "user", None)

    def navigation() -> list[dict]:
        if person is None or not person.is_authenticated:
            return []
        rows = []
        for label, name, what in _NAV:
            if person.may(what):
                url = reverse(name)
                rows.append({"label": label, "url": url, "current": request.path.startswith(url)})
        return rows

    return {
        "shop": SimpleLazyObject(Shop.current),
        "nav": SimpleLazyObject(navigation),
        "saved_keys": SimpleLazyObject(lambda: take_saved(request)),
    }
