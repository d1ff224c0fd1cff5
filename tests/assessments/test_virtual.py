"""Practising on a virtual rig: what is drawn, what may be logged, and that nothing comes of it elsewhere."""

import json
from uuid import uuid4

import pytest

from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import (
    coverage,
    progress,
    virtual,
    virtual_boards,
    virtual_figures,
    virtual_marking,
)
from assessments.marking.results import StrandVerdict
from assessments.models import Attempt, VirtualEntry, VirtualPractice
from assessments.models.virtual import Draw
from assessments.virtual_rigs import VirtualBench, draw_bench, resembles
from rigs.metrology.conformity import Verdict
from rigs.models import BaselineValue
from tests.factories import assessments as made
from tests.factories import virtual as practices
from tests.factories.academy import AT, CandidateFactory, ManagerFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def classroom(db):
    """Tasks, designs and a candidate: no rig, no instrument, no session."""
    return practices.classroom()


@pytest.fixture
def version(classroom):
    return classroom.tasks[made.SWITCH_TEST]


@pytest.fixture
def practice(classroom, version):
    return practices.started(candidate=classroom.candidate, version=version)


@pytest.fixture
def search(classroom):
    version = practices.fault_finding(by=classroom.manager)
    return practices.started(candidate=classroom.candidate, version=version, draw=Draw.ANY)


def marking(practice):
    entries = practice.entries.in_order().select_related("step", "test_point", "condition")
    return virtual_marking.marking_of(practice, list(entries))


class TestTheRig:
    def test_is_kept_as_it_was_drawn(self, practice):
        kept = VirtualBench.read(VirtualPractice.objects.get().drawn)

        assert kept == draw_bench(seed=practice.seed, terminals=2)

    def test_is_another_one_each_time(self, classroom, version):
        first, second = (
            practices.started(candidate=classroom.candidate, version=version, seed=seed) for seed in (1, 2)
        )

        assert first.drawn["rig"] != second.drawn["rig"]

    def test_is_never_like_one_on_the_bench(self, bench):
        """A real rig is given the very figures that a seed would draw: the next seed is taken instead."""
        twin = draw_bench(seed=practices.SEED, terminals=2).rig
        for (point, condition), field in virtual_figures.FIELDS.items():
            BaselineValue.objects.filter(
                baseline__rig=bench.rig,
                measurand__test_point__slug=point,
                measurand__condition__slug=condition,
            ).update(mean=getattr(twin, field))
        real = virtual_figures.real_figures(centre=bench.centre)
        assert any(each.running == twin.running for each in real)

        practice = practices.started(candidate=bench.candidate, version=bench.tasks[made.SWITCH_TEST])

        assert practice.seed != practices.SEED
        assert not resembles(VirtualBench.read(practice.drawn).rig, real=real)

    def test_no_practice_hands_out_what_a_real_rig_reads(self, bench):
        real = virtual_figures.real_figures(centre=bench.centre)
        assert real

        for seed in range(0, 3_000, 100):
            practice = practices.started(
                candidate=bench.candidate, version=bench.tasks[made.SWITCH_TEST], seed=seed
            )
            assert not resembles(VirtualBench.read(practice.drawn).rig, real=real)

    def test_a_centre_whose_rigs_leave_no_room_is_told_so(self, classroom, version, monkeypatch):
        monkeypatch.setattr(virtual, "resembles", lambda *_rig, **_real: True)

        with pytest.raises(Refused, match="too near"):
            practices.started(candidate=classroom.candidate, version=version)


class TestStarting:
    def test_needs_no_session_no_instrument_and_no_task_before_it(self, classroom, version):
        newcomer = CandidateFactory(by=classroom.manager)

        practice = practices.started(candidate=newcomer, version=version)

        assert practice.is_open
        assert practice.fault is None

    def test_twice_with_the_same_id_is_once(self, classroom, version):
        number = uuid4()
        first, second = (
            practices.started(candidate=classroom.candidate, version=version, id=number) for _ in range(2)
        )

        assert first == second
        assert VirtualPractice.objects.count() == 1
        assert LedgerEntry.objects.filter(verb="virtual-practice.start").count() == 1

    @pytest.mark.parametrize(
        ("change", "says"),
        [
            ({"cautions_read": False}, "Read the cautions"),
            ({"draw": Draw.ANY}, "Choose one of those"),
        ],
    )
    def test_is_refused(self, classroom, version, change, says):
        with pytest.raises(Refused, match=says):
            practices.started(candidate=classroom.candidate, version=version, **change)

    def test_is_refused_for_a_board_that_no_model_knows(self, classroom):
        with pytest.raises(Refused, match="No virtual rig"):
            practices.started(
                candidate=classroom.candidate, version=classroom.tasks["safe-isolation"], draw=Draw.NOTHING
            )

    def test_is_refused_at_another_centre(self, classroom, version):
        stranger = CandidateFactory(by=ManagerFactory())

        with pytest.raises(Refused, match="another centre"):
            practices.started(candidate=stranger, version=version)

    def test_only_tasks_that_can_be_stood_in_for_are_offered(self, classroom, version):
        offered = virtual_boards.practisable(centre=classroom.centre)

        assert version in offered
        assert classroom.tasks["safe-isolation"] not in offered


class TestAWholeTask:
    def test_read_as_shown_meets_all_three_strands(self, practice):
        practices.work_through(practice)
        found = marking(practice)

        assert found.procedure.verdict == StrandVerdict.MET
        assert found.readings.verdict == StrandVerdict.MET, [
            (mark.step, mark.verdict, mark.sentence) for mark in found.marks
        ]
        assert found.conclusion.verdict == StrandVerdict.MET

    @pytest.mark.parametrize("seed", range(100, 112))
    def test_the_display_is_never_out_of_range_of_its_own_rig(self, classroom, version, seed):
        practice = practices.started(candidate=classroom.candidate, version=version, seed=seed)
        practices.work_through(practice)

        assert Verdict.OUT_OF_RANGE not in {mark.verdict for mark in marking(practice).marks}

    def test_each_reading_is_judged_against_this_rig_and_no_other(self, practice):
        practices.log(practice, "ports-running", typed="9.99")
        (mark,) = marking(practice).marks

        assert mark.verdict == Verdict.OUT_OF_RANGE
        value = practice.drawn["levels"]["ports/fan-running"]["value"]
        assert mark.numbers.value == value

    def test_safety_critical_steps_count_and_so_does_their_order(self, practice):
        practices.log(practice, "contacts-at-rest")
        practices.log(practice, "isolate")

        found = marking(practice).procedure
        assert found.verdict == StrandVerdict.NOT_MET
        assert any(each.step == "isolate" and each.breach for each in found.findings)

    def test_what_is_logged_again_takes_the_place_of_what_stood(self, practice):
        practices.log(practice, "ports-running", typed="9.99")
        practices.log(practice, "ports-running")

        (mark,) = marking(practice).marks
        assert mark.verdict != Verdict.OUT_OF_RANGE

    def test_sent_twice_is_logged_once(self, practice):
        number = uuid4()
        for _ in range(2):
            practices.log(practice, "isolate", id=number)

        assert VirtualEntry.objects.count() == 1

    def test_something_else_under_the_same_id_is_not_dropped(self, practice):
        number = uuid4()
        for typed in ("1.5", "1.6"):
            practices.log(practice, "ports-running", typed=typed, id=number)

        assert list(practice.entries.in_order().values_list("text", flat=True)) == ["1.5", "1.6"]

    def test_what_the_display_showed_is_kept_beside_what_was_written(self, practice):
        entry = practices.log(practice, "ports-running", typed="1.5")

        assert entry.text == "1.5"
        assert len(entry.shown) == 4

    def test_nothing_is_added_once_it_is_finished(self, classroom, practice):
        virtual.finish(practice=practice, candidate=classroom.candidate, at=AT)

        with pytest.raises(Refused, match="finished"):
            practices.log(practice, "isolate")

    def test_finishing_twice_is_once(self, classroom, practice):
        for _ in range(2):
            virtual.finish(practice=practice, candidate=classroom.candidate, at=AT)

        assert LedgerEntry.objects.filter(verb="virtual-practice.finish").count() == 1

    def test_somebody_elses_is_not_touched(self, classroom, practice):
        other = CandidateFactory(by=classroom.manager)
        for verb in (virtual.finish, virtual.give_up):
            with pytest.raises(Refused, match="somebody else"):
                verb(practice=practice, candidate=other, at=AT)
        with pytest.raises(Refused, match="somebody else"):
            practices.log(practice, "isolate", candidate=other)

    @pytest.mark.parametrize(
        ("slug", "given", "says"),
        [
            ("conclusion", {"answer": "faulty", "note": " "}, "Give the reason"),
            ("prove-dead", {"answer": "perhaps"}, "one of the answers"),
            ("ports-running", {"typed": None}, "another kind of entry"),
        ],
    )
    def test_what_is_not_whole_is_refused(self, classroom, practice, slug, given, says):
        step = practice.version.steps.get(slug=slug)

        with pytest.raises(Refused, match=says):
            virtual.log(
                practice=practice, step=step, id=uuid4(), candidate=classroom.candidate, at=AT, **given
            )


class TestASearch:
    @pytest.mark.parametrize("draw", [Draw.ANY, Draw.ELECTRICAL, Draw.PNEUMATIC])
    def test_each_sort_of_fault_can_be_asked_for(self, search, draw):
        drawn = {
            practices.started(candidate=search.candidate, version=search.version, draw=draw, seed=seed).fault
            for seed in range(0, 4_000, 100)
        }

        assert len(drawn) > 3
        assert (None in drawn) == (draw == Draw.ANY)

    def test_the_same_seed_draws_the_same_fault(self, search):
        again = practices.started(
            candidate=search.candidate, version=search.version, draw=Draw.ANY, seed=search.seed
        )

        assert again.fault == search.fault

    def test_a_fault_shows_on_the_display(self, search):
        practices.with_fault(search, "contact-open")

        assert practices.measure(search, "contacts", "fan-running").shown == "OL"

    def test_a_healthy_board_shows_a_closed_contact(self, search):
        practices.with_fault(search, None)

        assert practices.measure(search, "contacts", "fan-running").shown != "OL"

    def test_measuring_again_makes_another_reading(self, search):
        practices.with_fault(search, None)
        seen = {practices.measure(search, "taps", "fan-running").shown for _ in range(12)}

        assert len(seen) > 1

    def test_the_fault_is_hidden_until_a_diagnosis_is_stated(self, search):
        assert not virtual.is_revealed(search)
        practices.measure(search, "taps", "fan-running")
        assert not virtual.is_revealed(search)

        practices.log(search, "diagnosis", answer="none")

        assert virtual.is_revealed(search)

    @pytest.mark.parametrize("verb", [virtual.give_up, virtual.finish])
    def test_or_until_the_search_is_given_up(self, search, verb):
        assert virtual.is_revealed(verb(practice=search, candidate=search.candidate, at=AT))

    def test_once_it_is_out_there_is_nothing_more_to_find(self, search):
        virtual.give_up(practice=search, candidate=search.candidate, at=AT)

        with pytest.raises(Refused, match="The fault is out"):
            practices.measure(search, "taps", "fan-running")
        with pytest.raises(Refused, match="The fault is out"):
            practices.log(search, "diagnosis", answer="none")

    def test_a_diagnosis_without_a_reading_is_refused(self, search):
        with pytest.raises(Refused, match="Measure something first"):
            practices.log(search, "diagnosis", answer="none")

    def test_the_lamp_is_on_the_contact_and_not_on_the_meter(self, search):
        practices.with_fault(search, None)
        assert virtual.lamp_lights(search, running=True)
        assert not virtual.lamp_lights(search, running=False)

        practices.with_fault(search, "contact-welded")
        assert virtual.lamp_lights(search, running=False)

    def test_the_conclusion_is_judged_by_the_fault(self, search):
        practices.with_fault(search, "contact-open")
        practices.measure(search, "contacts", "fan-running")
        practices.measure(search, "ports", "fan-running")
        practices.log(search, "diagnosis", answer="contact-open")
        practices.log(search, "conclusion", answer="serviceable")

        assert marking(search).conclusion.verdict == StrandVerdict.NOT_MET


class TestNothingComesOfIt:
    @pytest.fixture
    def finished(self, classroom, practice):
        practices.work_through(practice)
        return virtual.finish(practice=practice, candidate=classroom.candidate, at=AT)

    def test_it_is_no_attempt(self, finished):
        assert not Attempt.objects.exists()

    def test_it_achieves_no_task_and_shows_no_criterion(self, classroom, version, finished):
        assert version.task_id not in progress.achieved_tasks(classroom.candidate)
        assert not progress.standings_of([classroom.candidate], [version.task])
        decided = coverage.decided_attempts(Attempt.objects.all(), candidate=classroom.candidate)
        shown = coverage.coverage(candidate=classroom.candidate, decided=decided, priors=())
        assert decided == ()
        assert not any(each.evidence for unit in shown.units for each in unit.criteria)

    def test_it_is_no_prerequisite_of_another_task(self, classroom):
        """The newcomer practises a task that another one asks for, and still misses it."""
        newcomer = CandidateFactory(by=classroom.manager)
        first = classroom.tasks["instrument-checks"]
        practice = practices.started(candidate=newcomer, version=first)
        practices.work_through(practice)
        virtual.finish(practice=practice, candidate=newcomer, at=AT)

        missing = progress.missing_prerequisites(
            candidate=newcomer, version=classroom.tasks[made.SWITCH_TEST]
        )
        assert first.task in missing

    def test_the_ledger_has_its_start_and_its_end_and_no_reading(self, finished):
        verbs = LedgerEntry.objects.filter(subject=str(finished.pk)).values_list("verb", flat=True)

        assert list(verbs.order_by("number")) == ["virtual-practice.start", "virtual-practice.finish"]
        assert json.dumps(list(LedgerEntry.objects.values_list("body", flat=True))).count("virtual") == 2
