"""Sending a page's form back as a browser would."""

from __future__ import annotations

from workshop.engineering.units import Amount


def form_of(client, url) -> dict:
    """The fields of the form that a page shows, with their values, ready to be changed and sent."""
    form, sent = client.get(url).context["form"], {}
    for name in form.fields:
        value = form[name].value()
        if isinstance(value, Amount):
            sent |= {f"{name}_value": str(value.value), f"{name}_unit": value.unit}
        elif value is not None and value is not False:
            sent[name] = value
    return sent
