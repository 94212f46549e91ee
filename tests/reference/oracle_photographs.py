"""Photographs as Pillow, an independent reader, sees them.

Without an argument: makes a JPEG and a PNG with a position, an owner, a camera number and a turn,
and prints them in base64. With file names: prints what Pillow reads of each: every tag, the
position, other texts, and a hash of the pixels and of the pixels turned upright.
"""

import base64
import hashlib
import io
import json
import sys

from PIL import ExifTags, Image, ImageOps, PngImagePlugin


def picture():
    image = Image.new("RGB", (96, 64))
    image.putdata([(x * 2 % 256, y * 4 % 256, (x * y) % 256) for y in range(64) for x in range(96)])
    return image


def told():
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif[ExifTags.Base.Artist] = "OWNER-SECRET"
    exif[ExifTags.Base.Make] = "a camera"
    within = exif.get_ifd(ExifTags.IFD.Exif)
    within[ExifTags.Base.BodySerialNumber] = "SERIAL-SECRET"
    within[ExifTags.Base.CameraOwnerName] = "OWNER-SECRET"
    place = exif.get_ifd(ExifTags.IFD.GPSInfo)
    place[ExifTags.GPS.GPSLatitudeRef] = "N"
    place[ExifTags.GPS.GPSLatitude] = (46.0, 12.0, 30.0)
    place[ExifTags.GPS.GPSLongitudeRef] = "W"
    place[ExifTags.GPS.GPSLongitude] = (63.0, 7.0, 15.0)
    return exif


def made():
    out = {}
    for name, more in [("JPEG", {"comment": b"PLACE-SECRET"}), ("progressive", {"progressive": True})]:
        file = io.BytesIO()
        xmp = b"<x:xmpmeta>PLACE-SECRET</x:xmpmeta>"
        picture().save(file, "JPEG", quality=90, exif=told(), xmp=xmp, **more)
        out[name] = base64.b64encode(file.getvalue()).decode()
    words = PngImagePlugin.PngInfo()
    words.add_text("Author", "OWNER-SECRET")
    words.add_itxt("XML:com.adobe.xmp", "PLACE-SECRET")
    file = io.BytesIO()
    picture().save(file, "PNG", exif=told(), pnginfo=words)
    out["PNG"] = base64.b64encode(file.getvalue()).decode()
    return out


def seen(path):
    with Image.open(path) as image:
        image.load()
        exif = image.getexif()
        position = {str(k): str(v) for k, v in exif.get_ifd(ExifTags.IFD.GPSInfo).items()}
        within = {str(k): str(v) for k, v in exif.get_ifd(ExifTags.IFD.Exif).items()}
        other = sorted(k for k in image.info if k not in ("jfif", "jfif_version", "jfif_unit",
                       "jfif_density", "dpi", "exif", "progressive", "progression"))
        pixels = image.convert("RGB").tobytes()
        upright = ImageOps.exif_transpose(image).convert("RGB")
        return {
            "tags": sorted(int(tag) for tag in exif),
            "position": position,
            "within": within,
            "other": other,
            "size": list(upright.size),
            "pixels": hashlib.sha256(pixels).hexdigest(),
            "upright": hashlib.sha256(upright.tobytes()).hexdigest(),
        }


print(json.dumps([seen(path) for path in sys.argv[1:]] if sys.argv[1:] else made()))
