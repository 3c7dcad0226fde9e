"""Pages of the house: signing in, and the shop's own settings."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth import views as auth
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.debug import sensitive_post_parameters

from workshop import checks, idle, pins
from workshop import trust as trust_state
from workshop.acts import shop as shop_acts
from workshop.copies import drops_copies
from workshop.devices import device_of, remember, take_on
from workshop.forms import house as forms
from workshop.log import current_head
from workshop.middleware import way_in
from workshop.models import Device, Person, Shop
from workshop.pages import act_page, may, public
from workshop.permissions import May
from workshop.views import copies, devices, log, passes, people, queue, styles, tablet, tools, trust

# ---------------------------------------------------------------------------------------------- signing in


class SignIn(auth.LoginView):
    authentication_form = forms.SignInForm

    def form_valid(self, form):
        response = super().form_valid(form)
        device = take_on(self.request)
        if device.is_enrolled:
            idle.unlock(self.request)
            if not pins.has_pin(self.request.user) and self.request.user.is_staff_member:
                # Without one the lock of this tablet would ask for the password each time.
                response = redirect(
                    f"{reverse('workshop:pin')}?{urlencode({'next': self.get_success_url()})}"
                )
        return remember(self.request, response, device)

    def dispatch(self, request, *args, **kwargs):
        # A locked session is nobody's until its PIN: whoever comes here signs in.
        self.redirect_authenticated_user = not idle.is_locked(request)
        return super().dispatch(request, *args, **kwargs)

    def get_context_data(self, **kwargs):
        locked = {"user": AnonymousUser(), "nav": []} if idle.is_locked(self.request) else {}
        at_tablet = device if (device := device_of(self.request)) and device.is_enrolled else None
        return super().get_context_data(**locked, tablet=at_tablet, **kwargs)

    def form_invalid(self, form):
        return self.render_to_response(self.get_context_data(form=form), status=422)


class SignOut(auth.LogoutView):
    def get_success_url(self):
        return self.get_redirect_url() or way_in(self.request)


sign_in = public(drops_copies(sensitive_post_parameters("password")(SignIn.as_view())))
sign_out = public(SignOut.as_view())


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
        "certificate": trust_state.look(),
        "encrypted_at": trust_state.over_tls(),
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
    *copies.urlpatterns,
    *people.urlpatterns,
    *devices.urlpatterns,
    *tablet.urlpatterns,
    *log.urlpatterns,
    *tools.urlpatterns,
    *trust.urlpatterns,
    *queue.urlpatterns,
    *passes.urlpatterns,
]
