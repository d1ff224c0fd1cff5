import json
import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy.models import Role
from assessments import catalogue, drafts
from assessments.models import StepRecord, TaskDraft, TaskVersion
from tests.factories import assessments as made
from tests.factories.academy import person_with
from tests.factories.assessments import SWITCH_TEST
from tests.factories.rigs import ISOLATION_BOARD, TWO_TERMINAL

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture
def manager(bench, client, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: bench.at + HOUR)
    client.force_login(bench.manager)
    return client


@pytest.fixture
def version(bench) -> TaskVersion:
    return bench.tasks[SWITCH_TEST]


@pytest.fixture
def draft(bench, version) -> TaskDraft:
    return drafts.begin_from(version=version, by=bench.manager, at=bench.at)


def place_of(draft, slug):
    return str(next(n for n, step in enumerate(draft.data["steps"], start=1) if step.get("slug") == slug))


def address(draft, name, *more):
    return reverse(name, args=[draft.pk, *more])


def sent(response, **changes):
    """What a browser would send: the form as it is shown, with changes."""
    form = response.context["form"]
    values = {name: form[name].value() for name in form.fields}
    values = {name: "" if value is None else value for name, value in values.items() if value is not False}
    values |= changes
    return {name: value for name, value in values.items() if value is not None}


def step_named(draft, slug):
    draft.refresh_from_db()
    return next(step for step in draft.data["steps"] if step.get("slug") == slug)


def errors(response):
    assert response.status_code == 200
    return response.context["form"].errors


class TestReading:
    def test_every_task_is_listed_with_what_is_in_force_and_what_is_being_written(
        self, bench, manager, draft, version
    ):
        made.started(bench)
        page = manager.get(reverse("task-list")).text
        for task in bench.tasks.values():
            assert task.task.title in page
        assert reverse("task-version", args=[version.pk]) in page
        assert address(draft, "draft-detail") in page
        assert "Instrument checks before use" in page

    def test_a_version_says_the_whole_task_as_issued(self, bench, manager, version):
        page = manager.get(reverse("task-version", args=[version.pk])).text
        for step in version.steps.all():
            assert step.title in page
        assert "Falls by at least" in page
        assert "80 %" in page
        assert "“Δp at the venturi taps, fan running”" in page
        assert bench.manager.name in page

    def test_a_withdrawn_version_says_why(self, bench, manager, version):
        address = reverse("task-withdraw", args=[version.pk])
        assert errors(manager.post(address, {"because": " "})) == {"because": ["Say why it is withdrawn."]}
        page = manager.post(address, {"because": "The rig is gone."}, follow=True).text
        assert "The rig is gone." in page
        assert "None: withdrawn" in manager.get(reverse("task-list")).text

    @pytest.mark.parametrize("kind", [Role.Kind.ASSESSOR, Role.Kind.VERIFIER])
    def test_assessors_and_verifiers_read_and_write_nothing(self, bench, client, version, draft, kind):
        client.force_login(person_with(kind, by=bench.manager))
        page = client.get(reverse("task-version", args=[version.pk]))
        assert page.status_code == 200
        assert "Draft a new version" not in page.text
        assert address(draft, "draft-detail") not in client.get(reverse("task-list")).text
        assert client.get(address(draft, "draft-detail")).status_code == 403

    def test_a_version_comes_out_as_a_file_that_reads_in_again(self, bench, manager, version):
        response = manager.get(reverse("task-export", args=[version.pk]))
        assert response["Content-Disposition"] == (
            f'attachment; filename="{SWITCH_TEST}-{TWO_TERMINAL}-1.json"'
        )
        file = SimpleUploadedFile("task.json", response.content)
        manager.post(reverse("draft-import"), {"file": file})
        assert TaskDraft.objects.get().data == json.loads(response.content)

    def test_a_broken_file_is_refused_with_its_line(self, manager):
        file = SimpleUploadedFile("task.json", b'{\n"slug": "a",\n"title": "A"\n"x": 1}')
        assert (
            "Line 4, character 1" in errors(manager.post(reverse("draft-import"), {"file": file}))["file"][0]
        )
        assert not TaskDraft.objects.exists()
        assert errors(manager.post(reverse("draft-import"), {}))["file"] == ["Choose a file first."]


class TestBeginning:
    def test_a_new_task_goes_from_its_title_to_a_published_version(self, bench, manager):
        new = {"title": "Look round", "designs": [TWO_TERMINAL]}
        response = manager.post(reverse("draft-create"), new, follow=True)
        draft = TaskDraft.objects.get()
        particulars = sent(response, purpose="See.", cautions="Mind the fan.\n\nAnd the wires.")
        manager.post(address(draft, "draft-particulars"), particulars)
        page = manager.get(address(draft, "draft-step-insert", "1"))
        manager.post(
            address(draft, "draft-step-insert", "1"), sent(page, title="Look", instruction="Look round.")
        )
        page = manager.get(address(draft, "draft-publish"))
        assert "It is a new task" in page.text
        manager.post(address(draft, "draft-publish"), sent(page))
        version = TaskVersion.objects.get(task__title="Look round")
        assert version.cautions == ["Mind the fan.", "And the wires."]
        assert [step.slug for step in version.steps.all()] == ["look"]

    def test_a_draft_from_a_version_is_the_one_that_is_open_already(self, manager, version):
        for _ in range(2):
            manager.post(reverse("draft-begin", args=[version.pk]))
        assert TaskDraft.objects.count() == 1

    def test_nothing_given_is_said_beside_the_fields(self, manager):
        assert set(errors(manager.post(reverse("draft-create"), {}))) == {"title", "designs"}


class TestAStep:
    def test_every_step_of_the_task_can_be_saved_as_it_is(self, manager, draft):
        before = draft.data
        for place in range(1, len(before["steps"]) + 1):
            page = manager.get(address(draft, "draft-step", str(place)))
            response = manager.post(address(draft, "draft-step", str(place)), sent(page))
            assert response.status_code == 302, response.context["form"].errors
        draft.refresh_from_db()
        assert draft.data == before
        assert draft.revision == 1

    def test_a_step_is_changed_and_only_that(self, manager, draft):
        place = place_of(draft, "isolate")
        page = manager.get(address(draft, "draft-step", place))
        response = manager.post(address(draft, "draft-step", place), sent(page, title="Lock off"))
        assert response["Location"].endswith(f"#step-{place}")
        assert step_named(draft, "isolate")["title"] == "Lock off"
        assert step_named(draft, "isolate")["safety_critical"] is True

    def test_saving_can_go_on_to_the_next(self, manager, draft):
        page = manager.get(address(draft, "draft-step", "3"))
        response = manager.post(address(draft, "draft-step", "3"), sent(page, next="1"))
        assert response["Location"] == address(draft, "draft-step", "4")

    @pytest.mark.parametrize(
        ("changes", "field", "words"),
        [
            ({"title": ""}, "title", "Give the step a title."),
            ({"why": ""}, "why", "It is safety-critical: say why."),
            ({"slug": "Not so"}, "slug", "small letters"),
            ({"slug": "isolate"}, "slug", "Another step has this short name."),
            ({"kind": "dance"}, "kind", "Select a valid choice"),
        ],
    )
    def test_what_is_wrong_is_said_beside_the_field_and_nothing_is_lost(
        self, manager, draft, changes, field, words
    ):
        place = place_of(draft, "prove-before")
        page = manager.get(address(draft, "draft-step", place))
        data = sent(page, instruction="Typed a while ago.", **changes)
        response = manager.post(address(draft, "draft-step", place), data)
        assert words in errors(response)[field][0]
        assert "Typed a while ago." in response.text
        draft.refresh_from_db()
        assert draft.revision == 1

    def test_another_kind_shows_its_fields_and_keeps_what_was_typed(self, manager, draft):
        place = place_of(draft, "isolate")
        page = manager.get(address(draft, "draft-step", place))
        typed = sent(page, kind="reading", title="Typed anew", refresh="1")
        response = manager.post(address(draft, "draft-step", place), typed)
        assert errors(response) == {}
        assert "Typed anew" in response.text
        typed = sent(response, judged_by="falls", refresh="1")
        response = manager.post(address(draft, "draft-step", place), typed)
        assert {"of", "percent", "measurand"} <= set(response.context["form"].fields)
        draft.refresh_from_db()
        assert draft.revision == 1

    def test_a_kind_saved_without_its_fields_asks_for_them(self, manager, draft):
        place = place_of(draft, "isolate")
        page = manager.get(address(draft, "draft-step", place))
        response = manager.post(address(draft, "draft-step", place), sent(page, kind="reading"))
        assert {"judged_by", "quantity", "instrument_kind"} <= set(errors(response))

    def test_limits_are_written_with_their_source_and_days(self, manager, draft):
        place = place_of(draft, "taps-freed")
        page = manager.get(address(draft, "draft-step", place))
        page = manager.post(
            address(draft, "draft-step", place), sent(page, judged_by="conforms", measurand="", refresh="1")
        )
        limits = {
            "lower": "0.8",
            "upper": "1.2",
            "unit": "mbar",
            "source": "The centre’s own value",
            "dated": "2026",
            "applies_from": "2026-01-01",
        }
        assert manager.post(address(draft, "draft-step", place), sent(page, **limits)).status_code == 302
        step = step_named(draft, "taps-freed")
        assert step["parameters"] == limits | {"lower": 0.8, "upper": 1.2}
        assert "measurand" not in step

    def test_a_calculator_takes_steps_and_numbers(self, manager, draft):
        place = place_of(draft, "contacts-running")
        page = manager.get(address(draft, "draft-step", place))
        changes = {"judged_by": "computed", "calculator": "without-leads", "measurand": ""}
        page = manager.post(address(draft, "draft-step", place), sent(page, **changes, refresh="1"))
        names = [name for name in page.context["form"].fields if name.startswith("input_")]
        assert len(names) >= 2
        given = {names[0]: "contacts-at-rest", **dict.fromkeys(names[1:], "0.5")}
        response = manager.post(address(draft, "draft-step", place), sent(page, **given))
        assert response.status_code == 302
        inputs = step_named(draft, "contacts-running")["parameters"]["inputs"]
        assert sorted(map(str, inputs.values())) == ["0.5", "contacts-at-rest"]

    def test_answers_are_written_in_rows(self, manager, draft):
        place = place_of(draft, "conclusion")
        page = manager.get(address(draft, "draft-step", place))
        rows = {"label_4": "I can’t tell", "right_4": "on"}
        assert manager.post(address(draft, "draft-step", place), sent(page, **rows)).status_code == 302
        step = step_named(draft, "conclusion")
        assert step["choices"][3] == {"value": "i-cant-tell", "label": "I can’t tell"}
        assert step["expected"] == ["serviceable", "i-cant-tell"]
        page = manager.get(address(draft, "draft-step", place))
        none_right = dict.fromkeys((f"right_{row}" for row in range(1, 7)), None)
        response = manager.post(address(draft, "draft-step", place), sent(page, **none_right))
        assert errors(response)["right_1"] == ["Tick the answer that is right."]

    def test_another_short_name_is_followed_by_the_checks_that_name_it(self, manager, draft):
        place = place_of(draft, "leads-together")
        page = manager.get(address(draft, "draft-step", place))
        manager.post(address(draft, "draft-step", place), sent(page, slug="leads"))
        assert step_named(draft, "contacts-running")["parameters"] == {"leads": "leads"}


class TestTwoAtOnce:
    def test_a_stale_save_is_shown_and_overwrites_nothing_until_it_is_sent_again(self, bench, manager, draft):
        place = place_of(draft, "isolate")
        opened = manager.get(address(draft, "draft-step", place))
        other = manager.get(address(draft, "draft-step", place))
        manager.post(address(draft, "draft-step", place), sent(other, title="Theirs", why="Because."))

        response = manager.post(address(draft, "draft-step", place), sent(opened, title="Mine"))

        assert "after you opened it. Nothing was overwritten." in response.text
        assert "Theirs" in response.text
        assert 'value="Mine"' in response.text
        assert step_named(draft, "isolate")["title"] == "Theirs"

        manager.post(address(draft, "draft-step", place), sent(response))
        assert step_named(draft, "isolate")["title"] == "Mine"

    def test_a_step_that_was_moved_meanwhile_is_found_by_its_name(self, manager, draft):
        opened = manager.get(address(draft, "draft-step", "5"))
        manager.post(address(draft, "draft-arrange", "5"), {"revision": draft.revision, "act": "up"})
        stale = manager.post(address(draft, "draft-step", "5"), sent(opened, title="Mine"))
        manager.post(address(draft, "draft-step", "5"), sent(stale))
        draft.refresh_from_db()
        assert draft.data["steps"][3]["title"] == "Mine"
        assert draft.data["steps"][4]["slug"] == "prove-before"

    def test_a_step_that_was_taken_out_meanwhile_is_not_put_back_over_another(self, manager, draft):
        opened = manager.get(address(draft, "draft-step", "5"))
        page = manager.get(address(draft, "draft-step-remove", "5"))
        manager.post(address(draft, "draft-step-remove", "5"), sent(page))
        response = manager.post(address(draft, "draft-step", "5"), sent(opened, title="Mine"))
        assert "isn’t in the draft any more" in response.text
        assert 'value="Mine"' in response.text

    def test_particulars_are_guarded_as_well(self, manager, draft):
        opened = manager.get(address(draft, "draft-particulars"))
        manager.post(address(draft, "draft-particulars"), sent(opened, purpose="Theirs."))
        response = manager.post(address(draft, "draft-particulars"), sent(opened, purpose="Mine."))
        assert "Theirs." in response.text
        assert "Mine." in response.text
        draft.refresh_from_db()
        assert draft.data["purpose"] == "Theirs."

    def test_a_stale_move_moves_nothing(self, manager, draft):
        manager.post(address(draft, "draft-arrange", "2"), {"revision": 1, "act": "copy"})
        response = manager.post(
            address(draft, "draft-arrange", "2"), {"revision": 1, "act": "down"}, follow=True
        )
        assert "Nothing was overwritten" in response.text
        draft.refresh_from_db()
        assert draft.revision == 2

    def test_what_was_changed_meanwhile_is_not_published_unseen(self, manager, draft):
        opened = manager.get(address(draft, "draft-publish"))
        page = manager.get(address(draft, "draft-particulars"))
        manager.post(address(draft, "draft-particulars"), sent(page, guide_minutes=99))
        response = manager.post(address(draft, "draft-publish"), sent(opened))
        assert "Nothing was overwritten" in response.text
        assert "99" in response.text
        assert TaskVersion.objects.filter(task=draft.task).count() == 1


class TestArranging:
    def act(self, manager, draft, place, act):
        draft.refresh_from_db()
        response = manager.post(
            address(draft, "draft-arrange", place), {"revision": draft.revision, "act": act}, follow=True
        )
        draft.refresh_from_db()
        return response

    def test_a_step_becomes_a_group_that_is_done_several_times_over(self, manager, draft):
        place = place_of(draft, "taps-freed")
        self.act(manager, draft, place, "repeat")
        assert "2 times over" in manager.get(address(draft, "draft-detail")).text
        page = manager.get(address(draft, "draft-group", place))
        manager.post(address(draft, "draft-group", place), sent(page, repeat=5))
        page = manager.get(address(draft, "draft-step-insert", f"{place}-2"))
        manager.post(
            address(draft, "draft-step-insert", f"{place}-2"), sent(page, title="Rest", instruction="Wait.")
        )
        draft.refresh_from_db()
        group = draft.data["steps"][int(place) - 1]
        assert group["repeat"] == 5
        assert [step["slug"] for step in group["steps"]] == ["taps-freed", "rest"]
        assert manager.get(address(draft, "draft-step", f"{place}-1")).status_code == 200
        self.act(manager, draft, place, "dissolve")
        assert step_named(draft, "rest")

    def test_a_group_for_pairs_is_shown_on_a_design_with_conductors(self, bench, manager, version):
        isolation = bench.tasks["safe-isolation"]
        draft = drafts.begin_from(version=isolation, by=bench.manager, at=bench.at)
        page = manager.get(address(draft, "draft-detail")).text
        assert "Once for each pair of conductors" in page

    def test_what_is_no_act_is_not_there(self, manager, draft):
        for act in ("", "fly", "dissolve"):
            response = manager.post(
                address(draft, "draft-arrange", "1"), {"revision": draft.revision, "act": act}
            )
            assert response.status_code == 404
        assert (
            manager.post(address(draft, "draft-arrange", "99"), {"revision": 1, "act": "up"}).status_code
            == 404
        )

    def test_every_step_is_where_it_says(self, manager, draft):
        page = manager.get(address(draft, "draft-detail")).text
        for place in range(1, len(draft.data["steps"]) + 1):
            assert f'id="step-{place}"' in page


class TestThePreview:
    def test_every_step_is_shown_as_at_the_bench_and_nothing_can_be_logged(self, bench, manager, version):
        for issued in bench.tasks.values():
            draft = drafts.begin_from(version=issued, by=bench.manager, at=bench.at)
            for step in issued.steps.all():
                response = manager.get(address(draft, "draft-preview", step.position))
                main = response.text.partition("<main")[2]
                assert "Nothing can be logged." in main
                assert step.instruction in response.context["step"].instruction
                assert response.context["form"] is not None
                assert "<form" not in main
                assert "disabled" in main
        assert not StepRecord.objects.exists()
        assert manager.post(address(draft, "draft-preview", 1)).status_code == 405

    def test_it_is_the_same_as_what_a_candidate_gets(self, bench, manager, draft, client):
        attempt = made.started(bench)
        preview = manager.get(address(draft, "draft-preview", 15)).text
        client.force_login(bench.candidate)
        bench_page = client.get(reverse("attempt-step", args=[attempt.pk, 15])).text
        head = re.compile(r'<div class="progress">.*?<p class="instruction">.*?</p>', re.DOTALL)
        assert head.search(preview)[0] == head.search(bench_page)[0]

    def test_a_step_that_is_not_whole_says_so(self, bench, manager, draft):
        broken = {"slug": "x", "kind": "reading", "title": "X", "instruction": "X.", "condition": "nowhere"}
        half = {"slug": "y", "kind": "reading", "title": "Y", "instruction": "Y."}
        drafts.change(
            draft=draft,
            revision=1,
            edit=lambda data: {**data, "steps": [broken, half]},
            by=bench.manager,
            at=bench.at,
        )
        assert "can’t be shown on this design yet" in manager.get(address(draft, "draft-preview", 1)).text
        assert "can’t be shown yet" in manager.get(address(draft, "draft-preview", 2)).text
        assert manager.get(address(draft, "draft-preview", 3)).status_code == 404

    def test_a_draft_without_steps_or_designs_says_so(self, bench, manager):
        draft = drafts.begin(centre=bench.centre, title="New", designs=[], by=bench.manager, at=bench.at)
        assert "Choose a rig design first" in manager.get(address(draft, "draft-preview", 1)).text


class TestChecking:
    def test_problems_lead_to_the_field_where_they_are_put_right(self, bench, manager, draft):
        drafts.change(
            draft=draft,
            revision=1,
            edit=lambda data: {
                **data,
                "purpose": "",
                "steps": [{**data["steps"][0], "instruction": ""}, *data["steps"][1:]],
            },
            by=bench.manager,
            at=bench.at,
        )
        page = manager.get(address(draft, "draft-publish")).text
        assert f"{address(draft, 'draft-step', '1')}#div_id_instruction" in page
        assert f"{address(draft, 'draft-particulars')}#div_id_purpose" in page
        assert 'id="div_id_instruction"' in manager.get(address(draft, "draft-step", "1")).text
        assert "Publish</button>" not in page
        response = manager.post(address(draft, "draft-publish"), {"revision": 2})
        assert "before it is published" in response.text

    def test_rigs_with_and_without_a_range_are_named(self, bench, manager, draft):
        made.rigs.rig(by=bench.technician, tag="VB-09", at=bench.at)
        response = manager.get(address(draft, "draft-publish"))
        row = next(each for each in response.context["ranges"] if each.title.startswith("Δp at the switch"))
        assert (row.have, row.lack) == (("VB-01",), ("VB-09",))

    def test_changes_since_the_version_in_force_are_listed(self, manager, draft):
        place = place_of(draft, "isolate")
        page = manager.get(address(draft, "draft-step", place))
        manager.post(address(draft, "draft-step", place), sent(page, title="Lock off"))
        page = manager.get(address(draft, "draft-publish")).text
        assert "Title: Isolate and lock off → Lock off" in page

    def test_setting_aside_asks_first(self, manager, draft):
        assert "Nothing of it is published" in manager.get(address(draft, "draft-set-aside")).text
        opened = manager.get(address(draft, "draft-step", "5"))
        manager.post(address(draft, "draft-set-aside"), {})
        page = manager.get(address(draft, "draft-detail"), follow=True).text
        assert "was set aside." in page
        assert address(draft, "draft-detail") not in page
        late = manager.post(address(draft, "draft-step", "5"), sent(opened, title="Too late"))
        assert "This draft was set aside already." in late.text
        assert 'value="Too late"' in late.text


def test_the_list_costs_as_many_queries_for_more_tasks(bench, manager):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            manager.get(reverse("task-list"))
        return len(caught)

    before = queries()
    step = {"slug": "look", "kind": "action", "title": "Look", "instruction": "Look."}
    small = {"steps": [step], "designs": [TWO_TERMINAL, ISOLATION_BOARD], "requires": ["safe-isolation"]}
    for number in range(4):
        data = made.task_data("instrument-checks") | small | {"slug": f"look-{number}"}
        catalogue.issue_for_all(centre=bench.centre, data=data, by=bench.manager, at=bench.at)
        drafts.begin(centre=bench.centre, title="Look", designs=[TWO_TERMINAL], by=bench.manager, at=bench.at)
    assert queries() == before


def test_fault_finding_is_shown_as_at_the_bench(bench, manager):
    data = made.task_data("fault-finding-two-terminal")
    draft = drafts.begin_from_file(centre=bench.centre, data=data, by=bench.manager, at=bench.at)
    kinds = {}
    for position in range(1, len(data["steps"]) + 1):
        response = manager.get(address(draft, "draft-preview", position))
        kinds[response.context["step"].kind] = response
        assert response.context["form"] is not None
    assert "Switch contacts" in kinds["measurements"].text
    assert "Nothing is wrong" in kinds["diagnosis"].text


def test_pages_cost_as_many_queries_whatever_the_draft_holds(
    bench, manager, draft, django_assert_max_num_queries
):
    for name in ("draft-detail", "draft-publish", "draft-particulars"):
        with django_assert_max_num_queries(25):
            manager.get(address(draft, name))
    with django_assert_max_num_queries(25):
        manager.get(address(draft, "draft-step", "5"))


def test_a_board_without_a_baseline_reads_nothing_of_a_rig(bench, manager):
    draft = drafts.begin_from(version=bench.tasks["safe-isolation"], by=bench.manager, at=bench.at)
    assert draft.data["designs"] == [ISOLATION_BOARD]
    assert (
        "reads nothing that a rig’s baseline stands behind"
        in manager.get(address(draft, "draft-publish")).text
    )
