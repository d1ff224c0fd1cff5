"""One assessment from signing in to the portfolio, over HTTP, by people who see only pages."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from time import sleep
from typing import Any
from zoneinfo import ZoneInfo

from academy.models import Centre
from assessments.demo import pictures
from assessments.demo.boards import Boards
from assessments.demo.browsing import Browser, NotThere, Page
from assessments.demo.hands import Hands
from assessments.demo.scenario import AttemptPlan, Scenario
from assessments.demo.timetable import Timetable, When
from assessments.models import Step
from assessments.models.tasks import StepKind
from rigs import sessions
from rigs.models import Condition, Measurand, TestPoint

Tell = Callable[[str], None]

CANDIDATE, ASSESSOR, MANAGER = "C-22", "A-1", "M-1"
TASK, RIG = "two-terminal-switch-test", "VB-01"
INSTRUMENTS = ("MN-02", "DM-02", "VI-02")
UNSUITABLE = "MN-05"
CORRECTED = "ports-running"
FEEDBACK = "Everything in its order, and read as shown. The correction was noted as it should be."
MOST_LOOKS, LOOK_SECONDS = 180, 1.0
REASON = "Watched throughout; the reading was repeated and settled."


class Stopped(Exception):
    """The journey came to something wrong. The message says where, and what was seen instead."""


@dataclass(slots=True, kw_only=True)
class Journey:
    """The people on their way through one site. ``at`` is when they set out."""

    address: str
    scenario: Scenario
    fixtures: Path
    at: datetime
    tell: Tell
    number: int = 0
    browsers: dict[str, Browser] = field(default_factory=dict)

    def travel(self) -> bytes:
        """Go the whole way. Returns the candidate's portfolio as PDF. Stopped at the first thing wrong."""
        try:
            self._sign_in(CANDIDATE)
            attempt = self._start()
            self._work(attempt)
            self._hand_in(attempt)
            self._sign_in(ASSESSOR)
            self._review()
            self._result(attempt)
            portfolio = self._portfolio(self.browsers[CANDIDATE].open("/evidence/"), CANDIDATE)
            self._sign_in(MANAGER)
            self._matrix()
        except (NotThere, OSError) as error:
            raise Stopped(f"Step {self.number + 1}: {error}.") from error
        return portfolio

    def _sign_in(self, name: str) -> None:
        browser = self.browsers[name] = Browser(self.address)
        page = browser.open("/")
        given = {"username": self.scenario.email(name), "password": self.scenario.password}
        page = browser.send(page, "Sign in", given)
        self._see(page, name, says=f"{name} signs in and comes to “{page.heading}”")

    def _start(self) -> Page:
        """Pick the rig and the task; take an unsuitable instrument first."""
        browser = self.browsers[CANDIDATE]
        page = browser.click(browser.open("/"), RIG)
        self._see(page, "Tasks on this rig", says=f"{RIG}: {page.heading}")
        page = browser.click(page, self._task()["title"])
        self._see(page, "Ohms and continuity are only for circuits proved dead", says="The cautions are read")
        given = {"purpose": "assessment", "cautions_read": "on"} | self._taken(UNSUITABLE)
        page = browser.send(page, "Start", given)
        self._see(page, f"{UNSUITABLE} isn't suitable", says=f"{UNSUITABLE} is refused, without a number")
        page = browser.send(page, "Start", given | self._taken(INSTRUMENTS[0]))
        self._see(page, "Step 1 of", says=f"Started with {', '.join(INSTRUMENTS)}: “{page.heading}”")
        return page

    def _taken(self, manometer: str) -> dict[str, str]:
        _, multimeter, indicator = INSTRUMENTS
        return {"manometer": manometer, "multimeter": multimeter, "voltage-indicator": indicator}

    def _work(self, page: Page) -> None:
        """Every step in its order, each on the page that the last one led to."""
        hands = self._hands()
        steps = self._steps()
        for place, step in enumerate(steps, start=1):
            self._see(page, f"Step {place} of {len(steps)}")
            if step.slug == CORRECTED:
                page = self._correct(page, hands, step)
            else:
                page, entered = self._log(page, hands, step)
                self._see(page, "", says=f"{step.title}: {entered}")

    def _log(self, page: Page, hands: Hands, step: Step) -> tuple[Page, str]:
        browser = self.browsers[CANDIDATE]
        match step.kind:
            case StepKind.READING:
                return self._read(page, hands, step)
            case StepKind.PHOTO:
                drawn = pictures.venturi_board(tag=RIG, caption=f"{step.title}, {CANDIDATE}")
                files = {"photo": drawn.content}
                return browser.send(page, "Keep the photo", files=files), f"{len(drawn.content) // 1024} kB"
            case StepKind.ACTION:
                return browser.send(page, "Done"), "done"
            case _:
                given = {"answer": hands.answer(step)}
                note = hands.reason(step)
                page = browser.send(page, "Log it", given | ({"note": note} if note else {}))
                return page, step.label_of(given["answer"])

    def _read(self, page: Page, hands: Hands, step: Step) -> tuple[Page, str]:
        browser, typed = self.browsers[CANDIDATE], hands.read(step)
        if step.judged_by == "tone":
            return browser.send(page, "Tone"), typed.text
        given = {"text": typed.text, "unit": typed.unit or ""}
        shown = f"{typed.text} {typed.unit}" if typed.value is not None else typed.text
        return browser.send(page, "Log the reading", given), shown

    def _correct(self, page: Page, hands: Hands, step: Step) -> Page:
        """Type nonsense, then the wrong figures, and correct them: first without a reason."""
        browser, where, unit = self.browsers[CANDIDATE], page.address, "mbar"
        page = browser.send(page, "Log the reading", {"text": "one and a half", "unit": unit})
        self._see(
            page, "text where a number belongs", says="“one and a half” is sent back with what is wrong"
        )
        right = hands.read(step).text
        wrong = right[:-2] + right[:-3:-1]
        page = browser.send(page, "Log the reading", {"text": wrong, "unit": unit})
        self._see(page, "", says=f"{step.title}: {wrong} {unit}, the last figures exchanged")
        page = browser.open(where)
        page = browser.send(page, "Strike out and log again", {"text": right, "unit": unit})
        self._see(page, "Say why it is corrected", says="A correction without a reason is sent back")
        given = {"text": right, "unit": unit, "reason": "Figures exchanged while typing"}
        page = browser.send(page, "Strike out and log again", given)
        self._see(page, "", says=f"Corrected to {right} {unit}")
        return page

    def _hand_in(self, attempt: Page) -> None:
        browser = self.browsers[CANDIDATE]
        page = browser.open(self._overview(attempt))
        self._see(
            page, "Every step is logged", says="Every step is logged, the struck-out reading with its reason"
        )
        self._see(page, "Figures exchanged while typing")
        page = browser.send(page, "Hand in")
        self._see(page, "handed in", says="Handed in")
        for word in ("in range", "competent", "Competent", "proposes"):
            if word in page.text:
                raise NotThere(f"a page without marks: “{word}” shows before the sign-off")

    def _review(self) -> None:
        browser = self.browsers[ASSESSOR]
        page = browser.open("/review/")
        self._see(page, CANDIDATE, says=f"{ASSESSOR} sees it waiting: “{page.heading}”")
        page = browser.click(page, CANDIDATE)
        self._see(page, "The marking proposes", says=f"“{page.heading}”: marked on three strands")
        given = {"decision": "competent", "feedback": FEEDBACK} | _judged(page)
        page = browser.send(page, "Sign off", given)
        self._see(page, "Confirm that it is you", says="Asked for the password, once a sitting")
        page = browser.send(page, "Sign", {"confirm-password": self.scenario.password})
        self._see(page, f"Signed off {CANDIDATE}", says="Signed off as competent")

    def _result(self, attempt: Page) -> None:
        browser = self.browsers[CANDIDATE]
        page = browser.open(self._overview(attempt).removesuffix("/") + "/result/")
        self._see(page, FEEDBACK, says=f"{CANDIDATE} reads the result and the feedback")
        self._see(page, "stays out of this page", says="It is in words: the rig's figures stay out of it")

    def _portfolio(self, page: Page, name: str) -> bytes:
        browser = self.browsers[name]
        self._see(page, "Coverage", says=f"{name} sees the evidence against the criteria")
        evidence = page.address
        page = self._awaited(browser.send(page, "Make the document"), browser)
        self._see(page, "It is made", says="The portfolio is made")
        made = browser.click(page, "Open it")
        if made.status != 200 or not made.content.startswith(b"%PDF-"):
            raise NotThere("a PDF where the portfolio should be")
        self._see(made, "", says=f"It has {len(made.content) // 1024} kB of PDF")
        page = browser.click(browser.open(evidence), "Check a copy")
        page = browser.send(page, "Compare", files={"file": made.content})
        self._see(page, "The same as issued", says="Compared with what was issued: the same")
        self._see(page, "Intact, and over the whole file", says="Its signature is intact")
        return made.content

    def _awaited(self, page: Page, browser: Browser) -> Page:
        """The page of what is made in the background, once it is over."""
        for _ in range(MOST_LOOKS):
            if "It is made" in page.text or "Nothing was made" in page.text:
                break
            sleep(LOOK_SECONDS)
            page = browser.open(page.address)
        return page

    def _matrix(self) -> None:
        browser = self.browsers[MANAGER]
        page = browser.open("/cohorts/")
        cohort = next(each.name for each in self.scenario.cohorts if CANDIDATE in each.candidates)
        page = browser.send(page, "Show", {"cohort": cohort})
        self._see(page, CANDIDATE, says=f"{MANAGER} sees {cohort} on one page")
        self._portfolio(browser.click(page, CANDIDATE), MANAGER)

    def _see(self, page: Page, words: str, *, says: str = "") -> None:
        """Look at a page: is it there, and does it say what it should? Then tell what was seen."""
        if page.status != 200:
            raise NotThere(f"{page.address} answers {page.status}")
        if words not in page.text:
            raise NotThere(f"“{words}” isn't on “{page.heading}”, which says: {page.text[:300]}")
        if says:
            self.number += 1
            self.tell(f"{self.number:3}  {says}")

    def _overview(self, attempt: Page) -> str:
        return attempt.address.partition("steps/")[0]

    def _task(self) -> dict[str, Any]:
        task: dict[str, Any] = json.loads(
            (self.fixtures / "tasks" / f"{TASK}.json").read_text(encoding="utf-8")
        )
        return task

    def _steps(self) -> list[Step]:
        """The task's steps as its own file has them: nothing is asked of a database."""
        return [_step(dict(data)) for data in self._task()["steps"]]

    def _hands(self) -> Hands:
        """Hands on the rig as it stands today, steady ones: chance is not to end the journey."""
        timetable = Timetable(now=self.at, zone=ZoneInfo(self.scenario.time_zone))
        boards = Boards(scenario=self.scenario, timetable=timetable)
        centre = Centre(name=self.scenario.centre, time_zone=self.scenario.time_zone)
        half = str(sessions.half_day(centre=centre, at=self.at)[1])
        rig = boards.rig(self.scenario.rig(RIG), at=self.at, half=half)
        manometer, multimeter, _ = map(self.scenario.instrument, INSTRUMENTS)
        return Hands(
            plan=AttemptPlan(
                candidate=CANDIDATE, task=TASK, rig=RIG, instruments=INSTRUMENTS, when=When(today=True)
            ),
            rig=replace(rig, repeat_sd=rig.repeat_sd / 4, rest_sd=0.0),
            manometer=boards.manometer(manometer, at=self.at),
            multimeter=boards.multimeter(multimeter),
            rng=boards.chance("journey"),
        )


def _step(data: dict[str, Any]) -> Step:
    """A step as a value, never saved."""
    point, condition = data.pop("measurand", (None, data.get("condition")))
    data["condition"] = placed = Condition(slug=condition)
    measurand = Measurand(test_point=TestPoint(slug=point), condition=placed) if point else None
    return Step(**data, measurand=measurand)


def _judged(page: Page) -> dict[str, str]:
    """What the marking leaves to the assessor, point by point: each is met, and by what."""
    names = {each.name for each in page.form("Sign off").controls}
    return {name: "met" for name in names if name.startswith("met-")} | {
        name: REASON for name in names if name.startswith("why-")
    }
