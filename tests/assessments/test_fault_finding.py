"""Finding a fault by the verbs: measuring freely, correcting, taking back, stating, handing in, marking."""

import json
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import attempts, evidence, faults, gathering, outcomes
from assessments.marking.diagnosed import DiagnosisVerdict
from assessments.marking.inputs import canonical
from assessments.marking.results import ProposedDecision
from assessments.models import RangeSeen, Reading
from assessments.models.attempts import Purpose
from rigs.metrology.quantities import Quantity
from rigs.models import Fault
from tests.factories import assessments as made
from tests.factories import fault_finding as finding
from tests.factories import rigs
from tests.factories.fault_finding import FAULT_FINDING, HEALTHY, Found

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    return finding.bench()


@pytest.fixture
def attempt(bench):
    return finding.started(bench)


class TestMeasuring:
    def test_any_number_of_readings_is_kept_in_order_even_the_same_twice(self, attempt):
        for text in ("1.58", "1.59", "1.58"):
            finding.measure(attempt, "taps/fan-running", text)
        finding.measure(attempt, "contacts/fan-off", "OL", why="Open at rest?")

        kept = list(attempt.readings.in_order())
        assert [each.text for each in kept] == ["1.58", "1.59", "1.58", "OL"]
        assert [each.sequence for each in kept] == [1, 2, 3, 4]
        assert kept[-1].instrument.instrument.tag == "DM-02"
        assert kept[-1].why == "Open at rest?"

    def test_a_correction_strikes_out_one_reading_and_leaves_the_others(self, attempt):
        first = finding.measure(attempt, "taps/fan-running", "15.8")
        finding.measure(attempt, "ports/fan-running", "1.57")
        finding.measure(attempt, "taps/fan-running", "1.58", corrects=first, reason="Point misplaced")

        assert [each.text for each in attempt.readings.standing().in_order()] == ["1.57", "1.58"]
        (inputs,) = gathering.gather([attempt.pk])
        assert [each.reading.text for each in inputs.measurements] == ["1.58", "1.57"]

    def test_one_that_is_taken_back_stays_readable_and_counts_for_nothing(self, attempt):
        reading = finding.measure(attempt, "taps/fan-running", "1.58")
        back = finding.take_back(attempt, reading)

        assert (back.supersedes, back.reason) == (reading, "Wrong rig")
        assert not attempt.readings.standing().exists()
        assert gathering.gather([attempt.pk])[0].measurements == ()

    @pytest.mark.parametrize("reason", ["", "   "])
    def test_neither_goes_without_a_reason(self, attempt, reason):
        reading = finding.measure(attempt, "taps/fan-running", "1.58")
        with pytest.raises(Refused, match="Say why"):
            finding.measure(attempt, "taps/fan-running", "1.59", corrects=reading, reason=reason)
        with pytest.raises(Refused, match="Say why"):
            evidence.take_back_reading(
                attempt=attempt,
                reading=reading,
                sent=evidence.Sent(id=uuid4(), reason=reason),
                candidate=attempt.candidate,
                at=attempt.started_at,
            )

    def test_one_that_was_struck_out_is_not_corrected_again(self, attempt):
        first = finding.measure(attempt, "taps/fan-running", "1.5")
        finding.measure(attempt, "taps/fan-running", "1.58", corrects=first, reason="Misread")

        with pytest.raises(Refused, match="struck out already"):
            finding.measure(attempt, "taps/fan-running", "1.59", corrects=first, reason="Misread")

    def test_sending_one_twice_stores_it_once(self, attempt):
        sent = evidence.Sent(id=uuid4())
        first = finding.measure(attempt, "taps/fan-running", "1.58", sent=sent)
        again = finding.measure(attempt, "taps/fan-running", "1.58", sent=sent)

        assert first == again
        assert Reading.objects.count() == 1

    def test_something_else_under_the_same_number_is_asked_about(self, attempt):
        sent = evidence.Sent(id=uuid4())
        finding.measure(attempt, "taps/fan-running", "1.58", sent=sent)

        with pytest.raises(Refused):
            finding.measure(attempt, "ports/fan-running", "1.58", sent=sent)

    def test_a_test_point_of_another_design_is_refused(self, bench, attempt):
        board = rigs.load_designs(by=bench.manager)[rigs.ISOLATION_BOARD]
        with pytest.raises(Refused, match="test points") as refused:
            finding.measure(attempt, "taps/fan-running", "1.58", test_point=board.test_points.all()[0])
        assert refused.value.field == "test_point"

    def test_one_that_the_task_does_not_offer_is_refused(self, attempt):
        with pytest.raises(Refused, match="test points"):
            finding.measure(attempt, "make-point/hand-pump", "0.93")
        with pytest.raises(Refused, match="conditions"):
            finding.measure(attempt, "ports/hand-pump", "0.93")

    def test_a_quantity_that_is_not_read_there_is_refused(self, attempt):
        with pytest.raises(Refused, match="isn't a resistance"):
            finding.measure(
                attempt, "taps/fan-running", "1.58", typed=finding.typed("1", quantity=Quantity.RESISTANCE)
            )

    def test_without_the_instrument_it_is_refused_in_words(self, attempt):
        attempt.instruments.filter(kind="manometer").update(kind="thermometer")
        with pytest.raises(Refused, match="no instrument with you that reads a pressure"):
            finding.measure(attempt, "taps/fan-running", "1.58")

    def test_nobody_elses_attempt_and_none_that_was_handed_in_takes_one(self, bench, attempt):
        with pytest.raises(Refused, match="somebody else"):
            finding.measure(attempt, "taps/fan-running", "1.58", candidate=made.another_candidate(bench))
        finding.measure(attempt, "taps/fan-running", "1.58")
        finding.answer(attempt, "diagnosis", "none")
        finding.answer(attempt, "conclusion", "serviceable")
        attempts.hand_in(attempt=attempt, candidate=attempt.candidate, at=attempt.started_at)
        with pytest.raises(Refused, match="handed in"):
            finding.measure(attempt, "taps/fan-running", "1.58")

    def test_the_ledger_has_each_reading_and_each_correction_sealed(self, attempt):
        first = finding.measure(attempt, "taps/fan-running", "1.5")
        finding.measure(attempt, "taps/fan-running", "1.58", corrects=first, reason="Misread")

        verbs = list(LedgerEntry.objects.filter(verb__startswith="reading.").values_list("verb", flat=True))
        assert sorted(verbs) == ["reading.correct", "reading.log"]
        assert "1.58" not in LedgerEntry.objects.get(verb="reading.correct").body

    def test_the_database_keeps_test_point_and_condition_together(self, attempt):
        reading = finding.measure(attempt, "taps/fan-running", "1.58")
        with pytest.raises(IntegrityError), transaction.atomic():
            Reading.objects.filter(pk=reading.pk).update(condition=None)
        with pytest.raises(IntegrityError), transaction.atomic():
            Reading.objects.filter(pk=reading.pk).update(taken_back=True)


class TestStating:
    def test_a_diagnosis_without_a_reading_is_refused_in_words(self, attempt):
        with pytest.raises(Refused, match="Measure something first"):
            finding.answer(attempt, "diagnosis", "tubes-crossed")

    def test_neither_is_one_enough_that_was_taken_back(self, attempt):
        reading = finding.measure(attempt, "taps/fan-running", "1.58")
        finding.take_back(attempt, reading)
        with pytest.raises(Refused, match="Measure something first"):
            finding.answer(attempt, "diagnosis", "tubes-crossed")

    def test_a_fault_that_the_design_does_not_have_is_refused(self, attempt):
        finding.measure(attempt, "taps/fan-running", "1.58")
        with pytest.raises(Refused, match="Choose one"):
            finding.answer(attempt, "diagnosis", "gremlin")

    def test_it_needs_its_reason(self, attempt):
        finding.measure(attempt, "taps/fan-running", "1.58")
        with pytest.raises(Refused, match="Give the reason"):
            finding.answer(attempt, "diagnosis", "none", note="  ")

    def test_handing_in_without_one_is_refused(self, attempt):
        with pytest.raises(Refused, match="Log your diagnosis first"):
            attempts.hand_in(attempt=attempt, candidate=attempt.candidate, at=attempt.started_at)

    def test_the_choices_are_the_designs_whole_list_and_nothing_wrong(self, bench, attempt):
        offered = [each["value"] for each in finding.step(attempt, "diagnosis").choices]
        assert offered == ["none", *bench.rig.design.faults.values_list("slug", flat=True)]


class TestMarking:
    def test_a_fault_found_is_proposed_competent(self):
        bench = finding.bench(fault="tubes-crossed")
        marking = outcomes.marking_of(outcomes.latest(finding.handed_in(bench)))

        assert marking.engine == "3"
        assert marking.diagnosis.verdict is DiagnosisVerdict.RIGHT
        assert marking.diagnosis.supported
        assert marking.proposal is ProposedDecision.COMPETENT

    def test_a_healthy_rig_works_the_same_way(self, bench):
        nothing = Found(readings=HEALTHY, stated="none", concluded="serviceable")
        marking = outcomes.marking_of(outcomes.latest(finding.handed_in(bench, nothing)))

        assert marking.diagnosis.set == "none"
        assert marking.proposal is ProposedDecision.COMPETENT

    def test_everything_that_it_was_marked_from_is_in_the_frozen_inputs(self):
        bench = finding.bench(fault="tubes-crossed")
        attempt = finding.handed_in(bench)
        outcome = outcomes.latest(attempt)
        document = json.loads(outcome.inputs)

        assert document["fault"]["slug"] == "tubes-crossed"
        assert document["bench"]["terminals"] == "2"
        assert [each["test_point"] for each in document["measurements"]] == [
            "leads-together", "contacts", "taps", "ports", "contacts",
        ]  # fmt: skip
        assert {"high-tap/fan-running", "make-point/hand-pump"} <= {
            each["key"] for each in document["measurands"]
        }
        assert outcomes.compare(attempt=attempt).same

    def test_later_work_on_the_rig_changes_nothing(self):
        bench = finding.bench(fault="tubes-crossed")
        attempt = finding.handed_in(bench)
        before = canonical(gathering.gather([attempt.pk])[0])
        (setting,) = bench.rig.fault_settings.all()
        later = attempt.submitted_at + timedelta(hours=1)
        faults.remove(setting=setting, by=bench.assessor, at=later)
        finding.set_fault(bench, "fan-slow", at=later)

        assert canonical(gathering.gather([attempt.pk])[0]) == before

    def test_as_many_queries_for_many_attempts_as_for_one(self, django_assert_num_queries):
        bench = finding.bench(fault="tubes-crossed")
        first = finding.handed_in(bench, purpose=Purpose.PRACTICE)
        second = finding.handed_in(
            bench, purpose=Purpose.PRACTICE, at=first.submitted_at + timedelta(hours=1)
        )
        with django_assert_num_queries(16):
            gathering.gather([first.pk])
        with django_assert_num_queries(16):
            gathering.gather([first.pk, second.pk])

    def test_attempts_on_other_tasks_in_the_batch_change_nothing(self):
        bench = finding.bench()
        free, plain = finding.handed_in(bench), made.handed_in(bench)
        alone = [gathering.gather([each.pk])[0] for each in (plain, free)]

        assert gathering.gather([plain.pk, free.pk]) == alone
        assert [bool(each.measurements) for each in alone] == [False, True]
        freely_read = {each.reading for each in alone[1].measurements}
        assert freely_read.isdisjoint(alone[1].readings)

    def test_the_rig_must_have_been_checked(self, bench):
        assert attempts.needs_values(bench.tasks[FAULT_FINDING])
        assert attempts.kinds_needed(bench.tasks[FAULT_FINDING]) == ["manometer", "multimeter"]


class TestSetting:
    def test_what_the_readings_can_tell_is_set_with_what_it_should_do(self, bench):
        setting = finding.set_fault(bench, "tubes-crossed")

        assert not setting.practice_only
        assert setting.lookalikes == []
        rows = {(each["test_point"], each["condition"]): each for each in setting.pattern}
        ports = rows["Δp at the switch ports", "Fan running"]
        assert ports["faulty"].startswith("\N{MINUS SIGN}1.5")
        assert ports["healthy"].startswith("1.5")
        contacts = rows["Switch contacts, COM to NO", "Fan running"]
        assert (contacts["healthy"], contacts["faulty"]) == ("closed", "open")

    def test_what_they_cannot_tell_is_refused_for_assessment_naming_the_group(self, bench):
        with pytest.raises(Refused) as refused:
            finding.set_fault(bench, "contact-open")

        assert refused.value.field == "fault"
        for label in ("Contact does not make", "Switch mechanism stuck at rest"):
            assert f"“{label}”" in refused.value.message
        assert "practice only" in refused.value.message
        assert not bench.rig.fault_settings.exists()

    def test_for_practice_it_can_be_set_and_says_what_it_looks_like(self, bench):
        setting = finding.set_fault(bench, "contact-open", practice_only=True)

        assert setting.lookalikes == ["stuck-at-rest"]
        entry = LedgerEntry.objects.get(verb="fault.set")
        assert json.loads(entry.body)["facts"]["practice_only"] is True
        assert "contact-open" not in entry.body

    def test_the_rig_then_gives_practice_only_in_the_words_for_one_that_was_not_checked(self):
        bench = finding.bench(fault="contact-open", practice_only=True)
        with pytest.raises(Refused, match="VB-01 hasn't been checked this session"):
            finding.started(bench)
        assert finding.started(bench, purpose=Purpose.PRACTICE).fault is not None

    def test_an_ordinary_task_goes_on_as_without_a_fault(self):
        bench = finding.bench(fault="tubes-crossed")
        assert made.started(bench).purpose == Purpose.ASSESSMENT

    def test_whoever_sets_it_has_seen_what_the_rig_reads(self, bench):
        finding.set_fault(bench, "tubes-crossed")
        assert RangeSeen.objects.filter(person=bench.assessor, rig=bench.rig).exists()

    def test_without_a_task_that_asks_for_faults_none_is_refused(self):
        bench = made.ready_bench()
        assert finding.set_fault(bench, "contact-open").pattern

    def test_a_rig_without_a_baseline_gives_no_pattern(self, bench):
        bare = rigs.rig(by=bench.technician, tag="VB-09", design=bench.rig.design)
        fault = Fault.objects.get(design=bare.design, slug="tubes-crossed")
        with pytest.raises(Refused, match="no approved baseline"):
            faults.set_fault(rig=bare, fault=fault, by=bench.assessor, at=bench.at)
        setting = faults.set_fault(rig=bare, fault=fault, by=bench.assessor, at=bench.at, practice_only=True)
        assert setting.pattern == []
