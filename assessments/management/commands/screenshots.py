"""Make the README's pictures again, of a demo loaded afresh."""

import io
import re
import shutil
import subprocess
import tempfile
from argparse import ArgumentParser
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from PIL import Image

from academy import machine
from assessments.demo import scenario
from assessments.demo.own_site import NoSite, own_site
from assessments.demo.scenario import Scenario

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

PICTURES = settings.ROOT / "fixtures" / "pictures"
MOST_BYTES = 150_000
COLOURS = (256, 128, 64, 32)
PATIENCE = 180_000  # ms: a portfolio is typeset meanwhile
PHONE, DESK = (360, 720), (1280, 900)
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
POPPLER = "pdftoppm draws it, and is missing (Debian: apt-get install poppler-utils)."
SWITCH_TEST = "Two-terminal air pressure switch test"
COHORT = "Alder-26"
HALF_WAY, TO_SHOW, ASSESSOR, VERIFIER, TECHNICIAN, MANAGER = "C-12", "C-01", "A-1", "Q-1", "T-1", "M-1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """Somebody's browser at the demo."""

    browser: "Browser"
    address: str
    plan: Scenario

    def of(self, name: str, *, size: tuple[int, int] = DESK, scale: float = 1) -> "Page":
        """Sign somebody in. Their page is on the screen that is left."""
        width, height = size
        page = self.browser.new_page(
            base_url=self.address,
            viewport={"width": width, "height": height},
            device_scale_factor=scale,
            locale="en-GB",
            color_scheme="light",
        )
        page.set_default_timeout(PATIENCE)
        page.goto("/")
        page.get_by_label("Email").fill(self.plan.email(name))
        page.get_by_label("Password").fill(self.plan.password)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(re.compile("^(?!.*/sign-in/)"))
        return page


def step(visit: Visit) -> bytes:
    """One step at the bench, on a phone: a reading that comes next."""
    page = visit.of(HALF_WAY, size=PHONE, scale=2)
    page.get_by_role("link", name=re.compile(SWITCH_TEST)).first.click()
    page.get_by_role("link", name=re.compile("Δp at the venturi taps, freed")).click()
    page.get_by_label("Reading", exact=True).wait_for()
    return page.screenshot()


def review(visit: Visit) -> bytes:
    """An attempt that waits for the assessor, from its first reading with a strip on."""
    page = visit.of(ASSESSOR)
    page.get_by_role("row", name=re.compile(SWITCH_TEST)).first.get_by_role("link").click()
    page.locator(".strip-scale").first.wait_for()
    page.evaluate("scrollTo(0, document.querySelector('li:has(.strip-scale)').getBoundingClientRect().top)")
    return page.screenshot()


def rigs(visit: Visit) -> bytes:
    page = visit.of(TECHNICIAN, size=(1280, 640))
    page.get_by_role("link", name="Rigs", exact=True).click()
    page.get_by_role("table").wait_for()
    return page.screenshot()


def values(visit: Visit) -> bytes:
    """What a rig reads today, and what an instrument should show of it."""
    page = visit.of(VERIFIER, size=(1280, 760))
    page.get_by_role("link", name="Rigs").click()
    page.get_by_role("link", name="VB-01").click()
    page.get_by_role("link", name="Show the values").click()
    page.get_by_role("table").wait_for()
    return page.screenshot()


def matrix(visit: Visit) -> bytes:
    page = visit.of(MANAGER, size=(1280, 990))
    open_cohort(page)
    return page.screenshot()


def open_cohort(page: "Page") -> None:
    page.get_by_role("link", name="Cohorts", exact=True).click()
    page.get_by_label("Cohort").select_option(label=COHORT)
    page.get_by_role("button", name="Show").click()
    page.get_by_role("heading", name=COHORT).wait_for()


def portfolio(visit: Visit) -> bytes:
    """The page of a portfolio where the readings of a switch test begin, in the copy for staff."""
    page = visit.of(MANAGER)
    open_cohort(page)
    page.get_by_role("link", name=TO_SHOW).click()
    page.get_by_role("button", name="Make the document").click()
    link = page.get_by_role("link", name="Open it")
    link.wait_for()  # the page of what is made in the background comes back by itself
    document = page.request.get(link.get_attribute("href") or "").body()
    return page_of(document, saying="Δp at the venturi taps")


def page_of(document: bytes, *, saying: str) -> bytes:
    """Draw the first page of a PDF that has some words on it, by poppler."""
    with tempfile.TemporaryDirectory(prefix="makepoint-pictures-") as folder:
        pdf = Path(folder) / "portfolio.pdf"
        pdf.write_bytes(document)
        texts = _run("pdftotext", str(pdf), "-").split("\f")
        number = next((at for at, text in enumerate(texts, start=1) if saying in text), None)
        if number is None:
            raise CommandError(f"No page of the portfolio says “{saying}”.")
        drawn = Path(folder) / "page"
        _run("pdftoppm", "-png", "-singlefile", "-r", "90", "-f", str(number), str(pdf), str(drawn))
        return drawn.with_suffix(".png").read_bytes()


def _run(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603 - poppler's
    if done.returncode:
        raise CommandError(f"{command[0]}: {done.stderr.strip()}")
    return done.stdout


def small(png: bytes) -> bytes:
    """The picture with as many colours as keep it small enough."""
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    for colours in COLOURS:
        out = io.BytesIO()
        picture.quantize(colors=colours, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
        if out.tell() <= MOST_BYTES:
            return out.getvalue()
    raise CommandError(f"A picture stays above {MOST_BYTES // 1000} kB even with {COLOURS[-1]} colours.")


TAKES: tuple[Callable[[Visit], bytes], ...] = (step, review, rigs, values, matrix, portfolio)


class Command(BaseCommand):
    help = "Load the demo into a database of its own, and make the README's pictures of it with Chromium."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--into", type=Path, default=PICTURES, help="the folder; fixtures/pictures if not given"
        )

    def handle(self, *_args: Any, into: Path, **_options: Any) -> None:
        if not machine.CHROMIUM.is_here():
            raise CommandError(machine.CHROMIUM.advice)
        plan = scenario.read(settings.ROOT / "fixtures" / "demo.json")
        into.mkdir(parents=True, exist_ok=True)
        try:
            with own_site(manage=settings.ROOT / "manage.py", tell=self.stdout.write) as address:
                for name, picture in self.pictures(plan, address):
                    (into / f"{name}.png").write_bytes(picture)
                    self.stdout.write(f"{name}.png, {len(picture) / 1000:.0f} kB")
        except NoSite as trouble:
            raise CommandError(str(trouble)) from trouble

    def pictures(self, plan: Scenario, address: str) -> Iterator[tuple[str, bytes]]:
        try:
            from playwright.sync_api import Error, sync_playwright  # noqa: PLC0415 - it comes with the extra `test`
        except ModuleNotFoundError as missing:
            raise CommandError(
                "Playwright is missing: install the project with its extra “test”."
            ) from missing
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=machine.chromium(), args=FLAGS)
            visit = Visit(browser=browser, address=address, plan=plan)
            for take in TAKES:
                if take is portfolio and not shutil.which("pdftoppm"):
                    self.stdout.write(f"portfolio.png stays as it is: {POPPLER}")
                    continue
                try:
                    yield take.__name__, small(take(visit))
                except Error as trouble:
                    reason = trouble.message.partition("\n")[0]
                    raise CommandError(f"{take.__name__}.png can't be made: {reason}") from trouble
            browser.close()
