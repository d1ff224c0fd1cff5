"""An external verifier's visit: a sample of a month's decisions, verified in part, open until next month."""

from datetime import time, timedelta

from assessments import verification, visits
from assessments.demo.playing import Story
from assessments.demo.stories import World
from assessments.demo.timetable import When
from assessments.models.decisions import Decision
from assessments.models.verification import Agreement

DRAWS, ARRANGES = When(week=-1, day="Thu", clock=time(16, 30)), When(week=-1, day="Fri", clock=time(14, 30))
VERIFIER, VISITOR = "Q-1", "E-1"
A_MONTH, VERIFIED = timedelta(days=28), 6
A_MOMENT = timedelta(minutes=4)


def visit_to_the_centre(world: World) -> Story:
    """The internal verifier draws a sample, works on it, and opens it to the visitor."""
    by, centre, at = world.stock.people[VERIFIER], world.stock.centre, world.timetable.at(DRAWS)
    yield at
    plan = verification.draw_plan(
        centre=centre,
        starts_on=at.date() - A_MONTH,
        ends_on=at.date(),
        seed=int(f"{at:%Y%m%d}"),
        wrong_percent=25,
        chance_percent=80,
        by=by,
        at=at,
    )
    for sampled in plan.sampled.select_related("plan__centre", "sign_off__attempt")[:VERIFIED]:
        if not verification.may_verify(sign_off=sampled.sign_off, person=by, on=centre.date_at(at)):
            continue
        at += A_MOMENT
        yield at
        own = verification.decide_blind(
            sampled=sampled,
            verifier=by,
            decision=Decision(sampled.sign_off.decision),
            note="The readings and the order of the steps bear it out.",
            at=at,
        )
        verification.compare(verification=own, verifier=by, agreement=Agreement.AGREED, note="", at=at)
    at = world.timetable.at(ARRANGES)
    yield at
    visits.arrange(
        visitor=world.stock.people[VISITOR],
        starts_on=at.date(),
        ends_on=at.date() + A_MONTH,
        reason="The yearly look at the sample of last month’s decisions.",
        plan=plan,
        by=by,
        at=at,
    )
