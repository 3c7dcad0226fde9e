"""Photos and documents: added, looked at, described, set aside, erased; and the bytes, to those who may see the car."""

from __future__ import annotations

import contextlib
from typing import Any
from uuid import UUID, uuid4

from django.core.files.uploadedfile import UploadedFile
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.http import content_disposition_header, url_has_allowed_host_and_scheme
from django.utils.text import slugify

from vehicles import photos as reads
from vehicles.acts import photo as acts
from vehicles.files import pictures, store
from vehicles.files.intake import MOST_FILES, Stored, take_in
from vehicles.files.pictures import Refused
from vehicles.forms import photo as forms
from vehicles.models import Angle, Attachment, AttachmentKind, Moment, Occasion, Place, Vehicle
from vehicles.panels import Panel, add_panel
from vehicles.views.vehicle import visible_vehicle
from workshop.pages import act_page, may
from workshop.permissions import May
from workshop.queued import queued

PER_PAGE = 48
ON_VEHICLE_PAGE = 4
# What a photo may belong to, as the query string names it, and how each is known to be of a car.
OF_THE_CAR = {
    "job": "vehicle",
    "damage": "vehicle",
    "fault": "vehicle",
    "part": "vehicle",
    "survey": "vehicle",
    "item": "vehicle",
    "line": "job__vehicle",
    "run": "job__vehicle",
    "sheet": "job__vehicle",
}
# Nothing in these bytes is run, shown as a page or guessed at, whatever a browser makes of them.
SAFE = {
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "private, max-age=604800, immutable",
}


def visible_photo(request: HttpRequest, photo_id: UUID) -> Attachment:
    """The photo with what it belongs to, when this person may see it; else 404."""
    return get_object_or_404(
        Attachment.objects.visible_to(request.user).select_related(
            "vehicle", "made_by", "device", "job", "line", "fault", "part__place", "place", "item", "damage",
            "set_aside_by", "erased_by",
        ),
        pk=photo_id,
    )  # fmt: skip


# ---------------------------------------------------------------- adding


@may(May.ADD_FILES)
@queued(acts.add_files, what="Photo")
def photo_add(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """Add files to a car, or to what the query string names on it. A script sends one by one and gets JSON."""
    car = visible_vehicle(request, vehicle_id)
    about = _about_what(request, car)
    wants_json = request.headers.get("Accept") == "application/json"
    kind = about.get("kind", "")
    options = {
        "asks_moment": bool({"line", "job", "fault", "part"} & about.keys()) and "angle" not in about,
        "needs_caption": kind == AttachmentKind.DOCUMENT,
        "pictures_only": kind == AttachmentKind.PHOTO or "angle" in about,
    }
    status, saved, refused = 200, [], []
    start = {name: request.GET[name] for name in ("caption", "moment") if name in request.GET}
    if request.method == "POST":
        form = forms.AddFilesForm(request.POST, request.FILES, **options)
        if form.is_valid():
            saved, refused = _add(request, form, car, about)
            if not refused and not form.errors and not wants_json:
                return redirect(_next(request, car))
        if form.errors or refused:
            status = 422
        if saved and not wants_json:
            # What was fine is on record; the form goes on with what was not, under a key of its own.
            form = forms.AddFilesForm(
                initial={
                    **{name: form.cleaned_data.get(name) for name in ("caption", "moment")},
                    "key": uuid4(),
                },
                **options,
            )
    else:
        form = forms.AddFilesForm(initial=start, **options)
    if wants_json:
        return _as_json(form, saved, refused, status)
    context = {
        "vehicle": car,
        "form": form,
        "saved": saved,
        "refused": refused,
        "title": _title(about),
        "subject": _subject(about, car),
        "next_url": _next(request, car),
        "kind": kind,
    }
    return render(request, "vehicles/photo_add.html", context, status=status)


def _add(request: HttpRequest, form, car: Vehicle, about: dict[str, Any]):
    """Take in each file by itself, then write down the good ones in one act. Answers (saved, refused)."""
    taken: list[Stored] = []
    refused: list[tuple[str, str]] = []
    uploads: list[UploadedFile] = form.cleaned_data["files"]
    for upload in uploads[:MOST_FILES]:
        try:
            taken.append(
                take_in(
                    upload,
                    head=request.FILES.get("head"),
                    pictures_only=form.pictures_only,
                )
            )
        except Refused as refusal:
            refused.append((upload.name, str(refusal)))
    refused += [
        (upload.name, f"{MOST_FILES} files at once are the limit. Send this one after.")
        for upload in uploads[MOST_FILES:]
    ]
    if not taken:
        return [], refused
    fixed = {
        "vehicle": car,
        **about,
        **({"moment": form.cleaned_data["moment"]} if "moment" in form.fields else {}),
    }
    form.cleaned_data["files"] = taken
    arguments = form.act_arguments
    form.act_arguments = lambda: {name: value for name, value in arguments().items() if name != "moment"}
    if _wants_captions(taken) and not form.cleaned_data["caption"]:
        # A PDF has no picture to be known by, so it goes by what it is called.
        form.cleaned_data["caption"] = _spoken(uploads[0].name)
    if not form.try_act(acts.add_files, request=request, **fixed):
        return [], refused
    return acts.added_by(form.cleaned_data["key"]), refused


def _wants_captions(taken: list[Stored]) -> bool:
    return any(stored.width is None for stored in taken)


def _spoken(name: str) -> str:
    """A file's name as a caption: without its ending, with spaces."""
    return name.rpartition(".")[0].replace("_", " ").strip()[:200] or "Document"


def _as_json(form, saved: list[Attachment], refused: list[tuple[str, str]], status: int) -> JsonResponse:
    sentences = [sentence for _, sentence in refused] or [
        str(error) for errors in form.errors.values() for error in errors
    ]
    rows = [
        {
            "url": row.get_absolute_url(),
            "thumb": row.thumb_url() if row.is_picture else "",
            "label": str(row),
            "described": bool(row.caption),
        }
        for row in saved
    ]
    return JsonResponse({"photos": rows, "sentences": sentences if status != 200 else []}, status=status)


def _about_what(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    """The act's arguments that the query string gives: records of this car, and words out of closed lists; else 404."""
    asked, found = request.GET, {}
    for name, lookup in OF_THE_CAR.items():
        if value := asked.get(name):
            model = Attachment._meta.get_field(name).related_model
            try:
                found[name] = model._default_manager.get(**{"pk": UUID(value), lookup: car})
            except (ValueError, model.DoesNotExist):
                raise Http404 from None
    if asked.get("place"):
        found["place"] = get_object_or_404(Place, pk=asked["place"])
    for name, choices in (
        ("kind", AttachmentKind),
        ("occasion", Occasion),
        ("angle", Angle),
        ("moment", Moment),
        ("position", Attachment._meta.get_field("position").choices),
    ):
        if value := asked.get(name):
            allowed = dict(choices) if name == "position" else choices.values
            if value not in allowed:
                raise Http404
            found[name] = value
    if ("angle" in found) != ("occasion" in found):
        raise Http404
    return found


def _title(about: dict[str, Any]) -> str:
    if "angle" in about:
        return Angle(about["angle"]).label
    return {
        AttachmentKind.DOCUMENT: "Add a document",
        AttachmentKind.SIGNED_PAPER: "Add the signed paper",
    }.get(about.get("kind"), "Add photos")


def _subject(about: dict[str, Any], car: Vehicle) -> tuple[str, str]:
    """What the files will belong to, in words, and where that is seen."""
    for name in ("damage", "run", "line", "fault", "item", "part", "survey", "sheet", "job"):
        if (record := about.get(name)) is not None:
            words = {"job": f"Job {record}", "line": getattr(record, "complaint", "")}.get(
                name
            ) or f"{record}"
            return words[:1].upper() + words[1:], record.get_absolute_url()
    if "place" in about:
        return about["place"].with_position(about.get("position", "")), ""
    return car.name, car.get_absolute_url()


def _next(request: HttpRequest, car: Vehicle) -> str:
    """Where to go on afterwards: the page that the link came from when it is one of ours, else the car's photos."""
    address = request.GET.get("next", "")
    if address.startswith("/") and url_has_allowed_host_and_scheme(address, {request.get_host()}):
        return address
    return reverse("vehicles:photos", args=[car.pk])


# ---------------------------------------------------------------- looking


@may(May.SEE_FILES)
def photos(request: HttpRequest, vehicle_id: UUID) -> HttpResponse:
    """All photos and documents of a car, newest first. Leads also see what was set aside."""
    car = visible_vehicle(request, vehicle_id)
    rows = Attachment.objects.visible_to(request.user).filter(vehicle=car).select_related("job", "made_by")
    aside = rows.filter(Q(set_aside_at__isnull=False) | Q(erased_at__isnull=False))
    shown = rows.filter(set_aside_at=None, erased_at=None)
    show = request.GET.get("show", "")
    if show == "aside" and request.user.may(May.SET_FILES_ASIDE):
        shown = aside
    elif show == "documents":
        shown = shown.exclude(kind=AttachmentKind.PHOTO)
    page = Paginator(shown.order_by("-made_at", "-order_sent", "pk"), PER_PAGE).get_page(
        request.GET.get("page")
    )
    context = {
        "vehicle": car,
        "page_obj": page,
        "show": show,
        "aside": aside.count() if request.user.may(May.SET_FILES_ASIDE) else 0,
        "documents": rows.exclude(kind=AttachmentKind.PHOTO).count(),
        "is_staff": request.user.may(May.SEE_SHOP),
    }
    return render(request, "vehicles/photos.html", context)


@may(May.SEE_FILES)
def photo(request: HttpRequest, photo_id: UUID) -> HttpResponse:
    row = visible_photo(request, photo_id)
    staff = request.user.may(May.SEE_SHOP)
    siblings = _siblings(request, row)
    at = next((index for index, each in enumerate(siblings) if each.pk == row.pk), None)
    context = {
        "photo": row,
        "vehicle": row.vehicle,
        "is_staff": staff,
        "missing": "" if row.erased_at else store.problem(row.file, row.suffix, row.size),
        "pair": _pair(row, siblings),
        "earlier": siblings[at - 1] if at else None,
        "later": siblings[at + 1] if at is not None and at + 1 < len(siblings) else None,
        "count": len(siblings),
        "at": at + 1 if at is not None else 0,
        "may_set_aside": acts.may_set_aside(request.user, row),
    }
    return render(request, "vehicles/photo.html", context)


def _siblings(request: HttpRequest, row: Attachment) -> list[Attachment]:
    """The photos of the same thing, in the order in which they were added: one query."""
    rows = Attachment.objects.visible_to(request.user).filter(vehicle=row.vehicle_id)
    for name in ("damage", "line", "fault", "item", "part", "survey", "sheet"):
        if (key := getattr(row, f"{name}_id")) is not None:
            return list(rows.filter(**{name: key}).shown())
    if row.angle:
        return list(rows.filter(job=row.job_id, occasion=row.occasion).shown())
    return list(rows.filter(job=row.job_id, line=None, fault=None, damage=None, occasion="").shown())


def _pair(row: Attachment, siblings: list[Attachment]) -> tuple[Attachment, Attachment] | None:
    """This photo with its counterpart, before first; None where it has none."""
    for before, after in reads.pairs(siblings):
        if before and after and row.pk in (before.pk, after.pk):
            return before, after
    return None


@may(May.SEE_FILES)
def photo_file(request: HttpRequest, photo_id: UUID) -> HttpResponse:
    row = visible_photo(request, photo_id)
    return bytes_of(request, row, row.file)


@may(May.SEE_FILES)
def photo_thumb(request: HttpRequest, photo_id: UUID) -> HttpResponse:
    row = visible_photo(request, photo_id)
    if not row.thumb:
        raise Http404
    return bytes_of(request, row, row.thumb, small="small" in request.GET)


def bytes_of(request: HttpRequest, row: Attachment, digest: str, *, small: bool = False) -> HttpResponse:
    """What is on the disk, for whoever may see it: the caller has looked."""
    if row.erased_at is not None:
        return _said(request, "This was erased", row.gone, 410)
    tag = f'"{digest}{"-small" if small else ""}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers={"ETag": tag, **SAFE})
    try:
        data = store.path_of(digest, row.suffix).read_bytes()
    except OSError:
        return _said(
            request,
            "The file is missing",
            "The record is here, but its file can't be read from the server's disk. Whoever runs the server brings it "
            "back from a backup of the folder “files”; “manage.py verify_records” names every file that is missing.",
            404,
        )
    suffix, media_type = row.suffix, row.media_type
    if small:
        # One that can't be made smaller is sent as it is.
        with contextlib.suppress(OSError):
            data, suffix, media_type = pictures.small_of(data), "webp", "image/webp"
    name = f"{slugify(str(row))[:60] or 'file'}.{suffix}"
    disposition = content_disposition_header(not row.is_picture, name)
    return HttpResponse(
        data,
        content_type=media_type,
        headers={**SAFE, "ETag": tag, "Content-Disposition": disposition},
    )


def _said(request: HttpRequest, title: str, sentence: str, status: int) -> HttpResponse:
    context = {"title": title, "sentence": sentence}
    return render(request, "vehicles/photo_gone.html", context, status=status)


# ---------------------------------------------------------------- afterwards


@may(May.ADD_FILES)
def photo_describe(request: HttpRequest, photo_id: UUID) -> HttpResponse:
    row = visible_photo(request, photo_id)
    return act_page(
        request,
        form_class=forms.DescribeForm,
        act=acts.describe,
        title="Say what it shows",
        fixed={"attachment": row},
        initial={"seen_version": row.version, "caption": row.caption, "moment": row.moment},
        done=row,
        said="Saved.",
        template="vehicles/photo_act.html",
        context={"photo": row, "kicker": row.vehicle.name, "kicker_url": row.vehicle.get_absolute_url()},
    )


def _on_photo(request: HttpRequest, photo_id: UUID, act, title: str, intro: str, submit: str) -> HttpResponse:
    row = visible_photo(request, photo_id)
    return act_page(
        request,
        form_class=forms.BecauseForm,
        act=act,
        title=title,
        intro=intro,
        submit=submit,
        fixed={"attachment": row},
        done=row,
        said=f"{title}: done.",
        template="vehicles/photo_act.html",
        context={"photo": row, "kicker": row.vehicle.name, "kicker_url": row.vehicle.get_absolute_url()},
    )


@may(May.ADD_FILES)
def photo_set_aside(request: HttpRequest, photo_id: UUID) -> HttpResponse:
    return _on_photo(
        request,
        photo_id,
        acts.set_aside,
        "Set it aside",
        "It is taken out of every page and no longer shown to the car's owner. The file and its record stay, with the "
        "reason, and it can be brought back.",
        "Set it aside",
    )


@may(May.SET_FILES_ASIDE)
def photo_bring_back(request: HttpRequest, photo_id: UUID) -> HttpResponse:
    return _on_photo(
        request,
        photo_id,
        acts.bring_back,
        "Bring it back",
        "It is shown again where it belongs.",
        "Bring it back",
    )


@may(May.ERASE)
def photo_erase(request: HttpRequest, photo_id: UUID) -> HttpResponse:
    return _on_photo(
        request,
        photo_id,
        acts.erase,
        "Erase the file for good",
        "The picture or document is removed from the server's disk and can't be brought back from here; copies in "
        "backups are yours to see to. Its record stays, with your reason and without its caption.",
        "Erase it for good",
    )


def gather(request: HttpRequest, car: Vehicle) -> dict[str, Any]:
    """Two queries: the latest ones, and how many there are."""
    rows = Attachment.objects.shown().filter(vehicle=car)
    latest = list(rows.select_related("made_by").order_by("-made_at", "-order_sent", "pk")[:ON_VEHICLE_PAGE])
    return {"latest": latest, "count": rows.count()}


add_panel(Panel(45, "photos", "Photos and documents", "vehicles/_photos_panel.html", gather))

_P = "photos/<uuid:photo_id>/"
urlpatterns = [
    path("vehicles/<uuid:vehicle_id>/photos/", photos, name="photos"),
    path("vehicles/<uuid:vehicle_id>/photos/add/", photo_add, name="photo-add"),
    path(_P, photo, name="photo"),
    path(f"{_P}file/", photo_file, name="photo-file"),
    path(f"{_P}thumb/", photo_thumb, name="photo-thumb"),
    path(f"{_P}describe/", photo_describe, name="photo-describe"),
    path(f"{_P}set-aside/", photo_set_aside, name="photo-set-aside"),
    path(f"{_P}bring-back/", photo_bring_back, name="photo-bring-back"),
    path(f"{_P}erase/", photo_erase, name="photo-erase"),
]
