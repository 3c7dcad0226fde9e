"""How pages are made: who may open a view, and the one way in which a form becomes an act."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url

from workshop.permissions import May


def may(what: May) -> Callable:
    """Declare what one must be allowed to do to open this view. The middleware enforces it."""

    def decorate(view: Callable) -> Callable:
        view.may = what
        return view

    return decorate


def public(view: Callable) -> Callable:
    """A page for everybody, signed in or not."""
    view.public = True
    return login_not_required(view)


def act_page(
    request: HttpRequest,
    *,
    form_class: type[BaseForm],
    act: Callable,
    title: str,
    fixed: dict[str, Any] | None = None,
    form_kwargs: dict[str, Any] | None = None,
    initial: dict[str, Any] | None = None,
    done: Any = None,
    cancel: Any = None,
    submit: str = "Save",
    intro: str = "",
    cautions: list[str] | tuple[str, ...] = (),
    said: str | Callable[[Any], str] = "",
    template: str = "act.html",
    context: dict[str, Any] | None = None,
) -> HttpResponse:
    """Show the form of one act; on POST perform it and go on, or show the form filled (422) with the refusal.

    `fixed` are arguments of the act that the page itself gives (the vehicle, the job). `done` is where to go
    afterwards: an object with `get_absolute_url`, a URL name or path, or a callable of the act's answer; without
    it, the answer's own page. `said` is the message shown there, or makes it of the answer. Fields may be prefilled from the query string.
    """
    fixed, form_kwargs = fixed or {}, form_kwargs or {}
    if request.method == "POST":
        form = form_class(request.POST, request.FILES, initial=initial, **form_kwargs)
        if form.is_valid() and form.try_act(act, request=request, **fixed):
            messages.success(request, said(form.answer) if callable(said) else said or "Saved.")
            target = done(form.answer) if callable(done) else (done or form.answer)
            return answered(request, target, form)
        status = 422
    else:
        names = form_class.base_fields
        asked = {name: value for name, value in request.GET.items() if name in names and name != "key"}
        form = form_class(initial={**(initial or {}), **asked}, **form_kwargs)
        status = 200
    page = {
        "title": title,
        "form": form,
        "intro": intro,
        "cautions": cautions,
        "submit_label": submit,
        "cancel_url": resolve_url(
            cancel or (done if done is not None and not callable(done) else None) or "home"
        ),
        **fixed,
        **(context or {}),
    }
    return render(request, template, page, status=status)


def pdf_answer(pdf: bytes, name: str, *, save: bool = False, frozen: bool = False) -> HttpResponse:
    """A PDF, opened in the browser or saved as a file of this name. `frozen`: its bytes stay as they are."""
    return HttpResponse(
        bytes(pdf),
        headers={
            "Content-Type": "application/pdf",
            "Content-Disposition": f'{"attachment" if save else "inline"}; filename="{name}"',
            "Content-Security-Policy": "default-src 'none'; object-src 'self'",
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-cache" if frozen else "private, no-store",
        },
    )


def answered(request: HttpRequest, target: Any, form: Any) -> HttpResponse:
    """Go on after an act. The key in the header is what tells a script that this very form was saved."""
    address = resolve_url(target)
    if request.htmx:
        response = HttpResponse(status=200, headers={"HX-Redirect": address})
    else:
        response = redirect(address)
    response.headers["X-Saved-Key"] = str(form.cleaned_data["key"])
    return response
