"""How long issuing a portfolio takes, beside the typesetting of its pages alone: times within one run.

``manage.py benchmark portfolio`` runs it, in a process and a database of its own.
"""

import hashlib
import io
import warnings
from collections.abc import Callable
from datetime import timedelta

import numpy as np
from django.core.files.base import ContentFile
from PIL import Image
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration

from assessments import portfolio
from assessments.models import Photo
from assessments.pdf import typeface
from assessments.pdf.document import Document
from assessments.pdf.typesetting import ALWAYS, FONT, OPTIONS, Carried
from tests.benchmarks.marking import Ratio, peak_megabytes, seconds
from tests.factories import assessments as made
from tests.factories.assessments import Bench, Work
from tests.factories.portfolios import document_of

GOAL = 1.2
MOST_MEGABYTES = 1000
ROUNDS = 3
WORKS = (
    made.ALL_WELL,
    Work(struck={"ports-running": "15.8"}),
    Work(readings={"ports-running": "1.91"}, skipped=frozenset({"prove-after"})),
)
LATER = timedelta(minutes=1)
PHOTO = (1600, 1200)

Tell = Callable[[str], None]


def run(*, count: int, tell: Tell) -> None:
    """Measure, and say what came out."""
    before = peak_megabytes()
    bench = worked(count)
    attempts = peak_megabytes()
    ratio, size = issuing_ratio(bench)
    tell(
        f"Issuing a portfolio of {count:,} attempts, from the database to the signed file of "
        f"{size / 1e6:.1f} MB ÷ WeasyPrint alone on the same pages: {ratio}."
    )
    peak = peak_megabytes()
    over = ", over" if peak > MOST_MEGABYTES else ""
    tell(
        f"Peak memory: {peak:.0f} MB, goal below {MOST_MEGABYTES:,}{over}; {before:.0f} MB before anything "
        f"was done, {attempts:.0f} MB with the attempts made."
    )


def worked(count: int) -> Bench:
    """A bench where the candidate has so many attempts behind them, signed off, with real photos."""
    bench = made.ready_bench()
    for number in range(count):
        made.signed_off(bench, WORKS[number % len(WORKS)], at=bench.at + number * LATER)
    for number, photo in enumerate(Photo.objects.filter(attempt__candidate=bench.candidate)):
        _take(photo, seed=number)
    return bench


def issuing_ratio(bench: Bench) -> tuple[Ratio, int]:
    """Ours over the other's, and the size of the file."""
    at = bench.at + timedelta(days=1)
    source = document_of(bench, at=at)
    alone(source)  # so that neither is the first to load fonts
    issued = []
    ways = (
        lambda: issued.append(portfolio.issue(candidate=bench.candidate, by=bench.assessor, at=at)),
        lambda: alone(source),
    )
    rounds = []
    for number in range(ROUNDS):
        first, second = ways if number % 2 else ways[::-1]
        times = seconds(first), seconds(second)
        rounds.append(times if number % 2 else times[::-1])
    return Ratio(rounds=tuple(rounds), goal=GOAL), issued[-1].size


def alone(source: Document) -> bytes:
    """The same HTML, style sheets and pictures through WeasyPrint, and nothing else."""
    fetcher, fonts = Carried(source), FontConfiguration()
    sheets = [
        CSS(string=text, font_config=fonts, url_fetcher=fetcher)
        for text in (typeface.faces(scheme=FONT), *source.stylesheets, ALWAYS)
    ]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        html = HTML(string=source.html, url_fetcher=fetcher)
        return bytes(html.write_pdf(font_config=fonts, stylesheets=sheets, **OPTIONS))


def _take(photo: Photo, *, seed: int) -> None:
    """Another picture in a photo's place, as large as a phone's after it was taken in."""
    rng = np.random.default_rng(seed)
    coarse = rng.integers(0, 256, (PHOTO[1] // 8, PHOTO[0] // 8, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(coarse).resize(PHOTO, Image.Resampling.BICUBIC).save(out, "JPEG", quality=85)
    content = out.getvalue()
    photo.file.save("taken.jpg", ContentFile(content), save=False)
    photo.sha256, photo.width, photo.height = hashlib.sha256(content).hexdigest(), *PHOTO
    photo.save()
