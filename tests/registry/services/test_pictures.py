from __future__ import annotations

import errno
import io
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files import File
from django.core.files.storage import FileSystemStorage
from django.db import OperationalError
from PIL import Image, ImageOps

from registry.errors import RegistryErrors
from registry.services import pictures
from registry.services.catalogue import design_propose
from registry.services.jobs import pictures as job_pictures
from registry.services.jobs.pictures import job_picture_add
from registry.services.jobs.starting import job_start
from registry.services.pictures import decoded_small, picture_add, reencoded
from registry.services.sheets import sheet_submit
from tests.registry.services.test_sheets import DESIGN, account, sheet_json

GPS_IFD, LATITUDE = 0x8825, 2


def photo(size: tuple[int, int] = (300, 200), colour: str = "teal", **save: object) -> bytes:
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "taken at home"
    exif.get_ifd(GPS_IFD)[LATITUDE] = (52.0, 30.0, 0.0)
    exif[0x0112] = 6  # turned a quarter
    Image.new("RGB", size, colour).save(out, "JPEG", exif=exif, **save)
    return out.getvalue()


def test_position_data_and_all_else_are_removed():
    before = Image.open(io.BytesIO(photo())).getexif()
    assert before.get_ifd(GPS_IFD)
    after = Image.open(io.BytesIO(reencoded(photo())))
    assert not dict(after.getexif()) and after.size == (200, 300)


@pytest.mark.parametrize("turn", range(1, 9))
def test_each_way_of_holding_the_camera_ends_upright(turn):
    """As a second reader of the same tag turns it."""
    out, exif = io.BytesIO(), Image.Exif()
    exif[0x0112] = turn
    corner = Image.new("RGB", (64, 32), "white")
    corner.paste("black", (0, 0, 16, 16))
    corner.save(out, "PNG", exif=exif)
    seen = Image.open(io.BytesIO(reencoded(out.getvalue())))
    wanted = ImageOps.exif_transpose(Image.open(io.BytesIO(out.getvalue())))
    assert seen.size == wanted.size
    corners = [(2, 2), (seen.width - 3, 2), (2, seen.height - 3), (seen.width - 3, seen.height - 3)]
    assert [seen.getpixel(at)[0] < 128 for at in corners] == [wanted.getpixel(at)[0] < 128 for at in corners]


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
@pytest.mark.parametrize("said", [b"nonsense", b"MM\0\x05\0\0\0\x08", b"II*\0\xff\xff\xff\xff"])
def test_a_damaged_word_of_how_it_was_held_costs_nobody_the_picture(kind, said):
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "teal").save(out, kind, exif=said)
    assert Image.open(io.BytesIO(reencoded(out.getvalue()))).size == (40, 30)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "picture_unreadable"),
        (b"GIF89a" + b"\0" * 100, "picture_unreadable"),
        (photo()[:400], "picture_unreadable"),
        (b"\xff\xd8" + b"\0" * 12_000_001, "picture_too_large"),
    ],
)
def test_what_is_no_picture_is_refused(data, code):
    with pytest.raises(RegistryErrors) as caught:
        reencoded(data)
    assert [error.code for error in caught.value] == [code]


def test_picture_of_too_many_pixels_is_refused():
    out = io.BytesIO()
    Image.new("1", (10_000, 10_000)).save(out, "PNG")  # a few kB that would unpack to 300 MB
    with pytest.raises(RegistryErrors, match="too many pixels"):
        reencoded(out.getvalue())


def test_a_telephones_picture_of_48_million_pixels_is_taken():
    out = io.BytesIO()
    Image.new("RGB", (8000, 6000), "teal").save(out, "JPEG")
    assert Image.open(io.BytesIO(reencoded(out.getvalue()))).size == (2000, 1500)


@pytest.mark.parametrize(
    ("kind", "save", "size"),
    [
        ("JPEG", {"progressive": True}, (6100, 4100)),
        ("PNG", {"compress_level": 1}, (6100, 4100)),
        ("JPEG", {}, (8000, 8000)),
    ],
)
def test_what_stands_in_memory_as_a_whole_may_have_fewer_pixels(kind, save, size):
    out = io.BytesIO()
    Image.new("RGB", size, "teal").save(out, kind, **save)
    with pytest.raises(RegistryErrors, match="too many pixels"):
        reencoded(out.getvalue())


def test_a_jpeg_of_several_scans_is_none_that_is_decoded_small():
    whole = photo()
    assert decoded_small(whole)
    assert not decoded_small(photo(progressive=True))
    scan = whole.index(b"\xff\xda")
    parts = bytearray(whole)
    parts[scan + 4] = 1  # components of its first scan
    assert not decoded_small(bytes(parts))
    assert not any(decoded_small(whole[:n]) for n in range(0, scan, 7))


def test_one_picture_at_a_time_is_decoded(monkeypatch):
    at_once, most = [], []

    def slow(data):
        at_once.append(data)
        most.append(len(at_once))
        time.sleep(0.02)
        at_once.pop()
        return data

    monkeypatch.setattr(pictures, "_written_anew", slow)
    threads = [threading.Thread(target=reencoded, args=(b"x",)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == [1, 1, 1, 1]


# What the interpreter takes for itself varies; what is held is what the largest pictures add to it.
IN_LITTLE_ROOM = """
import io, resource, sys
import django; django.setup()
from PIL import Image, ImageOps
from registry.services.pictures import reencoded
def made(mode, size, kind, **save):
    out = io.BytesIO(); Image.new(mode, size, "teal").save(out, kind, **save); return out.getvalue()
files = [made("RGB", (8000, 6000), "JPEG"), made("RGB", (8000, 6000), "JPEG", subsampling=0),
    made("RGB", (5900, 4000), "JPEG", progressive=True, subsampling=0),
    made("RGBA", (5900, 4000), "PNG", compress_level=1), made("RGBA", (5900, 4000), "WEBP", method=0)]
reencoded(made("RGB", (3000, 2000), "JPEG"))
now = int(next(l for l in open("/proc/self/status") if l.startswith("VmSize")).split()[1]) * 1024
resource.setrlimit(resource.RLIMIT_AS, (now + 320_000_000,) * 2)
for data in files:
    print(Image.open(io.BytesIO(reencoded(data))).size)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="another system counts memory otherwise")
def test_the_largest_pictures_take_little_memory(tmp_path):
    environment = {
        **os.environ, "DJANGO_SETTINGS_MODULE": "registry.settings", "BENCHQUORUM_DATA": str(tmp_path),
        "DATABASE_URL": "", "BENCHQUORUM_SECRET_KEY": "of a test",
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", IN_LITTLE_ROOM], env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert len(done.stdout.splitlines()) == 5


@pytest.mark.django_db
def test_fifth_picture_is_refused():
    design_propose(by=account("proposer"), body=DESIGN)
    reader = account("reader")
    sheet = sheet_submit(by=reader, body=sheet_json())

    def add(colour):
        return picture_add(by=reader, sheet=sheet, upload=io.BytesIO(photo(colour=colour)))

    assert [add(colour).order for colour in ("teal", "navy", "olive", "teal", "gray")] == [1, 2, 3, 1, 4]
    with pytest.raises(RegistryErrors, match="four pictures"):
        add("white")
    assert sheet.pictures.count() == 4  # the same picture sent again is the one that is there
    with pytest.raises(PermissionDenied):
        picture_add(by=account("other"), sheet=sheet, upload=io.BytesIO(photo()))


def full_disk(store: FileSystemStorage, name: str, content: File) -> str:
    """As it is when the disk is full halfway through a file."""
    Path(store.path(name)).parent.mkdir(parents=True, exist_ok=True)
    Path(store.path(name)).write_bytes(content.read(100))
    raise OSError(errno.ENOSPC, "No space left on device")


def broken(**_more: object) -> None:
    raise OperationalError("the database is gone")


@pytest.mark.django_db
@pytest.mark.parametrize("fault", ["disk", "database"])
def test_of_a_picture_that_could_not_be_stored_no_file_is_left(fault, tmp_path, settings, monkeypatch):
    settings.MEDIA_ROOT = tmp_path
    design_propose(by=account("proposer"), body=DESIGN)
    reader = account("reader")
    sheet = sheet_submit(by=reader, body=sheet_json())
    job = job_start(by=reader, body={"symptom": "silent"}).job
    with monkeypatch.context() as trouble:
        if fault == "disk":
            trouble.setattr(FileSystemStorage, "_save", full_disk)
        else:
            trouble.setattr(pictures, "record", broken)
            trouble.setattr(job_pictures, "event_add", lambda *_args, **_more: broken())
        with pytest.raises((OSError, OperationalError)):
            picture_add(by=reader, sheet=sheet, upload=io.BytesIO(photo()))
        with pytest.raises((OSError, OperationalError)):
            job_picture_add(by=reader, job=job, step="prepared", upload=io.BytesIO(photo()))
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]
    assert picture_add(by=reader, sheet=sheet, upload=io.BytesIO(photo())).order == 1
    assert len([path for path in tmp_path.rglob("*") if path.is_file()]) == 1
