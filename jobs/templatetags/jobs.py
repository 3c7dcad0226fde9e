"""Template tags of the job pages.

A page that stays up to date by itself (`static/js/live.js`) is drawn in parts. Each has a name and the mark of what
it shows; when the page is asked for again, only the parts whose mark differs are put in place of the old ones.
"""

from __future__ import annotations

import re
from hashlib import blake2b
from uuid import uuid4

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from jobs.sections import Gathered

register = template.Library()

# What differs each time a form is drawn, though it is the same form.
_ANEW = re.compile(r'name="(?:csrfmiddlewaretoken|key)"[^>]*')


def mark_of(html: str) -> str:
    """Twelve characters that are the same for the same content."""
    return blake2b(_ANEW.sub("", html).encode(), digest_size=6).hexdigest()


def as_part(name: str, html: str, tag: str = "div", classes: str = "") -> SafeString:
    return format_html(
        '<{0} class="{1}" data-part="{2}" data-mark="{3}">{4}</{0}>',
        mark_safe(tag),
        classes or "part",
        name,
        mark_of(html),
        mark_safe(html),
    )


@register.simple_tag(takes_context=True)
def draw(context, gathered: Gathered) -> str:
    """Draw a section with its own names pushed over the page's: `{% draw section %}`. A section is one part, unless
    it says that it is made of several.
    """
    section = gathered.section
    found = context.template.engine.get_template(section.template)
    with context.push(**gathered.context):
        html = found.render(context)
    return html if section.of_parts else as_part(section.slug, html)


@register.simple_tag
def act_key() -> str:
    """The key of an act that is one button: `{% act_key %}` inside its form. Sent twice, it is one record."""
    return format_html('<input type="hidden" name="key" value="{}">', uuid4())


@register.simple_block_tag
def part(content: str, name: str, tag: str = "div", classes: str = "") -> str:
    """`{% part "head" %} … {% endpart %}`: one part of a page that stays up to date by itself."""
    return as_part(name, content, tag, classes)
