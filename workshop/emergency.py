"""The emergency pages: every table as it stands, to be read by the shop owner when the usual pages fail.

Django's admin, switched on by EMERGENCY_ADMIN and off otherwise. Nothing of the shop's records can be added,
changed or deleted there: whatever is written is written by acts. What can be cleared is who is signed in, and wrong
passwords; both by an act.
"""

from __future__ import annotations

from django.apps import apps
from django.contrib import admin
from django.contrib.sessions.models import Session
from django.db import models
from django.http import HttpRequest
from django.shortcuts import redirect

from workshop.acting import By
from workshop.acts import emergency as acts
from workshop.models import Erasing, SignInTry
from workshop.permissions import May

# What nobody needs to read: hashes of passwords and PINs, bytes, the content of a session.
NOT_SHOWN = {"password", "pin", "session_data", "salt"}


class EmergencySite(admin.AdminSite):
    site_header = "Emergency pages"
    site_title = "Emergency pages"
    index_title = "Every table, to be read"
    enable_nav_sidebar = False
    site_url = "/"

    def has_permission(self, request: HttpRequest) -> bool:
        return request.user.is_authenticated and request.user.may(May.EMERGENCY)

    def login(self, request: HttpRequest, extra_context=None):
        """One door for the whole app, with its lock after wrong passwords."""
        return redirect("workshop:login")

    def logout(self, request: HttpRequest, extra_context=None):
        return redirect("home")

    def password_change(self, request: HttpRequest, extra_context=None):
        """Passwords are set by an act, on the page of the person."""
        return redirect("workshop:person-password", request.user.pk)

    password_change_done = password_change


class ReadOnly(admin.ModelAdmin):
    """One table to be read; nothing in it can be changed."""

    list_per_page = 50
    show_full_result_count = False
    actions = None

    def get_fields(self, request, obj=None):
        return [
            field.name
            for field in self.model._meta.concrete_fields
            if field.name not in NOT_SHOWN and not isinstance(field, models.BinaryField)
        ]

    def get_readonly_fields(self, request, obj=None):
        return self.get_fields(request, obj)

    def get_queryset(self, request):
        return self.model._base_manager.order_by("-pk")

    def has_module_permission(self, request):
        return site.has_permission(request)

    def has_view_permission(self, request, obj=None):
        return site.has_permission(request)

    def has_add_permission(self, request):
        return False

    def has_change_permission(self, request, obj=None):
        return False

    def has_delete_permission(self, request, obj=None):
        return False


class Clearable(ReadOnly):
    """Rows that may be taken away, by an act that stands in the event log."""

    actions = ("delete_selected",)

    def clear(self, by: By, keys: list) -> None:
        raise NotImplementedError

    def has_delete_permission(self, request, obj=None):
        return site.has_permission(request)

    def delete_model(self, request, obj):
        self.clear(By(request.user), [obj.pk])

    def delete_queryset(self, request, queryset):
        self.clear(By(request.user), list(queryset.values_list("pk", flat=True)))

    # The event log says it; a second log beside it would hold names.
    def log_deletions(self, request, queryset):
        return None


class Sessions(Clearable):
    list_display = ("session_key", "expire_date")

    def clear(self, by: By, keys: list) -> None:
        acts.end_sessions(by=by, keys=keys)


class Tries(Clearable):
    list_display = ("sign_in_name", "at")

    def clear(self, by: By, keys: list) -> None:
        acts.forget_tries(by=by, keys=keys)


site = EmergencySite(name="admin")


def register() -> None:
    """Every table of the shop, once."""
    special = {Session: Sessions, SignInTry: Tries}
    for model in (*apps.get_models(), Session):
        ours = model is Session or model._meta.app_label in ("workshop", "vehicles", "jobs")
        if ours and model is not Erasing and not site.is_registered(model):
            site.register(model, special.get(model, ReadOnly))
