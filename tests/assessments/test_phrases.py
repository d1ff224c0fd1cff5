"""An assessor's phrase book."""

import pytest
from django.test import Client
from django.urls import reverse

from academy.refusals import Refused
from assessments import phrases
from assessments.models import Phrase
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories.academy import person_with

pytestmark = pytest.mark.django_db

GOOD = "Good order of tests."


@pytest.fixture
def task(bench):
    return bench.tasks[made.SWITCH_TEST].task


@pytest.fixture
def phrase(bench, task):
    return phrases.keep(assessor=bench.assessor, text=GOOD, task=task, at=bench.at)


@pytest.fixture
def browser(bench):
    client = Client()
    client.force_login(bench.assessor)
    return client


class TestTheBook:
    def test_a_phrase_is_kept_once_for_a_task_and_once_for_any(self, bench, task, phrase):
        for _ in range(2):
            phrases.keep(assessor=bench.assessor, text=f"  {GOOD}\n", task=task, at=bench.at)
            phrases.keep(assessor=bench.assessor, text=GOOD, task=None, at=bench.at)

        kept = Phrase.objects.values_list("text", "task")
        assert len(kept) == 2
        assert set(kept) == {(GOOD, task.pk), (GOOD, None)}

    def test_those_for_the_task_come_first_then_those_for_any(self, bench, task, phrase):
        phrases.keep(assessor=bench.assessor, text="Any.", task=None, at=bench.at)
        other = bench.tasks["safe-isolation"].task
        phrases.keep(assessor=bench.assessor, text="Elsewhere.", task=other, at=bench.at)

        offered = Phrase.objects.of(bench.assessor).for_task(task.pk)

        assert [each.text for each in offered] == [GOOD, "Any."]

    @pytest.mark.parametrize("text", ["  ", "x" * 501])
    def test_nothing_and_too_much_are_refused(self, bench, text):
        with pytest.raises(Refused):
            phrases.keep(assessor=bench.assessor, text=text, task=None, at=bench.at)

    def test_a_task_of_another_centre_is_refused(self, bench, task):
        stranger = person_with("assessor", by=rigs.ManagerFactory())
        with pytest.raises(Refused, match="of your centre"):
            phrases.keep(assessor=stranger, text=GOOD, task=task, at=bench.at)

    def test_nobody_changes_or_removes_somebody_elses(self, bench, phrase):
        other = person_with("assessor", by=bench.manager)
        with pytest.raises(Refused, match="isn’t there"):
            phrases.change(phrase=phrase, text="Mine.", task=None, by=other)
        with pytest.raises(Refused, match="isn’t there"):
            phrases.remove(phrase=phrase, by=other)

    def test_changing_one_into_another_is_refused(self, bench, task, phrase):
        other = phrases.keep(assessor=bench.assessor, text="Other.", task=task, at=bench.at)
        with pytest.raises(Refused, match="already"):
            phrases.change(phrase=other, text=GOOD, task=task, by=bench.assessor)

    @pytest.mark.parametrize(
        ("typed", "joined"),
        [
            ("", GOOD),
            ("Well done.", f"Well done.\n{GOOD}"),
            (f"Well done. {GOOD}", f"Well done. {GOOD}"),
            (f"{GOOD}\n", GOOD),
        ],
    )
    def test_a_chosen_phrase_is_added_where_it_is_not_there_yet(self, phrase, typed, joined):
        assert phrases.joined(typed=typed, chosen=[phrase]) == joined


class TestThePages:
    def test_one_more_is_written(self, browser, task):
        response = browser.post(reverse("phrase-list"), {"text": GOOD, "task": task.pk}, follow=True)

        assert GOOD in response.text
        assert Phrase.objects.get().task == task

    def test_one_is_changed_and_removed(self, browser, phrase):
        browser.post(reverse("phrase-change", args=[phrase.pk]), {"text": "Better.", "task": ""})
        phrase.refresh_from_db()
        assert (phrase.text, phrase.task) == ("Better.", None)

        response = browser.post(reverse("phrase-remove", args=[phrase.pk]), follow=True)

        assert "out of your book" in response.text
        assert not Phrase.objects.exists()

    def test_somebody_elses_is_not_there(self, bench, phrase):
        client = Client()
        client.force_login(person_with("assessor", by=bench.manager))

        assert GOOD not in client.get(reverse("phrase-list")).text
        assert client.get(reverse("phrase-change", args=[phrase.pk])).status_code == 404
        assert client.post(reverse("phrase-remove", args=[phrase.pk])).status_code == 404
