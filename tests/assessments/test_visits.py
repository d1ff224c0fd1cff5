"""An external verifier gets to a visit's sample, while the visit is on, and to nothing else."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from academy.models import LedgerEntry, Role
from academy.refusals import Refused
from assessments import visits
from assessments.models import Photo, PortfolioDocument, Visit, VisitLook
from rigs.models import CertificateFile
from tests.factories import visits as make
from tests.factories.academy import AT, FAR_DAY, CandidateFactory, ManagerFactory, person_with
from tests.factories.assessments import SWITCH_TEST, handed_in
from tests.factories.centres import _document
from tests.site.pages import PAGES

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
OF_VISITS = {"visit-list", "visit-detail", "visit-trail", "visit-attempt", "visit-photo", "visit-certificate"}
OF_VISITS |= {"visit-portfolio", "pack-download"}


@pytest.fixture
def of(bench) -> make.Visited:
    return make.visited(bench)


@pytest.fixture
def at(of, monkeypatch):
    """Set the site's clock."""

    def turn(moment) -> None:
        monkeypatch.setattr(timezone, "now", lambda: moment)

    turn(of.at)
    return turn


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def within(of, name, *args) -> str:
    return reverse(name, args=[of.visit.pk, *args])


def files_of(of) -> dict[str, tuple[object, object]]:
    """For each kind of page: one that belongs to the sample, and one of the same centre that doesn't."""
    now = of.at
    mine = _document(of.candidate, by=of.bench.manager, with_ranges=True, at=now)
    own = _document(of.candidate, by=of.candidate, with_ranges=False, at=now)
    theirs = _document(of.outside.candidate, by=of.bench.manager, with_ranges=True, at=now)
    kept = make.with_certificate(of)
    other = CertificateFile.objects.exclude(pk=kept.pk)
    assert not other
    return {
        "visit-attempt": (of.attempt, of.outside),
        "visit-photo": (of.attempt.photos.first(), of.outside.photos.first()),
        "visit-portfolio": (mine, theirs),
        "visit-portfolio-own-copy": (mine, own),
        "visit-certificate": (kept, mine),
    }


class TestWhatIsOpen:
    def test_the_first_screen_is_the_visits_that_are_on(self, of, at):
        client = signed_in(of.visitor)
        assert client.get("/").headers["Location"] == reverse("visit-list")
        assert client.get("/", follow=True).redirect_chain[-1][0] == within(of, "visit-detail")
        second = make.arranged(of.bench, visitor=of.visitor, by=of.verifier, reason="Another.")
        page = client.get(reverse("visit-list")).text
        for visit in (of.visit, second):
            assert reverse("visit-detail", args=[visit.pk]) in page

    def test_what_belongs_to_the_sample_is_there_and_nothing_else_is(self, of, at):
        client = signed_in(of.visitor)
        for kind, (inside, outside) in files_of(of).items():
            name = kind.removesuffix("-own-copy")
            assert client.get(within(of, name, inside.pk)).status_code == 200, kind
            assert client.get(within(of, name, outside.pk)).status_code == 404, kind

    def test_the_index_names_nobody_outside(self, of, at):
        files_of(of)
        page = signed_in(of.visitor).get(within(of, "visit-detail")).text
        assert of.candidate.name in page and of.outside.candidate.name not in page

    def test_the_trail_of_a_visit_leads_to_pages_of_the_visit_alone(self, of, at):
        make.with_certificate(of)
        page = signed_in(of.visitor).get(within(of, "visit-trail", of.visit.sample.get().pk)).text
        assert within(of, "visit-attempt", of.attempt.pk) in page
        assert within(of, "visit-certificate", CertificateFile.objects.get().pk) in page
        for elsewhere in ("review-detail", "check-detail", "baseline-detail", "instrument-detail"):
            assert f"/{elsewhere.split('-')[0]}s/" not in page
        assert "/review/" not in page

    def test_photos_of_an_attempt_are_under_the_visit(self, of, at):
        page = signed_in(of.visitor).get(within(of, "visit-attempt", of.attempt.pk)).text
        photo = Photo.objects.filter(attempt=of.attempt)[0]
        assert within(of, "visit-photo", photo.pk) in page
        assert f'"{reverse("photo-file", args=[photo.pk])}"' not in page

    def test_the_pages_of_the_centre_are_closed(self, of, at):
        client = signed_in(of.visitor)
        photo = of.attempt.photos.first()
        assert client.get(reverse("photo-file", args=[photo.pk])).status_code == 404
        for name in ("review-list", "trail-find", "rig-list", "instrument-list", "sampling-list"):
            assert client.get(reverse(name)).status_code == 403
        assert client.get(reverse("review-detail", args=[of.attempt.pk])).status_code == 403

    def test_no_page_but_those_of_visits_asks_for_what_the_role_has(self):
        open_to = {page.name for page in PAGES if page.needs == "visit.read"}
        assert open_to <= OF_VISITS

    def test_another_visitor_finds_nothing_of_it(self, of, at):
        other = person_with(Role.Kind.EXTERNAL_VERIFIER, by=of.bench.manager)
        client = signed_in(other)
        assert client.get(within(of, "visit-detail")).status_code == 404
        assert client.get(within(of, "visit-attempt", of.attempt.pk)).status_code == 404
        assert "No visit of yours is on today." in client.get(reverse("visit-list")).text

    def test_another_centre_finds_nothing_of_it(self, of, at):
        assert signed_in(ManagerFactory()).get(within(of, "visit-detail")).status_code == 404

    def test_an_attempt_that_is_still_worked_isn_t_shown(self, of, at):
        Visit.objects.update(ends_on=of.at.date() + DAY)
        of.attempt.status = "open"
        of.attempt.submitted_at = None
        of.attempt.save()
        page = signed_in(of.visitor).get(within(of, "visit-attempt", of.attempt.pk))
        assert page.status_code == 404

    def test_what_is_worked_later_of_the_sample_is_open_too(self, of, at):
        later = handed_in(of.bench, at=of.at)
        at(of.at + timedelta(hours=2))
        assert signed_in(of.visitor).get(within(of, "visit-attempt", later.pk)).status_code == 200


class TestDays:
    def test_it_is_on_from_its_first_day_to_its_last(self, of, at):
        Visit.objects.update(starts_on=of.at.date() + DAY, ends_on=of.at.date() + 2 * DAY)
        for days, status in ((0, 404), (1, 200), (2, 200), (3, 404)):
            at(of.at + days * DAY)
            client = signed_in(of.visitor)
            assert client.get(within(of, "visit-detail")).status_code == status
            assert client.get(within(of, "visit-attempt", of.attempt.pk)).status_code == status

    def test_staff_read_one_that_is_over(self, of, at):
        at(of.at + 30 * DAY)
        assert signed_in(of.verifier).get(within(of, "visit-detail")).status_code == 200

    def test_once_ended_nothing_is_open_any_more(self, of, at):
        assert signed_in(of.bench.manager).post(within(of, "visit-end")).status_code == 302
        assert signed_in(of.visitor).get(within(of, "visit-detail")).status_code == 404
        with pytest.raises(Refused, match="is over"):
            visits.end(visit=of.visit, by=of.bench.manager, at=of.at)

    def test_without_the_role_nothing_is_open(self, of, at):
        role = of.visitor.roles.get()
        role.starts_on = role.ends_on = of.at.date() - DAY
        role.save()
        assert signed_in(of.visitor).get(within(of, "visit-detail")).status_code == 403


class TestLooks:
    def test_each_page_that_the_visitor_opens_is_kept(self, of, at):
        client = signed_in(of.visitor)
        inside = {kind: pair[0] for kind, pair in files_of(of).items()}
        client.get(within(of, "visit-detail"))
        client.get(within(of, "visit-trail", of.visit.sample.get().pk))
        for kind in ("visit-attempt", "visit-photo", "visit-certificate", "visit-portfolio"):
            client.get(within(of, kind, inside[kind].pk))
        pages = [look.page for look in VisitLook.objects.order_by("pk")]
        assert pages == ["index", "trail", "attempt", "photo", "certificate", "portfolio"]
        assert {look.at for look in VisitLook.objects.all()} == {of.at}
        page = signed_in(of.verifier).get(within(of, "visit-detail")).text
        assert "Certificate of an instrument" in page

    def test_what_staff_open_there_is_not(self, of, at):
        signed_in(of.verifier).get(within(of, "visit-trail", of.visit.sample.get().pk))
        assert not VisitLook.objects.exists()

    def test_what_was_not_there_is_not(self, of, at):
        signed_in(of.visitor).get(within(of, "visit-attempt", of.outside.pk))
        assert not VisitLook.objects.exists()

    def test_the_visitor_is_not_shown_the_list(self, of, at):
        assert "What the visitor opened" not in signed_in(of.visitor).get(within(of, "visit-detail")).text


class TestArranging:
    def arrange(self, of, **given) -> Visit:
        return make.arranged(of.bench, visitor=given.pop("visitor", of.visitor), by=of.verifier, **given)

    def test_it_is_in_the_ledger_without_its_reason(self, of):
        entry = LedgerEntry.objects.get(verb="visit.arrange")
        assert entry.subject == str(of.visit.pk) and str(of.candidate.pk) in entry.body
        assert "Yearly" not in entry.body

    def test_a_sample_of_decisions_is_taken_as_a_whole(self, of):
        plan = make.verified(of)
        visit = self.arrange(of, plan=plan, candidates=[], tasks=[])
        people = {each.candidate_id for each in visit.sample.all()}
        assert people == {of.candidate.pk, of.outside.candidate_id}

    def test_candidates_who_did_nothing_of_the_tasks_are_left_out(self, of):
        idle = CandidateFactory(by=of.bench.manager)
        visit = self.arrange(of, candidates=[of.candidate, idle])
        assert visit.sample.get().candidate == of.candidate

    def test_it_is_refused_without_a_sample_a_reason_or_days_of_the_role(self, of):
        for given, why in (
            ({"candidates": []}, "Choose a sample"),
            ({"reason": " "}, "what the visit is for"),
            ({"ends_on": AT.date() - DAY}, "at least until today"),
            ({"ends_on": FAR_DAY + DAY}, "from the first day to the last"),
            ({"visitor": of.bench.assessor}, "must be an external verifier"),
        ):
            with pytest.raises(Refused, match=why):
                self.arrange(of, **given)

    def test_an_assessor_arranges_none(self, of):
        with pytest.raises(Refused, match="arranges visits"):
            make.arranged(of.bench, visitor=of.visitor, by=of.bench.assessor)

    def test_nothing_of_another_centre_gets_in(self, of):
        stranger = person_with(Role.Kind.CANDIDATE, by=ManagerFactory())
        visit = self.arrange(of, candidates=[of.candidate, stranger])
        assert visit.sample.count() == 1

    def test_more_can_be_opened_and_nothing_twice(self, of):
        task = of.bench.tasks[SWITCH_TEST].task
        both = [of.candidate, of.outside.candidate]
        more = {"visit": of.visit, "candidates": both, "tasks": [task], "by": of.verifier, "at": of.at}
        assert visits.extend(**more) == 1
        assert of.visit.sample.count() == 2
        with pytest.raises(Refused, match="Nothing new"):
            visits.extend(**more)

    def test_the_form_opens_one(self, of, at):
        client = signed_in(of.bench.manager)
        given = {
            "visitor": of.visitor.pk,
            "starts_on": of.at.date(),
            "ends_on": of.at.date(),
            "reason": "A second look.",
            "candidates": [of.outside.candidate_id],
            "tasks": [of.bench.tasks[SWITCH_TEST].task.pk],
        }
        assert client.get(reverse("visit-arrange")).status_code == 200
        response = client.post(reverse("visit-arrange"), given)
        visit = Visit.objects.get(reason="A second look.")
        assert response.headers["Location"] == reverse("visit-detail", args=[visit.pk])
        page = client.post(
            within(of, "visit-extend"), {"candidates": given["candidates"], "tasks": given["tasks"]}
        )
        assert page.status_code == 302 and of.visit.sample.count() == 2

    def test_the_form_says_what_is_missing(self, of, at):
        given = {"visitor": of.visitor.pk, "starts_on": of.at.date(), "ends_on": of.at.date(), "reason": "x"}
        page = signed_in(of.bench.manager).post(reverse("visit-arrange"), given)
        assert "Choose a sample" in page.text


def test_a_portfolio_whose_file_is_gone_is_not_found(of, at):
    mine, _ = files_of(of)["visit-portfolio"]
    document = PortfolioDocument.objects.get(pk=mine.pk)
    document.file.storage.delete(document.file.name)
    assert signed_in(of.visitor).get(within(of, "visit-portfolio", mine.pk)).status_code == 404
