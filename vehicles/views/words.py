"""Looking through all words ever written in the shop, or about one car, with what narrows them down."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path

from vehicles import words, words_found
from vehicles.forms.words import LookForm
from vehicles.models import Vehicle
from workshop.pages import may
from workshop.permissions import May

NARROWS = ("kind", "system", "severity", "person", "since", "until")


@may(May.SEE_SHOP)
def find_words(request: HttpRequest) -> HttpResponse:
    """One page of what was found, newest first. All that is asked stands in the address, `car` too."""
    car = _car(request)
    form = LookForm(request.GET)
    right = form.is_valid()
    before = words_found.Cursor.read(request.GET.get("before", ""))
    asked = form.asked(car)
    # With something wrong nothing is looked for: what came would answer to another question than was put.
    page = words_found.page(asked, before) if right and asked.anything else words_found.Page()
    labels = dict(words.kinds())
    context = {
        "form": form,
        "car": car,
        "page": page,
        "before": before,
        "looked": right and asked.anything,
        "said": form.in_words(),
        "counts": [
            {"code": code, "label": label, "count": page.counts[code], "chosen": code in asked.kinds}
            for code, label in labels.items()
            if code in page.counts
        ],
        "fewer": _looser(request, form),
        "narrowed": sum(name in form.good for name in NARROWS),
        # Where the list is below the form it is to be seen; where there is none, the form is what to look at.
        "unfolded": any(name in form.errors for name in NARROWS),
    }
    return render(request, "vehicles/find_words.html", context)


def _looser(request: HttpRequest, form: LookForm) -> list[tuple[str, str]]:
    """Where nothing was found: each thing that narrows it, and the address of the same search without that."""
    good = form.good
    names = [name for name in NARROWS if name in good]
    if len(names) + bool("q" in good) < 2:
        return []
    found = []
    for name in names:
        query = request.GET.copy()
        query.pop(name, None)
        query.pop("before", None)
        label = "the kinds" if name == "kind" else form.fields[name].label.lower()
        found.append((label, f"?{query.urlencode()}"))
    return found


def _car(request: HttpRequest) -> Vehicle | None:
    """The car whose words alone are looked through; a wrong key is as good as none."""
    try:
        key = UUID(request.GET.get("car", ""))
    except ValueError:
        return None
    return Vehicle.objects.visible_to(request.user).prefetch_related("registrations").filter(pk=key).first()


urlpatterns = [path("find/words/", find_words, name="find-words")]
