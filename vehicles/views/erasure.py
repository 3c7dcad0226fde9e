"""The page on which the shop owner erases a person, having read what goes, what stays, and why."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path

from vehicles import erasure
from vehicles.acts import erasure as acts
from vehicles.forms import erasure as forms
from vehicles.models import Keeper
from workshop.pages import act_page, may
from workshop.permissions import May


@may(May.ERASE)
def keeper_erase(request: HttpRequest, keeper_id: UUID) -> HttpResponse:
    person = get_object_or_404(Keeper.objects.select_related("account"), pk=keeper_id)
    if person.erased_at is not None:
        return redirect(person)
    preview = erasure.preview(person)
    return act_page(
        request,
        form_class=forms.ErasePersonForm,
        act=acts.erase_person,
        title=f"Erase {person}",
        fixed={"keeper": person},
        form_kwargs={"alone": preview.alone},
        submit="Erase this person",
        done=person,
        said="The person is erased.",
        template="vehicles/keeper_erase.html",
        context={"preview": preview},
    )


urlpatterns = [path("keepers/<uuid:keeper_id>/erase/", keeper_erase, name="keeper-erase")]
