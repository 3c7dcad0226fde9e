"""Templates keep to the content security policy, which would stop the browser from doing what they ask.

The policy is default-src 'none'; script-src 'self'; style-src 'self': no inline script or style, nothing from
another host. A breach is silent for whoever writes the template (the page merely lacks its look or its act),
so it is looked for here, in the text of every template.
"""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

TEMPLATES = Path(__file__).resolve().parent.parent / "templates"
FILES = sorted(file for file in TEMPLATES.rglob("*") if file.is_file())

COMMENTS = re.compile(r"\{#.*?#\}|\{%\s*comment\b.*?%\}.*?\{%\s*endcomment\s*%\}", re.DOTALL)
TAGS = re.compile(r"\{%.*?%\}|\{\{.*?\}\}", re.DOTALL)
OTHER_HOST = re.compile(r"\s*(?:https?:)?//", re.IGNORECASE)
SCRIPT_URL = re.compile(r"\s*(?:java|live|vb)script:", re.IGNORECASE)
# What a browser fetches by itself. Not <a>: a person may follow a link to elsewhere.
FETCHED = {
    "script": ("src", "href", "xlink:href"),
    "link": ("href",),
    "img": ("src", "srcset"),
    "source": ("src", "srcset"),
    "image": ("href", "xlink:href"),
    "use": ("href", "xlink:href"),
    "input": ("src",),
    "iframe": ("src",),
    "embed": ("src",),
    "object": ("data",),
    "audio": ("src",),
    "video": ("src", "poster"),
    "track": ("src",),
    "base": ("href",),
}


class Reader(HTMLParser):
    """Collects what the policy forbids. Feed it HTML; read `complaints` as (line, sentence)."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.complaints: list[tuple[int, str]] = []

    def complain(self, sentence: str) -> None:
        self.complaints.append((self.getpos()[0], sentence))

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)

    def handle_starttag(self, tag, attrs):
        values = {name: value or "" for name, value in attrs}
        if tag == "style":
            self.complain("<style>: put it into a file under static/css")
        if tag == "script" and not values.keys() & {"src", "href", "xlink:href"}:
            self.complain("<script> without src: put it into a file under static/js")
        for name, value in values.items():
            self.look_at(name, value)
        for name in FETCHED.get(tag, ()):
            for part in values.get(name, "").split(","):  # srcset holds several
                if OTHER_HOST.match(part):
                    self.complain(f"<{tag} {name}> from another host: keep a copy under static/")

    def look_at(self, name: str, value: str) -> None:
        plain = name.removeprefix("data-")
        if name == "style":
            self.complain("style attribute: use a class, or an SVG presentation attribute")
        if name.startswith("on"):
            self.complain(f"{name}: listen in a file under static/js")
        if plain.startswith("hx-on"):
            self.complain(f"{name}: needs eval; listen in a file under static/js")
        takes_json = plain in ("hx-vals", "hx-headers", "hx-request")
        if plain == "hx-vars" or (takes_json and re.match(r"\s*(?:js|javascript):", value)):
            self.complain(f"{name} with script: needs eval; send plain JSON or a form field")
        elif SCRIPT_URL.match(value):
            self.complain(f"{name} with a script URL: use a button and a file under static/js")
        if plain == "hx-trigger" and "[" in value:
            # Worse than useless: without eval htmx leaves the filter out, so it always fires.
            self.complain("hx-trigger with a filter: needs eval; decide in a file under static/js")


def blank(match: re.Match) -> str:
    """As many lines, nothing else: `<input {% if x %}style="…"` shows its attribute, line numbers stay."""
    return " " + "\n" * match[0].count("\n")


def breaches(text: str) -> list[str]:
    reader = Reader()
    reader.feed(TAGS.sub(blank, COMMENTS.sub(blank, text)))
    reader.close()
    return [f"line {line}: {sentence}" for line, sentence in reader.complaints]


def test_there_are_templates_to_look_at():
    assert any(file.name == "base.html" for file in FILES)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.relative_to(TEMPLATES).as_posix())
def test_template_keeps_to_the_policy(file):
    assert breaches(file.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('<p style="color:red">', "style attribute"),
        ("<svg><path STYLE='fill:red'/></svg>", "style attribute"),
        ('<p {% if a > b %}style="width: {{ width }}%"{% endif %}>', "style attribute"),
        ('<p class="a{% if x %} b{% endif %}" style="">', "style attribute"),
        ("{% if x %}<style>p { color: red }</style>{% endif %}", "<style>"),
        ("<script>alert(1)</script>", "<script> without src"),
        ('<script type="module">import "./a.js"</script>', "<script> without src"),
        ('<button onclick="go()">', "onclick"),
        ('<button hx-on:click="go()">', "hx-on:click"),
        ('<button hx-on::after-request="go()">', "hx-on::after-request"),
        ('<button data-hx-on-click="go()">', "data-hx-on-click"),
        ("""<form hx-vals='js:{a: 1}'>""", "hx-vals with script"),
        ("""<form hx-headers=" javascript:{a: 1}">""", "hx-headers with script"),
        ('<form hx-vars="a:1">', "hx-vars with script"),
        ('<form hx-trigger="click[ctrlKey]">', "hx-trigger with a filter"),
        ('<a href="javascript:go()">', "script URL"),
        ('<a href=" &#106;avascript:go()">', "script URL"),
        ('<script src="https://cdn.example/a.js"></script>', "another host"),
        ('<script src="//cdn.example/a.js"></script>', "another host"),
        ('<link rel="stylesheet" href="http://cdn.example/a.css">', "another host"),
        ('<img src="HTTPS://cdn.example/a.png" alt="">', "another host"),
        ('<img srcset="/a.png 1x, https://cdn.example/b.png 2x" alt="">', "another host"),
        ('<svg><image xlink:href="https://cdn.example/a.png"/></svg>', "another host"),
    ],
)
def test_a_breach_is_named(text, said):
    [sentence] = breaches("\n\n" + text)
    assert sentence.startswith("line 3: ")
    assert said in sentence


@pytest.mark.parametrize(
    "text",
    [
        '<p class="style" data-style="plain">style="quoted" in the text</p>',
        "{# <p style='color:red'> would be refused #}",
        "{% comment %}<script>alert(1)</script>{% endcomment %}",
        "<!-- onclick= in a comment of the page -->",
        '<script src="{% static "js/torque.js" %}" defer></script>',
        '<link rel="stylesheet" href="{% static "css/base.css" %}">',
        '<img src="{{ photo.url }}" alt="{{ photo.caption }}">',
        '<img src="data:image/png;base64,AAAA" alt="">',
        '<a href="https://example.org/standard">the standard</a>',
        '<svg><circle cx="{{ x }}" cy="4" r="2" fill="currentColor" stroke-width="1"/></svg>',
        """<form hx-post="/x/" hx-vals='{"a": 1}' hx-trigger="change delay:1s">""",
        """<body hx-headers='{"X-CSRFToken": "{{ csrf_token }}"}'>""",
        '<input {% if a > b %}checked{% endif %} name="one">',
    ],
)
def test_what_the_policy_allows_is_left_alone(text):
    assert breaches(text) == []


# What opens without any of our page round it: a PDF, a file as it is, a sheet alone. In the installed app there is no
# way back from it, so it opens beside the page.
BARE = re.compile(
    r"url '[a-z]+:(?:[a-z-]+-pdf|run-record|build-sheet|sheet-draft|issued|history-draft)'|\.file_url "
)
LEADS = re.compile(r"<(?:a|form)\b(?:[^>{]|\{\{.*?\}\}|\{%.*?%\})*>")


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.relative_to(TEMPLATES).as_posix())
def test_what_has_no_way_back_opens_beside_the_page(file):
    for lead in LEADS.findall(COMMENTS.sub("", file.read_text(encoding="utf-8"))):
        if BARE.search(lead) and " download" not in lead:
            assert ' target="_blank" rel="noopener"' in lead, lead


def test_the_links_to_prints_are_seen():
    leads = [lead for file in FILES for lead in LEADS.findall(COMMENTS.sub("", file.read_text("utf-8")))]
    assert sum(bool(BARE.search(lead)) for lead in leads) > 20
