"""Template tags of the job pages."""

from django import template

from jobs.sections import Gathered

register = template.Library()


@register.simple_tag(takes_context=True)
def draw(context, gathered: Gathered) -> str:
    """Draw a section with its own names pushed over the page's: `{% draw section %}`."""
    found = context.template.engine.get_template(gathered.section.template)
    with context.push(**gathered.context):
        return found.render(context)
