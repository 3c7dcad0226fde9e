"""What becomes of a picture before it is kept: upright, small, bare, and refused in a sentence where it can't be."""

from __future__ import annotations

import io
import struct
import zlib
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from PIL import Image, ImageCms, ImageFile

from tests.factories.photo import PDF, PLACE_WORDS, picture, upload
from vehicles.files import documents, pictures, store
from vehicles.files.intake import DISK_FULL, take_in
from vehicles.files.pictures import Refused, believed, read_picture

# Which side of the scene the first row and the first column of the stored picture show, for each value of the tag.
# Exif 2.32 (CIPA DC-008-Translation-2019), section 4.6.4 A, tag 274 (112.H) Orientation.
ORIENTATIONS = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}
# The scene, upright: wider than high, and another colour in each quarter.
WIDTH, HEIGHT = 64, 48
QUARTERS = {(0, 0): (200, 30, 30), (1, 0): (30, 170, 30), (0, 1): (30, 30, 200), (1, 1): (200, 200, 30)}


def scene(x: int, y: int) -> tuple[int, int, int]:
    return QUARTERS[int(x >= WIDTH / 2), int(y >= HEIGHT / 2)]


def stored_as(row_side: str, column_side: str) -> Image.Image:
    """The scene as a camera stores it whose first row and column show these sides of it: from the definition alone."""
    sideways = row_side in ("left", "right")
    size = (HEIGHT, WIDTH) if sideways else (WIDTH, HEIGHT)
    image = Image.new("RGB", size)
    for row in range(size[1]):
        for column in range(size[0]):
            at = {row_side: row, column_side: column}
            x = at["left"] if "left" in at else WIDTH - 1 - at["right"]
            y = at["top"] if "top" in at else HEIGHT - 1 - at["bottom"]
            image.putpixel((column, row), scene(x, y))
    return image


def read(data: bytes) -> pictures.Picture:
    return read_picture(io.BytesIO(data))


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


def nearest_quarter(colour) -> tuple[int, int]:
    return min(
        QUARTERS, key=lambda key: sum((a - b) ** 2 for a, b in zip(QUARTERS[key], colour, strict=True))
    )


def segments(jpeg: bytes) -> list[int]:
    """The markers of a JPEG up to its scan, read by hand: ITU-T T.81, annex B (0xFFD8 begins, 0xFFDA is the scan)."""
    assert jpeg[:2] == b"\xff\xd8"
    at, found = 2, []
    while jpeg[at + 1] != 0xDA:
        assert jpeg[at] == 0xFF
        found.append(jpeg[at + 1])
        at += 2 + struct.unpack(">H", jpeg[at + 2 : at + 4])[0]
    return found


@pytest.mark.outside("Exif 2.32 (CIPA DC-008-2019), tag 274 Orientation, values 1 to 8")
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_upright_for_every_orientation(published, form):
    for value, sides in ORIENTATIONS.items():
        options = {"quality": 95} if form == "JPEG" else {"lossless": True} if form == "WEBP" else {}
        kept = opened(read(picture(form, image=stored_as(*sides), orientation=value, **options)).jpeg)
        published.same(kept.size, (WIDTH, HEIGHT), f"size, orientation {value}")
        for across, down in QUARTERS:
            at = (WIDTH // 4 + across * WIDTH // 2, HEIGHT // 4 + down * HEIGHT // 2)
            published.same(
                nearest_quarter(kept.getpixel(at)), (across, down), f"quarter, orientation {value}"
            )


@pytest.mark.outside(
    "ITU-T T.81 annex B and Exif 2.32: markers APP1 to APP15 and COM carry what is not the picture"
)
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_nothing_of_the_cameras_data_is_left(published, form):
    data = picture(form, size=(1200, 900), located=True, taken="2026:03:04 10:11:12", orientation=1)
    assert PLACE_WORDS in data
    kept = read(data)
    for jpeg in (kept.jpeg, kept.thumb):
        # APP0 is the JFIF header: density only.
        others = [marker for marker in segments(jpeg) if 0xE1 <= marker <= 0xEF or marker == 0xFE]
        published.same(others, [], "markers of other data")
        assert PLACE_WORDS not in jpeg
        assert b"Exif" not in jpeg
        assert b"invented maker" not in jpeg
        assert not opened(jpeg).getexif()
        assert set(opened(jpeg).info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_large_ones_are_capped_and_small_ones_stay():
    kept = read(picture(size=(4000, 3000)))
    assert (kept.width, kept.height) == (2048, 1536)
    assert opened(kept.jpeg).size == (2048, 1536)
    assert opened(kept.thumb).size == (640, 480)
    small = read(picture(size=(100, 60)))
    assert (small.width, small.height) == (100, 60)
    assert opened(small.thumb).size == (100, 60)
    assert opened(pictures.small_of(kept.thumb)).size == (256, 192)
    assert opened(pictures.small_of(small.thumb)).size == (100, 60)
    high = read(picture(size=(300, 6000)))
    assert (high.width, high.height) == (102, 2048)


def test_same_picture_gives_the_same_bytes():
    """What is kept is named by its hash, and a form sent twice is known by it."""
    data = picture("PNG", size=(900, 700), located=True)
    assert read(data) == read(data)


def test_transparent_is_white_and_other_kinds_of_dots_are_kept():
    clear = Image.new("RGBA", (40, 40), (255, 0, 0, 0))
    assert opened(read(picture("PNG", image=clear)).jpeg).getpixel((20, 20)) == (255, 255, 255)
    grey = Image.new("L", (40, 40), 128)
    assert opened(read(picture("PNG", image=grey)).jpeg).getpixel((20, 20)) == (128, 128, 128)
    deep = Image.new("I;16", (40, 40), 128 * 257)
    assert opened(read(picture("PNG", image=deep)).jpeg).getpixel((20, 20)) == (128, 128, 128)
    few = Image.new("P", (40, 40), 1)
    few.putpalette([0, 0, 0, 10, 200, 10] + [0] * 762)
    assert opened(read(picture("PNG", image=few)).jpeg).getpixel((20, 20))[1] > 180
    four = Image.new("CMYK", (40, 40), (0, 255, 255, 0))
    assert opened(read(picture("JPEG", image=four)).jpeg).getpixel((20, 20))[0] > 180


def test_a_cameras_own_colours_become_everybodys():
    """A profile whose red is green: with it the stored red means green, and that is what must be kept."""
    plain = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    swapped = plain.replace(b"rXYZ", b"?XYZ").replace(b"gXYZ", b"rXYZ").replace(b"?XYZ", b"gXYZ")
    for profile, colour in (
        (plain, (200, 60, 60)),
        (swapped, (60, 200, 60)),
        (b"no profile at all", (200, 60, 60)),
    ):
        kept = opened(read(picture("JPEG", colour=(200, 60, 60), icc_profile=profile)).jpeg)
        assert "icc_profile" not in kept.info
        assert all(abs(a - b) < 12 for a, b in zip(kept.getpixel((20, 20)), colour, strict=True))


def bomb_png(width: int, height: int) -> bytes:
    """A few hundred bytes that claim to be a huge picture: PNG chunks (ISO/IEC 15948, 5.3) made by hand."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 5000))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("size", [(8000, 8000), (12_000, 9_000), (60_000, 60_000)])
def test_a_bomb_is_refused_before_it_is_unpacked(size):
    with pytest.raises(Refused, match=r"50 million dots are the limit.*smaller pictures"):
        read(bomb_png(*size))


def test_fifty_million_dots_are_still_let_in_as_far_as_the_limit_goes():
    with pytest.raises(Refused, match="cut off or damaged"):
        read(bomb_png(10_000, 5_000))  # within the limit, and then its dots are missing


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("printed", [False, True], ids=["", "after a sheet was printed"])
def test_cut_off_ones_are_refused(form, printed, monkeypatch):
    """Also in a process that has printed a sheet: the PDF library sets this when it is imported."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", printed)
    noise = Image.effect_noise((400, 300), 90).convert("RGB")
    data = picture(form, image=noise)
    with pytest.raises(Refused, match=r"cut off or damaged|not a picture"):
        read(data[: len(data) // 2])


@pytest.mark.parametrize(
    "data",
    [
        b"hello, I am a letter",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"\xff\xd8\xff",
        b"\x89PNG\r\n\x1a\n",
        b"RIFF\x10\x00\x00\x00WEBPVP8 ",
        b"\0" * 4000,
    ],
)
def test_what_is_no_picture_is_refused_in_a_sentence(data):
    with pytest.raises(Refused, match=r"JPEG, PNG and WEBP are|cut off or damaged"):
        read(data)


@pytest.mark.parametrize("form", ["GIF", "BMP", "TIFF"])
def test_other_formats_are_refused_whatever_their_name_says(form):
    out = io.BytesIO()
    Image.new("RGB", (20, 20)).save(out, form)
    with pytest.raises(Refused, match="JPEG, PNG and WEBP are"):
        take_in(upload(out.getvalue(), "really.jpg"))


def test_a_picture_is_known_by_its_content_not_by_its_name():
    assert take_in(upload(picture("PNG"), "notes.pdf")).media_type == "image/jpeg"
    assert take_in(upload(PDF, "photo.jpg")).media_type == "application/pdf"


def test_a_second_file_behind_the_picture_is_not_kept():
    kept = read(picture() + b"PK\x03\x04 a zip, <script>alert(1)</script>")
    assert b"script" not in kept.jpeg
    assert b"PK" not in kept.jpeg[-200:]
    assert kept.jpeg.endswith(b"\xff\xd9")


def test_empty_and_too_large_say_the_limit_and_what_to_do():
    with pytest.raises(Refused, match=r"empty.*Choose it again"):
        take_in(upload(b""))
    large = upload(picture())
    large.size = pictures.MOST_BYTES + 1
    with pytest.raises(Refused, match=r"40 MB; 40 MB are the limit for a picture\. Send a smaller"):
        take_in(large)
    heavy = upload(PDF)
    heavy.size = documents.MOST_BYTES * 3
    with pytest.raises(Refused, match=r"60 MB; 20 MB are the limit for a PDF"):
        take_in(heavy)


def test_a_pdf_is_kept_byte_by_byte_and_a_half_one_refused():
    stored = take_in(upload(PDF))
    assert store.path_of(stored.file, "pdf").read_bytes() == PDF
    with pytest.raises(Refused, match="its end is missing"):
        take_in(upload(PDF[:-20]))
    with pytest.raises(Refused, match="Add it as a document"):
        take_in(upload(PDF), pictures_only=True)


def test_a_full_disk_is_a_sentence(monkeypatch):
    def full(data, suffix):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(store, "put", full)
    with pytest.raises(Refused, match="disk may be full"):
        take_in(upload(picture()))
    assert "send it again" in DISK_FULL


@pytest.mark.outside(
    "Exif 2.32: tag 36867 DateTimeOriginal is local time, tag 36881 OffsetTimeOriginal its offset"
)
def test_when_it_was_taken(published):
    summer = read(picture(taken="2026:07:01 08:30:00")).taken_at
    # Without an offset it is the shop's own time: Berlin, two hours ahead of UTC in July.
    published.same(summer.astimezone(UTC), datetime(2026, 7, 1, 6, 30, tzinfo=UTC), "taken, shop's time")
    abroad = read(picture(taken="2026:07:01 08:30:00", offset="+09:00")).taken_at
    published.same(abroad.astimezone(UTC), datetime(2026, 6, 30, 23, 30, tzinfo=UTC), "taken, with offset")
    assert read(picture()).taken_at is None


@pytest.mark.parametrize(
    "text", ["1980:01:01 00:00:00", "0000:00:00 00:00:00", "yesterday", "    :  :     :  :  "]
)
def test_a_clock_that_was_never_set_is_not_believed(text):
    assert read(picture(taken=text)).taken_at is None


def test_a_time_in_the_future_is_not_believed():
    now = datetime(2026, 3, 4, 12, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    assert believed(now + timedelta(hours=1), now) is None
    assert believed(now + timedelta(minutes=1), now) == now  # a clock a minute fast
    assert believed(now - timedelta(days=400), now) == now - timedelta(days=400)
    assert believed(None, now) is None


def test_the_beginning_of_the_original_says_when_a_small_copy_was_taken():
    original = picture(image=Image.effect_noise((800, 600), 90).convert("RGB"), taken="2026:03:04 10:11:12")
    head = upload(original[: 8 * 1024], "head.jpg")
    assert take_in(upload(picture()), head=head).taken_at.astimezone(UTC) == datetime(
        2026, 3, 4, 9, 11, 12, tzinfo=UTC
    )
    assert take_in(upload(picture()), head=upload(b"nothing")).taken_at is None


def test_stored_under_its_hash_once_and_mended_where_it_was_damaged():
    first = store.put(b"some bytes", "jpg")
    path = store.path_of(first, "jpg")
    before = path.stat().st_ino
    assert store.put(b"some bytes", "jpg") == first
    assert path.stat().st_ino == before  # not written again
    assert store.problem(first, "jpg", 10) == ""
    path.write_bytes(b"some bYtes")
    assert "altered" in store.problem(first, "jpg", 10)
    assert store.put(b"some bytes", "jpg") == first
    assert store.problem(first, "jpg", 10) == ""
    store.remove(first, "jpg")
    assert "missing" in store.problem(first, "jpg")
    assert not list(path.parent.glob(".new-*"))


def test_a_write_that_fails_leaves_nothing_half(monkeypatch):
    import os

    def broken(handle):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(OSError, match="Input/output"):
        store.put(b"bytes that never arrive", "jpg")
    monkeypatch.undo()
    import hashlib

    path = store.path_of(hashlib.sha256(b"bytes that never arrive").hexdigest(), "jpg")
    assert not path.exists()
    assert not list(path.parent.glob(".new-*"))


@pytest.mark.parametrize("digest", ["../../etc/passwd", "a" * 63, "A" * 64, "a" * 64 + "\n", "/" * 64, ""])
def test_no_name_leads_out_of_the_folder(digest):
    with pytest.raises(ValueError, match="no name of a stored file"):
        store.path_of(digest, "jpg")
    with pytest.raises(ValueError, match="no name of a stored file"):
        store.path_of("a" * 64, "jpg/../../x")
