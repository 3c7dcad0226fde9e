"""Pages of the house: signing in, and the shop's own settings."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth import views as auth
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters

from workshop import checks
from workshop.acts import shop as shop_acts
from workshop.acts.devices import SESSION_DEVICE
from workshop.forms import house as forms
from workshop.log import current_head
from workshop.middleware import DEVICE_COOKIE, DEVICE_COOKIE_AGE
from workshop.models import Device, Person, Shop
from workshop.pages import act_page, may, public
from workshop.permissions import May
from workshop.views import devices, log, people, styles, tools

# ---------------------------------------------------------------------------------------------- signing in


class SignIn(auth.LoginView):
    authentication_form = forms.SignInForm
    redirect_authenticated_user = True

    def form_valid(self, form):
        response = super().form_valid(form)
        device = self.request.device
        if not device or not device.pk:
            device = Device.objects.create(name=_device_name(self.request))
        # By this a revoked device's sessions are found and ended.
        self.request.session[SESSION_DEVICE] = str(device.pk)
        response.set_signed_cookie(
            DEVICE_COOKIE,
            str(device.pk),
            salt="device",
            max_age=DEVICE_COOKIE_AGE,
            httponly=True,
            samesite="Lax",
            secure=self.request.is_secure(),
        )
        return response

    def form_invalid(self, form):
        return self.render_to_response(self.get_context_data(form=form), status=422)


def _device_name(request: HttpRequest) -> str:
    """A name that somebody can tell the device by, until they give it a better one."""
    agent = request.headers.get("User-Agent", "")
    kind = "Tablet or telephone" if "Mobile" in agent or "Tablet" in agent else "Desk computer"
    alike = Device.objects.filter(name__startswith=kind).count()
    return f"{kind} {alike + 1}" if alike else kind


sign_in = public(sensitive_post_parameters("password")(SignIn.as_view()))
sign_out = public(auth.LogoutView.as_view())


# ------------------------------------------------------------------------------------------------ settings


@may(May.SEE_PEOPLE)
def shop(request: HttpRequest) -> HttpResponse:
    """The settings in words, what the server says of itself, and the doors to the house's other pages."""
    today = timezone.localdate()
    context = {
        "row": Shop.current(),
        "site_url": settings.SITE_URL,
        "pdf_problem": checks.pdf_problem(),
        "pdf_hint": checks.PDF_HINT,
        "time_zone": settings.TIME_ZONE,
        "events": current_head().seq,
        "people_count": Person.objects.filter(is_active=True).count(),
        "device_count": Device.objects.filter(revoked_at=None).count(),
        "competences_due": people.due_count(today),
    }
    return render(request, "workshop/shop.html", context)


@may(May.EDIT_SHOP)
def shop_change(request: HttpRequest) -> HttpResponse:
    row = Shop.current()
    return act_page(
        request,
        form_class=forms.ShopForm,
        act=shop_acts.change_shop,
        title="The shop's settings",
        intro="They hold from now on. What was recorded and printed before keeps what held then.",
        form_kwargs={"instance": row},
        initial={"seen_version": row.version},
        done="workshop:shop",
    )


urlpatterns = [
    path("sign-in/", sign_in, name="login"),
    path("sign-out/", sign_out, name="logout"),
    path("shop/", shop, name="shop"),
    path("shop/change/", shop_change, name="shop-change"),
    path("styles/", styles.styles, name="styles"),
    *people.urlpatterns,
    *devices.urlpatterns,
    *log.urlpatterns,
    *tools.urlpatterns,
]
