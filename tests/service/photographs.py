"""Photos as phones make them, and as they come out."""

from __future__ import annotations

import io
import struct
import zlib

from PIL import ExifTags, Image

LATITUDE = (48.0, 12.0, 34.56)


def exif(*, orientation: int = 1) -> Image.Exif:
    """A camera's data with a place, 48° 12' 34.56" north, 16° 22' 12" east, an owner and a comment."""
    data = Image.Exif()
    data[ExifTags.Base.Orientation] = orientation
    data[ExifTags.Base.Make] = "Camera Works"
    data[ExifTags.Base.Artist] = "Ada Example"
    place = data.get_ifd(ExifTags.IFD.GPSInfo)
    place[ExifTags.GPS.GPSLatitudeRef] = "N"
    place[ExifTags.GPS.GPSLatitude] = LATITUDE
    place[ExifTags.GPS.GPSLongitudeRef] = "E"
    place[ExifTags.GPS.GPSLongitude] = (16.0, 22.0, 12.0)
    return data


def photo(
    size: tuple[int, int] = (400, 300), *, form: str = "JPEG", orientation: int = 1, mode: str = "RGB"
) -> bytes:
    """Black with a white upper left quarter, so that a turn can be seen."""
    image = Image.new("RGB", size, "black")
    image.paste("white", (0, 0, size[0] // 2, size[1] // 2))
    out = io.BytesIO()
    more = {"exif": exif(orientation=orientation), "comment": b"Ada's secret"} if form == "JPEG" else {}
    if form == "WEBP":
        more = {"exif": exif(orientation=orientation).tobytes(), "xmp": b"<x>Ada</x>"}
    image.convert(mode).save(out, form, **more)
    return out.getvalue()


def opened(jpeg: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(jpeg))
    image.load()
    return image


def header_of_png(width: int, height: int) -> bytes:
    """A PNG that says how large it is and holds nothing."""

    def chunk(name: bytes, content: bytes) -> bytes:
        whole = name + content
        return struct.pack(">I", len(content)) + whole + struct.pack(">I", zlib.crc32(whole))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = chunk(b"IDAT", zlib.compress(b""))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + data + chunk(b"IEND", b"")
