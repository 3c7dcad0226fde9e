"""What this shop wrote as causes and corrections before, for whoever writes the next."""

from __future__ import annotations

from hashlib import sha256

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified, JsonResponse
from django.urls import path
from django.views.decorators.http import require_safe

from jobs.models import WorkLine
from workshop.pages import may
from workshop.permissions import May
from workshop.phrases import phrases

LINES = 500
# Only what technicians write of the work: a complaint is in the owner's words.
FIELDS = ("cause", "correction")


@may(May.EDIT_LINE)
@require_safe
def line_phrases(request: HttpRequest, field: str) -> HttpResponse:
    """Phrases out of the latest lines: one query; 304 while nothing new was written."""
    if field not in FIELDS:
        raise Http404
    rows = WorkLine.objects.exclude(**{field: ""}).order_by("-made_at", "-pk").values_list(field, flat=True)
    found = phrases(rows[:LINES])
    tag = f'"{sha256(chr(10).join(found).encode()).hexdigest()[:24]}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers=headers)
    return JsonResponse({"phrases": found}, headers=headers)


urlpatterns = [path("phrases/<slug:field>/", line_phrases, name="phrases")]
