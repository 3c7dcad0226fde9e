"""A pair of hands in the browser: opens a page, fills in its form as a person would, sends it, and goes on."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db.models import Model
from django.forms import BaseForm
from django.test import Client
from django.urls import reverse


class Hand:
    """One person at one device. `refused` holds the page of the last form that came back."""

    def __init__(self, person: Model):
        self.client = Client()
        self.client.force_login(person)

    def see(self, name: str, /, *args: Any, **query: Any) -> str:
        """The text of a page."""
        response = self.client.get(reverse(name, args=[getattr(arg, "pk", arg) for arg in args]), query)
        assert response.status_code == 200, (name, response.status_code)
        return response.text

    def do(
        self,
        name: str,
        /,
        *args: Any,
        on: str = "",
        opens: str = "",
        form: str = "form",
        query: dict | None = None,
        raw: dict | None = None,
        **typed: Any,
    ):
        """Open the page, fill in its form with `typed`, send it; answers the response.

        `raw` is typed into fields that the page draws beside those of its form (the stages of a step).
        `on` is the text of the page that a person comes from: the link must be there. `opens` names the page
        that holds the form where that is another one than the form is sent to.
        """
        url = reverse(name, args=[getattr(arg, "pk", arg) for arg in args])
        if on:
            assert url in on, f"no way to {url} on the page before it"
        page = self.client.get(reverse(opens, args=[args[0].pk]) if opens else url, query or {})
        assert page.status_code == 200, (name, page.status_code, page.text[:400])
        if opens:
            assert url in page.text, f"no way to {url} on the page that holds its form"
        data = {**filled(page.context[form], typed), **(raw or {})}
        target = url if opens else page.context.get("action") or url
        response = self.client.post(target, data)
        assert response.status_code == 302, (name, response.status_code, errors_of(response))
        return response

    def try_to(self, name: str, /, *args: Any, form: str = "form", **typed: Any):
        """The same for a form that is expected to come back: answers the response."""
        url = reverse(name, args=[getattr(arg, "pk", arg) for arg in args])
        page = self.client.get(url)
        return self.client.post(page.context.get("action") or url, filled(page.context[form], typed))


def filled(form: BaseForm, typed: dict[str, Any]) -> dict[str, Any]:
    """What a browser would send: what the form shows, with what was typed put over it."""
    data: dict[str, Any] = {}
    unknown = set(typed) - set(form.fields)
    assert not unknown, f"{type(form).__name__} has no {unknown}; it has {list(form.fields)}"
    for name in form.fields:
        bound = form[name]
        value = typed.get(name, bound.value())
        if hasattr(bound.field.widget, "decompress"):
            parts = value if isinstance(value, (list, tuple)) else bound.field.widget.decompress(value)
            widgets = bound.field.widget.widgets
            for suffix, widget, part in zip(bound.field.widget.widgets_names, widgets, parts, strict=True):
                choices = getattr(widget, "choices", None)
                if part in (None, "") and choices:
                    part = next(iter(choices))[0]
                data[f"{bound.html_name}{suffix}"] = _text(part)
        elif isinstance(value, bool):
            if value:
                data[bound.html_name] = "on"
        elif isinstance(value, (list, tuple)) or hasattr(value, "all"):
            rows = value.all() if hasattr(value, "all") else value
            data[bound.html_name] = [_text(row) for row in rows]
        else:
            data[bound.html_name] = _text(value)
    return data


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, Model):
        return str(value.pk)
    if isinstance(value, Decimal):
        return format(value, "f")
    if hasattr(value, "isoformat"):
        return value.isoformat()[:16]
    return str(value)


def errors_of(response) -> Any:
    form = (response.context or {}).get("form") if response.context else None
    return form.errors if form is not None else response.text[:500]
