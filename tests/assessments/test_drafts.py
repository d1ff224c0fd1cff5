import json
from datetime import timedelta

import pytest

from academy import ledger
from academy.models import LedgerEntry
from academy.refusals import Refused
from assessments import catalogue, drafts
from assessments.draft_changes import changes
from assessments.draft_checks import problems
from assessments.models import TaskDraft, TaskVersion
from assessments.models.drafts import Ending
from assessments.surroundings import surroundings_of
from tests.factories import assessments as made
from tests.factories.academy import ManagerFactory
from tests.factories.assessments import SWITCH_TEST
from tests.factories.rigs import ISOLATION_BOARD, TWO_TERMINAL

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture
def version(bench) -> TaskVersion:
    return bench.tasks[SWITCH_TEST]


@pytest.fixture
def draft(bench, version) -> TaskDraft:
    return drafts.begin_from(version=version, by=bench.manager, at=bench.at)


def save(draft, bench, *, revision=None, **fields):
    return drafts.change(
        draft=draft,
        revision=revision or draft.revision,
        edit=lambda data: {**data, **fields},
        by=bench.manager,
        at=bench.at + HOUR,
    )


def published(draft, bench):
    draft.refresh_from_db()
    return drafts.publish(draft=draft, revision=draft.revision, by=bench.manager, at=bench.at + 2 * HOUR)


def test_a_draft_begins_as_the_task_was_written(bench, version, draft):
    written = made.task_data(SWITCH_TEST)
    assert draft.data == {name: value for name, value in written.items() if name != "version"} | {
        "designs": draft.data["designs"]
    }
    assert (draft.task, draft.slug, draft.revision) == (version.task, SWITCH_TEST, 1)
    assert drafts.begin_from(version=version, by=bench.manager, at=bench.at) == draft


def test_an_untouched_draft_has_no_changes_and_nothing_wrong(bench, draft):
    known = surroundings_of(centre=bench.centre)
    assert problems(draft.data, known=known) == ()
    before = drafts.before(draft, known=known)
    assert before is not None
    assert changes(before=before, after=draft.data) == ()


def test_publishing_the_same_again_issues_nothing(bench, version, draft):
    assert published(draft, bench) == (version,)
    assert TaskDraft.objects.get().ending == Ending.PUBLISHED


def test_a_changed_draft_becomes_the_version_in_force_and_attempts_keep_theirs(bench, version, draft):
    attempt = made.started(bench)
    save(draft, bench, title="Switch test", guide_minutes=50)

    (new,) = published(draft, bench)

    version.refresh_from_db()
    assert (new.number, new.guide_minutes, new.issued_by) == (2, 50, bench.manager)
    assert (version.withdrawn_by, version.withdrawn_because) == (bench.manager, catalogue.SUPERSEDED)
    assert (attempt.version, version.guide_minutes) == (version, 35)
    assert new.task.title == "Switch test"
    assert drafts.source_of(new)["guide_minutes"] == 50
    assert drafts.source_of(version)["guide_minutes"] == 35


def test_what_was_withdrawn_can_be_issued_again(bench, version, draft):
    drafts.withdraw(version=version, because="A mistake.", by=bench.manager, at=bench.at)

    (again,) = published(draft, bench)

    assert (again.number, again.content_sha256) == (2, version.content_sha256)


def test_a_save_on_an_older_revision_is_refused_and_overwrites_nothing(bench, draft):
    save(draft, bench, title="First")

    with pytest.raises(drafts.Stale, match="after you opened it") as stale:
        save(draft, bench, revision=1, title="Second")

    assert bench.manager.name in str(stale.value)
    draft.refresh_from_db()
    assert (draft.title, draft.revision) == ("First", 2)


def test_the_same_save_sent_twice_is_one(bench, draft):
    save(draft, bench, title="Once")
    save(draft, bench, revision=1, title="Once")

    draft.refresh_from_db()
    assert draft.revision == 2
    assert LedgerEntry.objects.filter(verb="draft.change").count() == 1


def test_nothing_is_published_while_a_check_fails_or_from_an_older_revision(bench, draft):
    save(draft, bench, purpose="")
    draft.refresh_from_db()
    with pytest.raises(Refused, match="Put this right"):
        drafts.publish(draft=draft, revision=2, by=bench.manager, at=bench.at)
    with pytest.raises(drafts.Stale):
        drafts.publish(draft=draft, revision=1, by=bench.manager, at=bench.at)
    assert TaskVersion.objects.filter(task=draft.task).count() == 1


def test_a_draft_that_ended_takes_no_change(bench, draft):
    drafts.set_aside(draft=draft, by=bench.manager, at=bench.at)
    with pytest.raises(Refused, match="set aside already"):
        save(draft, bench, title="Too late")
    with pytest.raises(Refused, match="set aside already"):
        drafts.set_aside(draft=draft, by=bench.manager, at=bench.at)
    assert not TaskDraft.objects.open().exists()


def test_after_one_is_set_aside_another_can_be_begun(bench, version, draft):
    drafts.set_aside(draft=draft, by=bench.manager, at=bench.at)
    assert drafts.begin_from(version=version, by=bench.manager, at=bench.at) != draft


def test_a_new_task_gets_a_name_that_nobody_has(bench):
    first, second = (
        drafts.begin(
            centre=bench.centre,
            title="Instrument checks",
            designs=[TWO_TERMINAL],
            by=bench.manager,
            at=bench.at,
        )
        for _ in range(2)
    )
    assert (first.slug, second.slug) == ("instrument-checks-2", "instrument-checks-3")
    assert first.task is None


def test_a_new_task_is_published_once_it_is_whole(bench):
    draft = drafts.begin(
        centre=bench.centre, title="Look", designs=[TWO_TERMINAL], by=bench.manager, at=bench.at
    )
    step = {"slug": "look", "kind": "action", "title": "Look", "instruction": "Look."}
    save(draft, bench, purpose="See.", cautions=["Mind the fan."], steps=[step])

    (version,) = published(draft, bench)

    assert (version.number, version.task.slug, version.steps.get().title) == (1, "look", "Look")
    draft.refresh_from_db()
    assert draft.task == version.task


def test_a_design_that_the_task_leaves_loses_its_version(bench, draft):
    step = {"slug": "look", "kind": "action", "title": "Look", "instruction": "Look."}
    save(draft, bench, designs=[TWO_TERMINAL, ISOLATION_BOARD], steps=[step])
    both = published(draft, bench)
    assert [each.design.slug for each in both] == [TWO_TERMINAL, ISOLATION_BOARD]

    again = drafts.begin_from(version=both[0], by=bench.manager, at=bench.at)
    save(again, bench, designs=[ISOLATION_BOARD])
    (kept,) = published(again, bench)

    both[0].refresh_from_db()
    assert kept == both[1]
    assert both[0].withdrawn_because == drafts.NO_LONGER_ON_THIS_DESIGN


def test_a_file_becomes_a_draft_unless_one_is_open(bench, draft):
    data = made.task_data("safe-isolation")
    begun = drafts.begin_from_file(centre=bench.centre, data=data, by=bench.manager, at=bench.at)
    assert begun.task is not None
    with pytest.raises(Refused, match="open already") as refused:
        drafts.begin_from_file(centre=bench.centre, data=data, by=bench.manager, at=bench.at)
    assert refused.value.field == "file"


def test_a_version_is_withdrawn_once_and_with_a_reason(bench, version):
    with pytest.raises(Refused, match="Say why"):
        drafts.withdraw(version=version, because=" ", by=bench.manager, at=bench.at)
    drafts.withdraw(version=version, because="The rig is gone.", by=bench.manager, at=bench.at)
    with pytest.raises(Refused, match="withdrawn already"):
        drafts.withdraw(version=version, because="Again.", by=bench.manager, at=bench.at)
    version.refresh_from_db()
    assert (version.withdrawn_because, version.withdrawn_by) == ("The rig is gone.", bench.manager)


def test_every_act_is_in_the_ledger_without_a_word_of_the_task(bench, draft):
    save(draft, bench, title="A title of no one’s")
    drafts.set_aside(draft=draft, by=bench.manager, at=bench.at)
    entries = LedgerEntry.objects.filter(subject=str(draft.pk)).order_by("number")
    assert [entry.verb for entry in entries] == ["draft.begin", "draft.change", "draft.set-aside"]
    assert not any("no one" in json.loads(entry.body).__repr__() for entry in entries)
    assert isinstance(ledger.verify(centre=bench.centre), ledger.Intact)


def test_surroundings_are_the_centres_own_and_know_which_rig_has_a_range(bench):
    ManagerFactory()
    known = surroundings_of(centre=bench.centre)
    ranges = known.designs[TWO_TERMINAL].ranges
    assert ("taps", "fan-running") in ranges[bench.rig.tag]
    assert known.tasks[SWITCH_TEST].requires == {"instrument-checks", "safe-isolation"}
    assert surroundings_of(centre=ManagerFactory().centre).designs == {}


def test_surroundings_cost_as_many_queries_whatever_there_is(bench, django_assert_num_queries):
    with django_assert_num_queries(13):
        surroundings_of(centre=bench.centre)
