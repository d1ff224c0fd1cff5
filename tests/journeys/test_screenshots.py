"""The README's pictures, made of a demo loaded for them alone."""

import io
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from PIL import Image

from academy import machine
from assessments.demo.own_site import OWN_SETTINGS
from assessments.management.commands import screenshots
from tests.needs import require

SIZES = {
    "step.png": (720, 1440),
    "review.png": (1280, 900),
    "rigs.png": (1280, 640),
    "values.png": (1280, 760),
    "matrix.png": (1280, 990),
}


@pytest.fixture(scope="module")
def taken(tmp_path_factory, pango) -> Path:
    """A folder of pictures. Taken by another process, because two Playwrights in one don't agree."""
    require(need=machine.CHROMIUM)
    folder = tmp_path_factory.mktemp("pictures")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(OWN_SETTINGS)}
    done = subprocess.run(
        [sys.executable, "manage.py", "screenshots", "--into", str(folder)],
        cwd=settings.ROOT,
        env=kept | {"MAKEPOINT_VAR": str(tmp_path_factory.mktemp("var"))},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def test_every_picture_is_small_and_as_large_as_its_window(taken) -> None:
    pictures = {path.name: size_of(path.read_bytes()) for path in taken.iterdir()}
    portfolio = pictures.pop("portfolio.png", None)
    assert pictures == SIZES
    assert (portfolio is not None) == (shutil.which("pdftoppm") is not None)
    assert max(path.stat().st_size for path in taken.iterdir()) <= screenshots.MOST_BYTES


def test_the_readme_shows_pictures_that_are_there() -> None:
    readme = (settings.ROOT / "README.md").read_text(encoding="utf-8")
    shown = [part.partition('"')[0] for part in readme.split('src="')[1:]]
    assert shown
    assert all((settings.ROOT / picture).is_file() for picture in shown)


def test_a_picture_gives_up_colours_until_it_is_small_enough() -> None:
    steps = np.random.default_rng(1).integers(0, 255, size=(60, 80, 3), dtype=np.uint8)
    png = screenshots.small(as_png(np.kron(steps, np.ones((8, 8, 1), dtype=np.uint8))))
    assert size_of(png) == (640, 480)
    assert len(png) <= screenshots.MOST_BYTES


def test_one_that_stays_too_large_is_refused_in_a_line() -> None:
    noise = np.random.default_rng(1).integers(0, 255, size=(900, 1280, 3), dtype=np.uint8)
    with pytest.raises(CommandError, match=r"^A picture stays above 150 kB even with 32 colours\.$"):
        screenshots.small(as_png(noise))


def size_of(png: bytes) -> tuple[int, int]:
    return Image.open(io.BytesIO(png)).size


def as_png(pixels: np.ndarray) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG")
    return out.getvalue()


def test_without_chromium_it_says_what_to_install(monkeypatch) -> None:
    monkeypatch.setattr(machine, "chromium", lambda: None)
    with pytest.raises(CommandError, match="Chromium"):
        call_command("screenshots")
