"""Loading the demo: eight weeks of a centre's work, and today's session so that the next can begin."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from django.apps import apps
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import models, transaction

from academy.models import Centre
from academy.refusals import Refused
from assessments.demo import at_the_bench, stock, stories
from assessments.demo.beside_deciding import beside_deciding
from assessments.demo.boards import FIRST_WEEK, Boards
from assessments.demo.found_out import found_out
from assessments.demo.playing import Story, play
from assessments.demo.scenario import AttemptPlan, RigPlan, Scenario
from assessments.demo.standardising import exercises_of_the_centre
from assessments.demo.stories import World
from assessments.demo.timetable import WEEK, Timetable
from assessments.demo.visiting import visit_to_the_centre
from rigs import sessions, sheets

Tell = Callable[[str], None]

OPENING = time(8)
MORNING_CHECKS, AFTERNOON_CHECKS = time(8, 10), time(13, 2)
BASELINES_FROM, BASELINE_TAKES = time(9), timedelta(hours=1, minutes=20)
SECONDS_A_STEP = (25.0, 95.0)
RECENT = timedelta(minutes=45)  # before now, today's session began; less where the half-day is younger
LONGEST_TASK = 40  # steps


def load(*, scenario: Scenario, fixtures: Path, at: datetime, tell: Tell) -> bool:
    """Load what is missing: everything into an empty database, today's session into one that has the demo.

    Returns whether anything was added. Refused where another centre is at home.
    """
    centre = demo_centre(scenario)
    timetable = Timetable(now=at, zone=ZoneInfo(scenario.time_zone))
    boards = Boards(scenario=scenario, timetable=timetable)
    with transaction.atomic():
        if centre is None:
            tell("People, tasks, rigs and instruments")
            opened = timetable.moment(timetable.monday(week=FIRST_WEEK), OPENING)
            made = stock.found(scenario, fixtures=fixtures, timetable=timetable, at=opened)
        else:
            made = stock.known(centre)
        world = World(scenario=scenario, timetable=timetable, boards=boards, stock=made)
        if centre is None:
            play([*_past(world), _weeks(world, tell)], until=at)
        added = _today(world, tell, with_attempts=centre is None)
    return added or centre is None


def start_over(*, scenario: Scenario) -> None:
    """Empty the database and remove its files. Refused where another centre is at home."""
    demo_centre(scenario)
    kept = list(_stored_files())
    call_command("flush", interactive=False, verbosity=0)
    for name in kept:
        default_storage.delete(name)


def demo_centre(scenario: Scenario) -> Centre | None:
    """The demo's centre, if it is loaded. Refused where another centre is at home: it wants no company."""
    other = Centre.objects.exclude(name=scenario.centre).first()
    if other is not None:
        raise Refused(
            f"This database holds {other.name}. The demo needs one of its own: name it in DATABASE_URL."
        )
    return Centre.objects.filter(name=scenario.centre).first()


def _stored_files() -> Iterator[str]:
    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            if isinstance(field, models.FileField):
                yield from model._base_manager.exclude(**{field.name: ""}).values_list(field.name, flat=True)


def _past(world: World) -> Iterator[Story]:
    """Every story but today's."""
    for number, rig in enumerate(rig for rig in world.scenario.rigs if rig.is_characterised):
        yield stories.baseline(world, rig, _baseline_days(world.timetable, number))
    yield from (stories.hold(world, plan) for plan in world.scenario.holds)
    yield from (found_out(world, plan) for plan in world.scenario.found_out)
    yield from (stories.prior(world, plan) for plan in world.scenario.prior)
    yield exercises_of_the_centre(world)
    yield from beside_deciding(world)
    yield at_the_bench.watched(world)
    yield visit_to_the_centre(world)
    attempts = [plan for plan in world.scenario.attempts if not plan.when.today]
    for at, tags in _sessions(world, attempts):
        yield stories.session(world, tags, at=at)
    for plan in attempts:
        yield stories.attempt(world, plan, at=world.timetable.at(plan.when), step_seconds=SECONDS_A_STEP)


def _baseline_days(timetable: Timetable, number: int) -> list[datetime]:
    """Tuesday to Thursday of the first week, the rigs one after the other on each."""
    monday = timetable.monday(week=FIRST_WEEK)
    begins = [timetable.moment(monday + timedelta(days=day), BASELINES_FROM) for day in (1, 2, 3)]
    return [each + number * BASELINE_TAKES for each in begins]


def _sessions(world: World, attempts: list[AttemptPlan]) -> list[tuple[datetime, list[str]]]:
    """When each past session's checks begin, and of which rigs: the week's plan, and whatever is needed."""
    timetable = world.timetable
    checkable = {plan.tag for plan in world.scenario.rigs if plan.is_characterised}
    rigs: dict[datetime, set[str]] = defaultdict(set)
    for on in timetable.weekdays(since_week=FIRST_WEEK + 1):
        rigs[timetable.moment(on, MORNING_CHECKS)] |= {
            plan.tag for plan in world.scenario.rigs if f"{on:%a}" in plan.checked
        }
    for plan in attempts:
        at = timetable.at(plan.when)
        clock = MORNING_CHECKS if at.time() < AFTERNOON_CHECKS else AFTERNOON_CHECKS
        rigs[timetable.moment(at.date(), clock)] |= {plan.rig} & checkable
    return [(at, sorted(tags)) for at, tags in rigs.items()]


def _weeks(world: World, tell: Tell) -> Story:
    """Tells how far the others have come."""
    at = world.timetable.moment(world.timetable.monday(week=FIRST_WEEK), OPENING)
    while True:
        yield at
        tell(f"Week of {at.day} {at:%B %Y}")
        at += WEEK


def _today(world: World, tell: Tell, *, with_attempts: bool) -> bool:
    """Check what has not been checked in the half-day that it is, and let today's attempts begin."""
    now = world.timetable.now
    due = [plan.tag for plan in world.scenario.rigs if _wants_a_check(world, plan)]
    if not due:
        return False
    tell("Today's session")
    spare = min(RECENT, now - _half_began(world))
    plans = [plan for plan in world.scenario.attempts if plan.when.today and with_attempts]
    pace = spare.total_seconds() / 2 / LONGEST_TASK
    play(
        [
            stories.session(world, due, at=now - 0.9 * spare, a_check=0.05 * spare),
            *(
                stories.attempt(world, plan, at=now - 0.6 * spare, step_seconds=(pace / 2, pace))
                for plan in plans
            ),
            *(at_the_bench.running(world, begun=now - 0.6 * spare, asked=now - 0.1 * spare) if plans else ()),
        ],
        until=now,
    )
    return True


def _wants_a_check(world: World, plan: RigPlan) -> bool:
    rig = world.stock.rigs[plan.tag]
    if not plan.is_characterised or rig.holds.open().exists() or rig.fault_settings.open().exists():
        return False
    session = sessions.current(centre=world.stock.centre, at=world.timetable.now)
    return sheets.of_session(rig=rig, session=session) is None


def _half_began(world: World) -> datetime:
    """The moment at which the half-day that it is began."""
    centre, now = world.stock.centre, world.timetable.now
    local = now.astimezone(world.timetable.zone)
    starts = [time(0), centre.afternoon_from, centre.evening_from]
    begun = max(start for start in starts if start <= local.time())
    return world.timetable.moment(local.date(), begun)
