"""Pictures for tests, drawn by Pillow, and photos of a car made through the act. All invented."""

from __future__ import annotations

import io

import factory
from django.core.files.base import ContentFile
from PIL import ExifTags, Image, PngImagePlugin

from tests.people import by
from vehicles.acts import photo as acts
from vehicles.files.intake import take_in
from vehicles.models import Attachment

PLACE_WORDS = b"north 47 degrees"
# The whole of a small PDF: header, one empty page, cross-reference, trailer (ISO 32000-1, 7.5).
PDF = (
    b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
    b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 200 200]>>endobj\nxref\n0 4\n0000000000 65535 f \n"
    b"0000000009 00000 n \n0000000052 00000 n \n0000000101 00000 n \ntrailer<</Size 4/Root 1 0 R>>\nstartxref\n164\n"
    b"%%EOF\n"
)


def picture(
    form: str = "JPEG",
    size: tuple[int, int] = (320, 240),
    colour="#8899aa",
    *,
    image: Image.Image | None = None,
    taken: str = "",
    offset: str = "",
    orientation: int = 0,
    located: bool = False,
    **options,
) -> bytes:
    """The bytes of a picture with what a camera writes beside it. `located`: where, by whom, and a comment."""
    image = image or Image.new("RGB", size, colour)
    exif = Image.Exif()
    if orientation:
        exif[ExifTags.Base.Orientation] = orientation
    told = exif.get_ifd(ExifTags.IFD.Exif)
    if taken:
        told[ExifTags.Base.DateTimeOriginal] = taken
    if offset:
        told[ExifTags.Base.OffsetTimeOriginal] = offset
    if located:
        exif[ExifTags.Base.Make] = "An invented maker"
        exif[ExifTags.Base.ImageDescription] = PLACE_WORDS.decode()
        where = exif.get_ifd(ExifTags.IFD.GPSInfo)
        where[ExifTags.GPS.GPSLatitudeRef] = "N"
        where[ExifTags.GPS.GPSLatitude] = (47.0, 30.0, 0.0)
        where[ExifTags.GPS.GPSProcessingMethod] = PLACE_WORDS
        if form == "PNG":
            options["pnginfo"] = PngImagePlugin.PngInfo()
            options["pnginfo"].add_text("Comment", PLACE_WORDS.decode())
        if form == "JPEG":
            options["comment"] = PLACE_WORDS
        options["xmp"] = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>" + PLACE_WORDS + b"</x:xmpmeta>"
        if form == "PNG":
            del options["xmp"]
    out = io.BytesIO()
    image.save(out, form, exif=exif, **options)
    return out.getvalue()


def upload(data: bytes, name: str = "photo.jpg") -> ContentFile:
    return ContentFile(data, name=name)


class PhotoFactory(factory.django.DjangoModelFactory):
    """A photo of a car. Give `person` and `vehicle`; each is another picture."""

    class Meta:
        model = Attachment

    colour = factory.Sequence(lambda number: (number * 37 % 256, number * 91 % 256, number * 151 % 256))

    @classmethod
    def _create(cls, model_class, *args, person, colour, data=None, made_at=None, **fields):
        stored = take_in(upload(data or picture(size=(64, 48), colour=colour)))
        return acts.add_files(by=by(person, made_at=made_at), files=[stored], **fields)
