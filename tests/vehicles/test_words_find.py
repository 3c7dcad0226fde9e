"""What the search of all words finds: a fixed corpus, and for each thing asked the records that answer, by name.

The very same lists hold on both databases, as the suite runs on both.
"""

from __future__ import annotations

import unicodedata
from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from tests.factories.fault import FaultFactory
from tests.factories.outstanding import ItemFactory
from tests.factories.vehicle import VehicleFactory
from tests.once import once
from tests.people import by
from vehicles import words_found
from vehicles.acts import fault as faults
from vehicles.folding import folded, folded_with_places
from vehicles.models import Words
from vehicles.words_found import Asked, Cursor, excerpt, page, terms_of

pytestmark = pytest.mark.words

# Years of one car: (day, title, what was said, severity, place). Each is found by its number in this list.
CORPUS = (
    ("2006-03-01", "Kühlwasser fehlt", "Der Kühler tropft, links unten.", "major", "radiator"),
    ("2009-05-04", "Kuhler hose split", "front hose leaks\nat the clip", "minor", "radiator"),
    ("2011-07-09", "Straße zu laut", "GROSSE Unwucht", "minor", "tyres"),
    ("2013-01-15", "İzmir plate lamp", "ışık yok", "advice", "rear-lamps"),
    ("2015-02-02", "Brake pads at 30%", "wear 30 % left, 100% sure", "major", "brake-pads"),
    ("2015-02-02", "Brake pads at 30x", "bolt M8_10 and M8x10", "major", "brake-pads"),
    ("2017-08-08", "Path C:\\ecu\\map", "reader said \\ twice", "minor", "engine-control-unit"),
    ("2019-10-10", 'Wheel 17" bent', 'the 17" one, not the 18" one', "dangerous", "wheels"),
    ("2021-11-11", "Rattle 🔧 below", "sounds like 🔩🔩 in a tin", "minor", "guards"),
    ("2024-12-12", "<b>Horn</b> & bulb", 'it\'s "off" <script>alert(1)</script>', "advice", ""),
    # A letter and its accent as two signs, and a ligature.
    ("2025-01-01", "Cafe\u0301 heater ﬁlter", "re\u0301sume\u0301", "advice", "cabin-heater"),
)


def moment(text: str) -> datetime:
    return datetime.fromisoformat(f"{text}T08:00:00+00:00")


@once
def corpus(car, lead, technician):
    for number, (day, title, said, severity, place) in enumerate(CORPUS):
        FaultFactory(
            person=(lead, technician)[number % 2], vehicle=car, title=title, words=said, severity=severity,
            place=_place(place), made_at=moment(day),
        )  # fmt: skip
    return car


def _place(slug):
    from vehicles.models import Place

    return Place.objects.get(slug=slug) if slug else None


def found(text: str = "", **asked) -> list[int]:
    """Numbers in the corpus of what is found, the newest first."""
    rows = page(Asked(terms=terms_of(text), **asked), most=100).hits
    numbers = {title: number for number, (_, title, *_) in enumerate(CORPUS)}
    return [numbers[hit.words.text.splitlines()[0]] for hit in rows if hit.words.kind == "fault"]


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        # Case, umlauts, ß, dotted and dotless i, accents as signs of their own, ligatures.
        ("kuhler", [1, 0]),
        ("KÜHLER", [1, 0]),
        ("kühlwasser", [0]),
        ("strasse", [2]),
        ("STRASSE", [2]),
        ("straße", [2]),
        ("große", [2]),
        ("izmir", [3]),
        ("İZMİR", [3]),
        ("ışık", [3]),
        ("cafe", [10]),
        ("café resume", [10]),
        ("re\u0301sume\u0301", [10]),
        ("filter", [10]),
        # Every word, in any order, in any field; a part of a word will do.
        ("hose split leaks", [1]),
        ("leaks hose", [1]),
        ("tropf fehlt", [0]),
        ("hose tropft", []),
        # A phrase stands together, also over a line, and not over two fields.
        ('"front hose"', [1]),
        ('"hose front"', []),
        ('"leaks at the"', [1]),
        ('"split front"', []),
        ("“front hose”", [1]),
        ('"front hose" split', [1]),
        # Wildcards, the sign that escapes them, quotes: letters like any other.
        ("30%", [4]),
        ("100%", [4]),
        ("%%", []),
        ("M8_", [5]),
        ("M8_10", [5]),
        ("m8x10", [5]),
        ("__", []),
        ("c:\\ecu", [6]),
        ("\\\\", []),
        ("ecu\\map", [6]),
        ('17"', [7]),
        ('18"', [7]),
        ("it's", [9]),
        ('"off"', [9]),
        ("<b>horn</b>", [9]),
        ("<script>", [9]),
        ("&&", []),
        ("🔩🔩", [8]),
        ('"🔧 below"', [8]),
        # What is not there.
        ("zebra", []),
        ("brake pads", [5, 4]),
    ],
)
def test_what_is_found(corpus, text, numbers):
    assert found(text) == numbers


@pytest.mark.parametrize(
    ("asked", "numbers"),
    [
        ({"system": "brakes"}, [5, 4]),
        ({"system": "cooling"}, [10, 1, 0]),
        ({"severity": "dangerous"}, [7]),
        ({"severity": "advice"}, [10, 9, 3]),
        ({"kinds": ("fault",), "severity": "major"}, [5, 4, 0]),
        ({"kinds": ("part",)}, []),
        ({"since": date(2021, 11, 11)}, [10, 9, 8]),
        ({"until": date(2009, 5, 4)}, [1, 0]),
        ({"since": date(2009, 5, 5), "until": date(2013, 1, 15)}, [3, 2]),
        ({"text": "kuhler", "severity": "minor"}, [1]),
        ({"text": "kuhler", "system": "brakes"}, []),
    ],
)
def test_what_narrows_it_down_does_alone_and_with_words(corpus, asked, numbers):
    assert found(asked.pop("text", ""), **asked) == numbers


def test_it_is_narrowed_to_a_person_and_to_a_car(corpus, lead, technician):
    assert found(person=technician) == [9, 7, 5, 3, 1]
    assert found("pads", person=lead) == [4]
    other = VehicleFactory.create(lead)
    FaultFactory(person=lead, vehicle=other, title=CORPUS[0][1], made_at=moment("2001-01-01"))
    assert found("kühlwasser") == [0, 0]
    assert found("kühlwasser", vehicle=other) == [0]
    assert len(page(Asked(terms=("kuhlwasser",), vehicle=corpus)).hits) == 1


def test_each_kind_is_counted_whichever_is_chosen(corpus, lead):
    ItemFactory(person=lead, vehicle=corpus, title="Kühler soon")
    seen = page(Asked(terms=("kuhler",), kinds=("outstanding",)))
    assert seen.counts == {"fault": 2, "outstanding": 1}
    assert [hit.words.kind for hit in seen.hits] == ["outstanding"]


def test_what_hangs_on_a_fault_takes_its_system_and_severity_and_follows_it(corpus, lead):
    fault = FaultFactory(person=lead, vehicle=corpus, title="Pulls left", severity="minor")
    faults.add_step(by=by(lead), fault=fault, tried="rolled the wheel", seen="quokka drag")
    [words] = Words.objects.filter(folded__contains="quokka")
    assert (words.system, words.severity) == ("", "minor")
    fault.refresh_from_db()
    faults.set_severity(
        by=by(lead), fault=fault, seen_version=fault.version, severity="dangerous", reason="It got worse."
    )
    [words] = Words.objects.filter(folded__contains="quokka")
    assert words.severity == "dangerous"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x", "“x” is too short"),
        ("brake x", "“x” is too short"),
        ('"y" pads', "“y” is too short"),
        ("\u0301\u0301", "is too short"),
        ("z" * 201, "at most 200 characters"),
        ("\ufdfa" * 20, "at most 200 characters"),
    ],
)
def test_too_short_and_too_long_is_refused_in_words(text, said):
    with pytest.raises(ValidationError) as refused:
        terms_of(text)
    assert said in refused.value.messages[0]


def test_pages_lose_and_repeat_nothing_where_moments_are_alike(car, lead):
    at = datetime(2020, 2, 2, 9, tzinfo=UTC)
    for number in range(23):
        FaultFactory(
            person=lead, vehicle=car, title=f"wobble {number:02d}", made_at=at + timedelta(hours=number // 9)
        )
    seen, before = [], None
    while True:
        part = page(Asked(terms=("wobble",)), before, most=4)
        assert part.count == 23
        seen += [hit.words.text.splitlines()[0] for hit in part.hits]
        if part.older is None:
            break
        before = Cursor.read(str(part.older))
        # What is written meanwhile stands before all that is left.
        FaultFactory(person=lead, vehicle=car, title="tremble", made_at=at)
    assert sorted(seen) == [f"wobble {number:02d}" for number in range(23)]
    assert [text[-2:] for text in seen] == sorted((text[-2:] for text in seen), reverse=True)


@pytest.mark.parametrize("text", ["", "x", "1", "1~x", "~", "1~2~3", "9" * 30 + "~1", "1~-1", f"1~{2**70}"])
def test_what_is_no_cursor_begins_at_the_head(text):
    assert Cursor.read(text) is None


# ------------------------------------------------------------------------------------------- the words round a hit


def marked(text: str, *terms: str) -> str:
    return "".join(f"[{piece.text}]" if piece.hit else piece.text for piece in excerpt(text, terms))


@pytest.mark.parametrize(
    ("text", "terms", "expected"),
    [
        ("Der KÜHLER tropft", ("kuhler",), "Der [KÜHLER] tropft"),
        ("die Straße dort", ("strasse",), "die [Straße] dort"),
        ("die Straße dort", ("stras",), "die [Straß]e dort"),
        ("Cafe\u0301 au lait", ("cafe",), "[Cafe\u0301] au lait"),
        ("front\n  hose leaks", ("front hose",), "[front\n  hose] leaks"),
        ("ﬁlter off", ("fil",), "[ﬁl]ter off"),
        ("İzmir", ("izmir",), "[İzmir]"),
        ("bolt and bolts", ("bolt",), "[bolt] and [bolt]s"),
        ("bolts", ("bol", "olts"), "[bolts]"),
        ("hose \n", ("hose",), "[hose] \n"),
        ("nothing of it", ("zebra",), "nothing of it"),
        ("a 🔩🔩 tin", ("🔩",), "a [🔩][🔩] tin"),
    ],
)
def test_the_hit_is_marked_as_it_is_written(text, terms, expected):
    assert marked(text, *terms) == expected


def test_a_long_text_is_cut_at_words_round_each_hit():
    text = "alpha " * 100 + "needle one " + "beta " * 100 + "thread two " + "gamma " * 100
    shown = marked(text, "needle", "thread")
    assert shown.startswith("… alpha")
    assert "[needle] one beta" in shown
    assert " … beta" in shown
    assert "[thread] two gamma" in shown
    assert shown.endswith("gamma …")
    assert len(shown) < 400
    assert len(marked("word " * 5000, "word")) < 2000
    assert marked("x" * 5000, "zz").endswith("…")


def test_the_beginning_is_shown_where_no_words_were_asked():
    assert marked("short") == "short"
    assert marked("alpha " * 100) == "alpha " * 22 + "alpha …"


@given(st.text(max_size=60))
def test_places_of_the_folded_text_are_those_of_the_text(text):
    plain, places = folded_with_places(text)
    assert plain == folded(text)
    assert len(places) == len(plain) + 1
    assert places == sorted(places)


@given(st.text(max_size=60), st.text(min_size=2, max_size=4))
def test_an_excerpt_holds_the_text_and_marks_what_folds_to_the_term(text, asked):
    term = folded(asked)
    if len(term) < 2:
        return
    pieces = excerpt(text, (term,))
    assert "".join(piece.text for piece in pieces) == text
    assert any(piece.hit for piece in pieces) == (term in folded(text))
    for piece in pieces:
        assert not piece.hit or term in folded(piece.text)


@given(st.text(max_size=80))
def test_folding_twice_changes_nothing_and_no_capital_is_left(text):
    plain = folded(text)
    assert folded(plain) == plain
    # SQLite takes A to Z for a to z, PostgreSQL does not.
    assert not any("A" <= char <= "Z" for char in plain)
    assert unicodedata.normalize("NFKD", plain).casefold() == unicodedata.normalize("NFKD", plain)


def test_what_is_asked_in_capitals_of_signs_is_found_on_both_databases():
    assert folded("Brake™ ℡") == "braketm tel"


def test_most_is_cut_and_says_that_there_is_more(corpus):
    first = words_found.page(Asked(terms=("pads",)), most=1)
    assert len(first.hits) == 1
    assert first.older is not None
