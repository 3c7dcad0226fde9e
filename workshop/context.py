"""What every page needs: the shop and the navigation that this person may use."""

from __future__ import annotations

from uuid import uuid4

from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from workshop.idle import shared_tablet
from workshop.models import PinLock, Shop
from workshop.permissions import May
from workshop.queued import grant_of
from workshop.saved import take_saved

# label, URL name, what one must be allowed to see it
_NAV = [
    ("Floor", "jobs:floor", May.SEE_SHOP),
    ("Vehicles", "vehicles:vehicles", May.SEE_SHOP),
    ("Due", "vehicles:due", May.SEE_SHOP),
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

    def pin_locks() -> list[PinLock]:
        """Names locked after wrong PINs that no lead has said they have seen: one small query, for leads alone."""
        if person is None or not person.is_authenticated or not person.may(May.REVOKE_DEVICE):
            return []
        rows = list(PinLock.objects.filter(told_at=None).select_related("person", "device")[:10])
        for row in rows:
            row.still = row.locked_until > timezone.now()
            row.today = timezone.localdate(row.locked_at) == timezone.localdate()
            row.seen_key, row.lost_key = uuid4(), uuid4()
        return rows

    return {
        "shop": SimpleLazyObject(Shop.current),
        "nav": SimpleLazyObject(navigation),
        "saved_keys": SimpleLazyObject(lambda: take_saved(request)),
        "shared": SimpleLazyObject(lambda: shared_tablet(request)),
        "pin_locks": SimpleLazyObject(pin_locks),
        "grant": SimpleLazyObject(lambda: grant_of(request)),
    }
