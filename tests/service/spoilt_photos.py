"""Photos that arrive damaged: cut off, with bits flipped, with stretches lost, doubled or exchanged.

`python -m tests.service.spoilt_photos --files 10000 --seed 1` reads so many, and prints what came of them.
"""

from __future__ import annotations

import argparse
import io
import random
import time
from collections import Counter
from collections.abc import Iterator

from PIL import Image

FORMS: dict[str, tuple[str, str, dict[str, object]]] = {
    "JPEG": ("JPEG", "RGB", {"quality": 80}),
    "JPEG, progressive": ("JPEG", "RGB", {"progressive": True, "quality": 60}),
    "JPEG, four colours": ("JPEG", "CMYK", {}),
    "JPEG, grey": ("JPEG", "L", {"comment": b"north press"}),
    "MPO": ("MPO", "RGB", {"save_all": True}),
    "PNG": ("PNG", "RGB", {}),
    "PNG, palette": ("PNG", "P", {"transparency": 3}),
    "PNG, clear": ("PNG", "RGBA", {"compress_level": 9}),
    "PNG, moving": ("PNG", "RGB", {"save_all": True}),
    "WebP": ("WEBP", "RGB", {"quality": 70}),
    "WebP, lossless": ("WEBP", "RGBA", {"lossless": True}),
    "WebP, moving": ("WEBP", "RGB", {"save_all": True}),
    "GIF": ("GIF", "P", {}),
    "TIFF": ("TIFF", "RGB", {"compression": "tiff_lzw"}),
    "BMP": ("BMP", "RGB", {}),
    "ICO": ("ICO", "RGBA", {}),
    "PPM": ("PPM", "RGB", {}),
}
"""Also what is never taken: a damaged file may look like one of these as well."""


def whole(form: str) -> bytes:
    """A small picture with something in it, what a camera adds, and a second frame where one can be."""
    name, mode, more = FORMS[form]
    image = Image.linear_gradient("L").resize((96, 64)).convert("RGB")
    image.paste((200, 30, 60), (10, 10, 50, 40))
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x0132] = 6, "Camera Works", "2026:03:01 06:30:00"
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8769)[0x9003] = "2026:03:01 06:30:00"
    settings = dict(more)
    if settings.get("save_all"):
        settings["append_images"] = [image.rotate(90, expand=False)]
    if name in ("JPEG", "PNG", "WEBP", "MPO"):
        settings["exif"] = exif.tobytes()
    out = io.BytesIO()
    image.convert(mode).save(out, name, **settings)
    return out.getvalue()


def spoil(data: bytes, lots: random.Random) -> bytes:
    """One file after one mishap, or a few."""
    spoilt = bytearray(data)
    for _ in range(lots.choice((1, 1, 1, 2, 4))):
        if len(spoilt) < 2:
            break
        # Heads and directories stand at the beginning, and damage there is read in more ways.
        reach = len(spoilt) if lots.random() < 0.5 else min(len(spoilt), 400)
        at = lots.randrange(reach)
        kind = lots.randrange(8)
        if kind == 0:
            del spoilt[max(1, at) :]
        elif kind in (1, 2):
            spoilt[at] ^= 1 << lots.randrange(8)
        elif kind == 3:
            spoilt[at] = lots.choice((0, 1, 0x7F, 0x80, 0xFE, 0xFF))
        elif kind == 4:
            stretch = lots.randrange(1, 40)
            spoilt[at : at + stretch] = lots.randbytes(stretch)
        elif kind == 5:
            del spoilt[at : at + lots.randrange(1, 60)]
        elif kind == 6:
            spoilt[at:at] = spoilt[at : at + lots.randrange(1, 60)]
        else:
            spoilt[at : at + 4] = lots.choice(
                (b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"\0\0\0\1")
            )
    return bytes(spoilt)


def spoilt_photos(count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """So many files and what each was, the same for the same seed."""
    lots = random.Random(seed)
    originals = {form: whole(form) for form in FORMS}
    names = list(FORMS)
    for number in range(count):
        form = names[number % len(names)]
        yield form, spoil(originals[form], lots)


def main() -> None:
    import django

    django.setup()
    from wearlog.people.refusals import Refused
    from wearlog.service.pictures import picture_of

    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--files", type=int, default=10_000)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    came: Counter[str] = Counter()
    begun = time.monotonic()
    for form, data in spoilt_photos(given.files, given.seed):
        try:
            picture_of(data)
            came["read as a picture"] += 1
        except Refused:
            came["refused"] += 1
        except Exception as error:
            came["an error instead"] += 1
            print(f"{form}: {type(error).__name__}: {error}")
    print(f"{given.files} files, seed {given.seed}, {time.monotonic() - begun:.0f} s: {dict(came)}")


if __name__ == "__main__":
    main()
