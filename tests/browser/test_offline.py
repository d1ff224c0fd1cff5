"""The bench without a network: whole attempts, cuts anywhere, restarts, other people, and two devices."""

import io
import random
import re

from django.utils import timezone
from PIL import ExifTags, Image
from playwright.sync_api import BrowserContext, Page, expect

from academy import machine
from assessments import catalogue
from assessments.models import Arrival, Attempt, Photo, Reading, StepRecord, Ticket
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.tasks import StepKind
from tests.browser.conftest import FLAGS, PASSWORD, give_password, sign_in
from tests.factories import assessments as made
from tests.factories.assessments import SWITCH_TEST

REASON = "Open at rest, closed with the fan running."


def jpeg(size=(1200, 900)) -> bytes:
    out = io.BytesIO()
    Image.effect_noise(size, 80).convert("RGB").save(out, "JPEG")
    return out.getvalue()


def ready(page: Page) -> None:
    """The phone has what it needs: the worker answers for this page, and what waited was looked through."""
    expect(page.locator("#bench-saved[data-checked][data-worker]")).to_be_attached()


def fetch_ticket(page: Page, bench: made.Bench, purpose: str = "Assessment") -> Ticket:
    page.goto("/bench/")
    ready(page)
    page.get_by_role("link", name=re.compile(bench.rig.tag)).first.click()
    page.get_by_role("link", name=re.compile("Two-terminal air pressure switch test")).click()
    page.get_by_text(purpose, exact=True).click()
    page.get_by_label("Multimeter").select_option(label="DM-02")
    page.get_by_label("Manometer").select_option(label="MN-02")
    page.get_by_label("Voltage indicator").select_option(label="VI-01")
    page.get_by_role("button", name="Keep a ticket on this phone").click()
    expect(page.get_by_text("The ticket is on this phone.")).to_be_visible()
    return Ticket.objects.get()


def heading(page: Page, words: str) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(words)


def begin(page: Page, bench: made.Bench) -> None:
    """As from the label on the rig."""
    page.goto(f"/scan/{bench.rig.pk}/")
    heading(page, "On this phone")
    page.get_by_role("button", name="Begin").click()
    heading(page, "Two-terminal air pressure switch test")
    page.get_by_text("I have read the cautions").click()
    page.get_by_role("button", name="Start").click()
    heading(page, "Leads together")


def do(page: Page, step, sheet) -> None:
    heading(page, step.title)
    expect(page.get_by_text(step.instruction)).to_be_visible()
    match step.kind:
        case StepKind.READING:
            text = right(step, sheet)
            if text in {"OL", "tone"}:
                page.get_by_role(
                    "button", name=text.capitalize() if text == "tone" else text, exact=True
                ).click()
            else:
                page.get_by_label("Reading", exact=True).fill(text)
                page.get_by_role("button", name="Log the reading").click()
        case StepKind.PHOTO:
            photo = {"name": "rig.jpg", "mimeType": "image/jpeg", "buffer": jpeg()}
            page.get_by_label("Photo").set_input_files(photo)
            page.get_by_role("button", name="Keep the photo").click()
        case StepKind.OBSERVATION | StepKind.CONCLUSION:
            labels = {choice["value"]: choice["label"] for choice in step.choices}
            page.get_by_text(labels[step.expected[0]], exact=True).click()
            if step.kind == StepKind.CONCLUSION:
                page.get_by_label("Why?").fill(REASON)
            page.get_by_role("button", name="Log it").click()
        case _:
            page.get_by_role("button", name="Done").click()


def right(step, sheet) -> str:
    class Pinned:
        pass

    pinned = Pinned()
    pinned.sheet = sheet
    return made.right_reading(pinned, step)


def steps_of(bench: made.Bench):
    return list(
        bench.tasks[SWITCH_TEST]
        .steps.select_related("condition", "measurand__test_point")
        .order_by("position")
    )


def test_a_whole_attempt_is_worked_and_handed_in_without_a_network(bench, page):
    sign_in(page, bench.candidate)
    ticket = fetch_ticket(page, bench)
    page.context.set_offline(True)
    begin(page, bench)
    steps = steps_of(bench)
    for step in steps:
        do(page, step, ticket.sheet)
    expect(page.get_by_text("Every step is logged.")).to_be_visible()
    expect(page.locator("#bench-saved")).to_contain_text(
        "12 readings, 18 steps, 2 photos on this phone, not sent yet"
    )
    page.get_by_role("button", name="Hand in").click()
    expect(page.get_by_text("Handed in on this phone.")).to_be_visible()
    assert Attempt.objects.count() == 0

    page.context.set_offline(False)
    expect(page.get_by_text("Your assessor will look at it")).to_be_visible(timeout=60_000)
    attempt = Attempt.objects.get()
    assert (attempt.status, attempt.purpose) == (AttemptStatus.SUBMITTED, Purpose.ASSESSMENT)
    assert (attempt.sheet, attempt.outcomes.get().proposal) == (ticket.sheet, "competent")
    assert Photo.objects.count() == 2
    sequences = [row.sequence for row in Arrival.objects.order_by("device_at")]
    assert sequences == list(range(1, len(steps) + 3))


def line(page: Page):
    return page.locator("#bench-saved")


def begin_online(page: Page, bench: made.Bench) -> Attempt:
    attempt = made.started(bench)
    page.goto(f"/attempts/{attempt.pk}/steps/1/")
    ready(page)
    return attempt


def log_leads(page: Page, text: str = "0.2") -> None:
    heading(page, "Leads together")
    page.get_by_label("Reading", exact=True).fill(text)
    page.get_by_role("button", name="Log the reading").click()
    heading(page, "Leads together, continuity tone")


def test_the_network_comes_and_goes_at_every_step_and_nothing_is_lost_or_doubled(bench, page):
    """Each step's page comes from the site or the phone, and its form goes to either, as chance has it."""
    chance = random.Random(7)
    sign_in(page, bench.candidate)
    attempt = begin_online(page, bench)
    steps = steps_of(bench)
    for step in steps:
        heading(page, step.title)
        page.context.set_offline(chance.random() < 0.5)
        if chance.random() < 0.3:
            page.goto(f"/attempts/{attempt.pk}/steps/{step.position}/")
        do(page, step, attempt.sheet)
    expect(page.get_by_text("Every step is logged.")).to_be_visible()
    page.context.set_offline(True)
    page.get_by_role("button", name="Hand in").click()
    expect(page.get_by_text("Handed in on this phone.")).to_be_visible()
    page.context.set_offline(False)

    expect(page.get_by_text("Your assessor will look at it")).to_be_visible(timeout=60_000)
    rows = [row for model in (Reading, StepRecord, Photo) for row in model.objects.order_by("sequence")]
    assert len(rows) == len(steps)
    in_order = sorted(rows, key=lambda row: (row.sequence, row.received_at))
    logged = [row.step.position for row in in_order]
    assert logged == [step.position for step in steps]
    assert attempt.outcomes.get().proposal == "competent"


def test_what_waits_outlives_the_browser(bench, browser, live_server, tmp_path):
    given = {"base_url": live_server.url, "locale": "en-GB", "viewport": {"width": 360, "height": 740}}

    def opened() -> BrowserContext:
        return browser.browser_type.launch_persistent_context(
            tmp_path, executable_path=machine.chromium(), args=FLAGS, **given
        )

    context = opened()
    page = context.new_page()
    sign_in(page, bench.candidate)
    fetch_ticket(page, bench)
    context.set_offline(True)
    begin(page, bench)
    log_leads(page)
    context.close()

    context = opened()
    page = context.new_page()
    context.set_offline(True)
    page.goto("/bench/")
    expect(line(page)).to_contain_text("1 reading on this phone, not sent yet")
    page.get_by_role("link", name=re.compile("Two-terminal")).click()
    expect(page.get_by_role("link", name=re.compile("1 Leads together"))).to_contain_text("0.2 Ω")
    context.set_offline(False)
    page.reload()
    expect(line(page)).to_contain_text("Nothing waits on this phone · last sent")
    context.close()
    assert Reading.objects.get().text == "0.2"


def test_somebody_elses_queue_is_kept_and_never_sent_as_anothers(bench, page):
    other = made.another_candidate(bench)
    give_password(other, by=bench.manager)
    sign_in(page, bench.candidate)
    fetch_ticket(page, bench)
    page.context.set_offline(True)
    begin(page, bench)
    log_leads(page)
    # The phone goes to somebody else, and the sign-in that was on it is gone.
    page.context.clear_cookies()
    page.context.set_offline(False)
    sign_in(page, other)
    page.goto("/bench/")
    ready(page)

    expect(line(page)).to_have_text(
        "2 entries of somebody else are kept on this phone until they sign in here."
    )
    page.goto("/bench/offline/")
    expect(page.get_by_text("No ticket is on this phone.")).to_be_visible()
    assert Attempt.objects.count() == 0

    page.goto("/bench/")
    page.get_by_role("button", name="Sign out").click()
    sign_in(page, bench.candidate)
    expect(line(page)).to_contain_text("Nothing waits on this phone", timeout=30_000)
    assert Reading.objects.get().attempt.candidate == bench.candidate


def test_a_sign_in_that_ran_out_half_way_loses_nothing(bench, page):
    sign_in(page, bench.candidate)
    attempt = begin_online(page, bench)
    page.context.set_offline(True)
    log_leads(page)
    page.context.clear_cookies()
    page.context.set_offline(False)

    expect(line(page)).to_contain_text("You are signed out: sign in again to send it.", timeout=30_000)
    line(page).get_by_role("link", name="Sign in").click()
    sign_in_here(page, bench)
    expect(line(page)).to_contain_text("Nothing waits on this phone", timeout=30_000)
    assert attempt.readings.get().text == "0.2"


def sign_in_here(page: Page, bench: made.Bench) -> None:
    page.get_by_label("Email").fill(bench.candidate.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "sign-in" not in url)


def test_a_version_that_was_withdrawn_meanwhile_is_taken_with_its_ticket(bench, page):
    sign_in(page, bench.candidate)
    ticket = fetch_ticket(page, bench)
    page.context.set_offline(True)
    begin(page, bench)
    log_leads(page)
    catalogue.withdraw(version=ticket.version, by=bench.manager, at=timezone.now())
    page.context.set_offline(False)

    expect(line(page)).to_contain_text("Nothing waits on this phone", timeout=30_000)
    assert Reading.objects.get().attempt.version == ticket.version


def test_a_conflict_is_shown_and_decided(bench, page, new_page):
    sign_in(page, bench.candidate)
    attempt = begin_online(page, bench)
    page.context.set_offline(True)
    log_leads(page, "0.4")
    second = new_page()
    sign_in(second, bench.candidate)
    second.goto(f"/attempts/{attempt.pk}/steps/1/")
    log_leads(second, "0.2")
    page.context.set_offline(False)
    expect(line(page)).to_contain_text("1 for you to decide.", timeout=30_000)
    line(page).get_by_role("link").click()

    expect(page.get_by_text("It was logged otherwise on another device.")).to_be_visible()
    page.get_by_role("button", name="Decide").click()
    expect(page.get_by_role("alert")).to_contain_text("Choose which one stands.")
    page.get_by_text("On this phone: 0.4 Ω").click()
    page.get_by_label("Why?").fill("Pressed together this time")
    page.get_by_role("button", name="Decide").click()
    expect(page.get_by_text("For you to decide")).to_have_count(0)
    expect(line(page)).to_contain_text("Nothing waits on this phone")
    old, new = Reading.objects.in_order()
    assert (old.text, new.text, new.reason) == ("0.2", "0.4", "Pressed together this time")


def test_what_the_site_refuses_is_kept_until_it_is_left_out(bench, page):
    sign_in(page, bench.candidate)
    attempt = begin_online(page, bench)
    page.context.set_offline(True)
    log_leads(page)
    Attempt.objects.update(status=AttemptStatus.SUBMITTED, submitted_at=timezone.now())
    page.context.set_offline(False)
    expect(line(page)).to_contain_text("1 for you to decide.", timeout=30_000)
    page.goto("/bench/offline/")

    expect(page.get_by_text("The site didn’t take it: This attempt was handed in")).to_be_visible()
    page.get_by_text("Leave it out").first.click()
    page.get_by_role("button", name="Leave it out").click()
    expect(page.get_by_text("For you to decide")).to_have_count(0)
    assert attempt.readings.count() == 0


def test_a_slip_is_told_at_once(bench, page):
    sign_in(page, bench.candidate)
    fetch_ticket(page, bench)
    page.context.set_offline(True)
    begin(page, bench)
    for text, words in (("", "Nothing is written here."), ("about one", "is text where a number belongs.")):
        page.get_by_label("Reading", exact=True).fill(text)
        page.get_by_role("button", name="Log the reading").click()
        expect(page.get_by_role("alert")).to_contain_text(words)
    expect(line(page)).to_contain_text("An attempt on this phone, not sent yet.")


def test_a_full_phone_says_so_and_keeps_what_was_kept(bench, page):
    sign_in(page, bench.candidate)
    fetch_ticket(page, bench)
    page.context.set_offline(True)
    begin(page, bench)
    page.evaluate(
        """() => {
          IDBObjectStore.prototype.put = () => { throw new DOMException("full", "QuotaExceededError"); };
        }"""
    )
    page.get_by_label("Reading", exact=True).fill("0.2")
    page.get_by_role("button", name="Log the reading").click()

    expect(page.get_by_role("alert")).to_contain_text("This phone’s storage is full")
    expect(page.get_by_label("Reading", exact=True)).to_have_value("0.2")
    page.reload()
    expect(line(page)).to_contain_text("An attempt on this phone, not sent yet.")


def test_a_photo_of_40_mb_is_made_smaller_and_keeps_its_time(bench, page, tmp_path):
    sign_in(page, bench.candidate)
    attempt = begin_online(page, bench)
    step = bench.tasks[SWITCH_TEST].steps.get(slug="photo-before")
    page.context.set_offline(True)
    page.goto(f"/attempts/{attempt.pk}/steps/{step.position}/")
    photo = tmp_path / "rig.jpg"
    photo.write_bytes(large_photo())
    page.get_by_label("Photo").set_input_files(photo)
    page.get_by_role("button", name="Keep the photo").click()
    heading(page, "Both switch wires off and insulated")
    page.context.set_offline(False)

    expect(line(page)).to_contain_text("Nothing waits on this phone", timeout=60_000)
    photo = Photo.objects.get()
    assert max(photo.width, photo.height) == 2400
    assert photo.height > photo.width
    assert (photo.taken_at.hour, photo.taken_at.minute) == (10, 30)


def large_photo() -> bytes:
    """40 MB, lying on its side, with the time at which it was taken."""
    image = Image.effect_noise((4000, 3000), 80).convert("RGB")
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = "2025:01:06 10:30:00"
    out = io.BytesIO()
    image.save(out, "JPEG", quality=95, exif=exif)
    return out.getvalue() + b"\0" * (40 * 1024 * 1024 - out.tell())


def test_nothing_of_a_person_is_in_the_cache_and_the_bench_is_light(bench, page):
    sign_in(page, bench.candidate)
    fetch_ticket(page, bench)
    kept = page.evaluate(
        """async () => {
          const found = [];
          for (const name of await caches.keys()) {
            const cache = await caches.open(name);
            for (const request of await cache.keys()) {
              const text = await (await cache.match(request)).text();
              found.push([new URL(request.url).pathname, text]);
            }
          }
          return found;
        }"""
    )
    assert "/bench/offline/" in dict(kept)
    for address, text in kept:
        assert bench.candidate.name not in text
        assert str(bench.candidate.pk) not in text
        assert address == "/bench/offline/" or address.startswith("/static/")
    page.goto("/bench/")
    weights = page.evaluate(
        """() => [...performance.getEntriesByType("resource"), ...performance.getEntriesByType("navigation")]
          .filter((each) => !each.name.includes("/sync/"))
          .map((each) => each.decodedBodySize)"""
    )
    assert 0 < sum(weights) < 100_000
