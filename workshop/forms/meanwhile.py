"""Two people, one record: a form that was refused because somebody else saved meanwhile shows both texts.

Each field is one of three: it was not touched here, so it takes what is on record now by itself; the other one did not
touch it, so what was typed stays; both wrote into it, so both are shown, and whoever saves decides. To tell them apart
the form carries, hidden, a digest of what each field began with.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.formats import date_format

from workshop import log
from workshop.canonical import sha256
from workshop.forms.fields import plain_number

if TYPE_CHECKING:
    from workshop.acting import ChangedMeanwhile
    from workshop.forms.base import ActForm

# Two texts of a field that holds no more than this are quicker written anew than put together.
LONG = 100


@dataclass(frozen=True)
class Both:
    """For components/_meanwhile.html. `take_…` are what the controls of the field would hold, as JSON; empty where
    that can't be told. `taken`: the field was not touched, and reads as on record now.
    """

    by: str
    theirs: str
    mine: str
    take_theirs: str = ""
    take_mine: str = ""
    take_both: str = ""
    taken: bool = False


def begun_with(form: ActForm) -> str:
    """What each field of the form begins with, as "name:digest name:digest"."""
    return _text({name: _digest(parts) for name in form.fields if (parts := _begins(form[name])) is not None})


def compare(form: ActForm, refusal: ChangedMeanwhile) -> ValidationError:
    """Put what is on record now beside what was typed; answers the sentence for the top of the form. One query."""
    event = log.last_change(refusal.record)
    by = f"{event.person}, {clock(event.made_at)}" if event else ""
    begun, now = _read(form.data.get(form.add_prefix("seen_values"), "")), {}
    differ, taken = [], []
    for name, value in refusal.current.items():
        if name not in form.fields:
            continue
        bound, theirs = form[name], _parts(form.fields[name], value)
        if theirs is not None:
            now[name] = _digest(theirs)
        mine = _sent(bound)
        if form.cleaned_data.get(name) == value or (theirs is not None and mine == theirs):
            continue
        if name in begun and begun[name] == now.get(name):
            continue  # they did not touch it: what was typed stays
        shown = Both(
            by, words(form, name, value, refusal.record), words(form, name, form.cleaned_data.get(name))
        )
        if theirs is not None and begun.get(name) == _digest(mine):
            _put(form, name, theirs)
            bound.meanwhile = Both(by, shown.theirs, shown.mine, taken=True)
            taken.append(bound)
            continue
        both = _both(bound, value, form.cleaned_data.get(name))
        bound.meanwhile = Both(
            by,
            shown.theirs,
            shown.mine,
            take_theirs="" if theirs is None else json.dumps(theirs, ensure_ascii=False),
            take_mine="" if theirs is None else json.dumps(mine, ensure_ascii=False),
            take_both=json.dumps([both], ensure_ascii=False) if both else "",
        )
        differ.append(bound)
    if begun:
        form._put("seen_values", _text(begun | now))
    who = _who(event, refusal)
    said = ValidationError(f"{who} {_what(differ, taken)}", code="changed_meanwhile")
    # For a list in which only what was typed stands: there is nothing below.
    said.from_afar = f"{who} Open its page and save it there: both texts then stand side by side."
    return said


def together(theirs: str, mine: str) -> str:
    """Their text, then what of mine is not in it: by lines, and in a line that begins alike from the sentence on in
    which the two part.
    """
    standing = [line.strip() for line in theirs.splitlines()]
    added = []
    for line in (each.strip() for each in mine.splitlines()):
        rest = line[max((_alike(line, other) for other in standing), default=0) :].strip()
        if rest and rest not in theirs:
            added.append(rest)
    return "\n".join([theirs.rstrip(), *added])


def _alike(line: str, other: str) -> int:
    """How much of the line is the other's too, in whole sentences."""
    if line == other:
        return len(line)
    same = next(
        (place for place, (one, two) in enumerate(zip(line, other, strict=False)) if one != two),
        min(len(line), len(other)),
    )
    if same == len(other) and line[same : same + 1] in (" ", ""):
        return same  # mine goes on where theirs ends
    return max((line.rfind(end, 0, same + 1) + 1 for end in (". ", "; ", "! ", "? ")), default=0)


def words(form: ActForm, name: str, value: Any, record: models.Model | None = None) -> str:
    """A field's value as people read it."""
    field = form.fields[name]
    display = getattr(record, f"get_{name}_display", None)
    if display is not None:
        value = display()
    elif isinstance(field, forms.ChoiceField) and not isinstance(field, forms.ModelChoiceField):
        labels = {str(key): label for key, label in _flat(field.choices)}
        value = labels.get(str(value), value) if value not in ("", None) else ""
    match value:
        case None | "":
            return "(empty)"
        case bool():
            return "yes" if value else "no"
        case datetime():
            return date_format(timezone.localtime(value), "j M Y H:i")
        case models.QuerySet():
            return ", ".join(str(row) for row in value) or "(none)"
    unit = getattr(field, "unit", "")
    return f"{plain_number(value)} {unit}".strip()


def clock(moment: datetime) -> str:
    """14:03, or with its day where that is not today."""
    local = timezone.localtime(moment)
    return date_format(local, "H:i" if local.date() == timezone.localdate() else "j M Y H:i")


# --- the sentence ------------------------------------------------------------------------------------------


def _who(event: Any, refusal: ChangedMeanwhile) -> str:
    if event is None:
        return "Somebody else changed this while you were writing."
    if refusal.reader is not None and event.person_id == refusal.reader.pk:
        return (
            f"You changed this yourself at {clock(event.made_at)}, in another window or on another device, while this "
            "was being written."
        )
    return f"{event.person} changed this at {clock(event.made_at)}, while you were writing."


def _what(differ: list[BoundField], taken: list[BoundField]) -> str:
    if differ:
        labels = ", ".join(f"“{bound.label}”" for bound in differ)
        return f"Compare both texts below ({labels}), settle what stands in the field, and save again."
    if taken:
        labels = ", ".join(f"“{bound.label}”" for bound in taken)
        return f"You had not touched {labels}: there it now reads as on record. Look it over, and save again."
    return "It does not touch what you typed. Look it over, and save again."


# --- what the controls of a field hold ---------------------------------------------------------------------


def _parts(field: forms.Field, value: Any) -> list[str] | None:
    """What a browser would send for this value, one text for each control; None where that can't be told."""
    widget = field.widget
    try:
        if isinstance(widget, forms.CheckboxInput):
            return ["on"] if value else []
        if isinstance(widget, forms.MultiWidget):
            value = value if isinstance(value, (list, tuple)) else widget.decompress(value)
            parts = [_plain(each) for each in value]
            return parts if parts and parts[0] else []  # a unit without its number is nothing yet
        value = field.prepare_value(value)
        if isinstance(widget, forms.SelectMultiple):
            return sorted(_plain(each) for each in value or ())
        shown = widget.format_value(value)
    except (TypeError, ValueError, AttributeError):
        return None
    if isinstance(shown, (list, tuple)):
        shown = shown[0] if shown else ""
    return [text] if (text := _plain(shown)) else []


def _plain(value: Any) -> str:
    return "" if value is None else str(value).replace("\r\n", "\n").strip()


def _begins(bound: BoundField) -> list[str] | None:
    if bound.is_hidden or bound.name == "made_at":
        return None
    return _parts(bound.field, bound.initial)


def _sent(bound: BoundField) -> list[str]:
    data = bound.data
    return (_parts(bound.field, data) if data is not None else []) or []


def _put(form: ActForm, name: str, parts: list[str]) -> None:
    """Have the field come back with this."""
    form.data = form.data.copy()
    widget, html = form.fields[name].widget, form.add_prefix(name)
    if isinstance(widget, forms.MultiWidget):
        for suffix, part in zip(widget.widgets_names, parts or [""] * len(widget.widgets), strict=False):
            form.data[f"{html}{suffix}"] = part
    elif isinstance(widget, forms.SelectMultiple):
        form.data.setlist(html, parts)
    elif parts:
        form.data[html] = parts[0]
    elif isinstance(widget, forms.CheckboxInput):
        form.data.pop(html, None)
    else:
        form.data[html] = ""


def _both(bound: BoundField, theirs: Any, mine: Any) -> str:
    """Both texts in one, where they are long enough for that and the field takes it; else empty."""
    field = bound.field
    if not (isinstance(theirs, str) and isinstance(mine, str) and theirs.strip() and mine.strip()):
        return ""
    long = isinstance(field.widget, forms.Textarea) or (getattr(field, "max_length", None) or 0) > LONG
    if not long or isinstance(field, forms.ChoiceField):
        return ""
    both = together(theirs.replace("\r\n", "\n"), mine.replace("\r\n", "\n"))
    return both if len(both) <= (getattr(field, "max_length", None) or len(both)) else ""


def _flat(choices: Any) -> list[tuple[Any, Any]]:
    rows: list[tuple[Any, Any]] = []
    for key, label in choices:
        rows += label if isinstance(label, (list, tuple)) else [(key, label)]
    return rows


def _digest(parts: list[str]) -> str:
    return sha256("\x1f".join(parts))[:8]


def _text(digests: dict[str, str]) -> str:
    return " ".join(f"{name}:{digest}" for name, digest in digests.items())


def _read(text: str) -> dict[str, str]:
    return dict(pair for each in text.split() if len(pair := each.split(":")) == 2)
