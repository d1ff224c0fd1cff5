"""A link lets one person in, once: asked in by a manager, or sent for by themselves."""

import re
from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.core import mail
from django.urls import reverse

from academy import invitations, ledger, links, people
from academy.models import AccessLink, LedgerEntry, Person
from academy.refusals import Refused
from academy.views import links as pages
from tests.factories.academy import (
    AT,
    CandidateFactory,
    CohortFactory,
    ManagerFactory,
    PersonFactory,
)

pytestmark = pytest.mark.django_db

PASSWORD = "seven wet flanges"
LINK = re.compile(r"http://\S+(/link/\S+/)")


@pytest.fixture
def manager():
    return ManagerFactory()


@pytest.fixture
def mails(settings):
    """A site that has a mail server."""
    settings.EMAIL_HOST = "mail.example.org"
    return mail.outbox


def invited(manager, **given):
    defaults = {"email": "cole@example.org", "kinds": ["candidate"], "on": AT.date()}
    return invitations.invite(centre=manager.centre, by=manager, at=AT, **defaults | given)


class TestALink:
    def test_it_sets_the_name_and_the_password_once(self, manager):
        issued = invited(manager)
        later = AT + timedelta(days=6)

        person = invitations.accept(token=issued.token, name="Cole Tap", password=PASSWORD, at=later)

        assert (person.name, person.check_password(PASSWORD)) == ("Cole Tap", True)
        with pytest.raises(Refused, match="used up"):
            invitations.accept(token=issued.token, name="Mallory", password=PASSWORD, at=later)

    def test_until_then_the_person_goes_by_the_address(self, manager):
        assert invited(manager).link.person.name == "cole@example.org"

    def test_a_name_that_is_given_already_is_kept(self, manager):
        issued = invited(manager, name="C-07")

        person = invitations.accept(token=issued.token, name="Somebody", password=PASSWORD, at=AT)

        assert person.name == "C-07"

    @pytest.mark.parametrize(("after", "lets_in"), [({"days": 6, "hours": 23}, True), ({"days": 7}, False)])
    def test_it_is_good_for_seven_days(self, manager, after, lets_in):
        issued = invited(manager)

        assert (links.found(token=issued.token, at=AT + timedelta(**after)) is not None) is lets_in

    def test_a_new_one_ends_the_one_before(self, manager):
        first = invited(manager)
        second = invitations.give_link(person=first.link.person, by=manager, at=AT)

        assert links.found(token=first.token, at=AT) is None
        assert links.found(token=second.token, at=AT) == second.link

    def test_one_that_is_withdrawn_lets_nobody_in(self, manager):
        issued = invited(manager)
        invitations.withdraw(link=issued.link, by=manager, at=AT)

        with pytest.raises(Refused, match="used up"):
            invitations.accept(token=issued.token, name="Cole", password=PASSWORD, at=AT)
        with pytest.raises(Refused, match="already"):
            invitations.withdraw(link=issued.link, by=manager, at=AT)

    def test_a_weak_password_leaves_it_unused(self, manager):
        issued = invited(manager)
        with pytest.raises(Refused) as refusal:
            invitations.accept(token=issued.token, name="Cole", password="short", at=AT)

        assert refusal.value.field == "password"
        assert links.found(token=issued.token, at=AT) == issued.link
        assert Person.objects.get(pk=issued.link.person_id).name == "cole@example.org"

    def test_the_token_is_kept_nowhere(self, manager):
        issued = invited(manager)
        kept = [*AccessLink.objects.values_list(), *LedgerEntry.objects.values_list("body")]

        assert issued.token not in repr(kept)
        assert isinstance(ledger.verify(centre=manager.centre), ledger.Intact)

    def test_each_step_is_an_entry(self, manager):
        issued = invited(manager)
        invitations.accept(token=issued.token, name="Cole", password=PASSWORD, at=AT)
        verbs = LedgerEntry.objects.filter(centre=manager.centre).values_list("verb", flat=True)

        assert list(verbs)[1:] == [
            "person.add",
            "link.make",
            "person.rename",
            "person.set-password",
            "link.use",
        ]

    def test_somebody_erased_gets_none_and_loses_theirs(self, manager):
        issued = invited(manager)
        erased = people.erase(person=issued.link.person, by=manager, at=AT)

        assert links.found(token=issued.token, at=AT) is None
        with pytest.raises(Refused, match="no longer"):
            invitations.give_link(person=erased, by=manager, at=AT)

    def test_another_centres_manager_gives_none(self, manager):
        with pytest.raises(Refused, match="own centre"):
            invitations.give_link(person=CandidateFactory(), by=manager, at=AT)

    def test_everybody_who_waits_is_invited_once(self, manager):
        waiting = CandidateFactory(by=manager)
        CandidateFactory(by=manager, password=PASSWORD)
        PersonFactory(by=manager)  # no role: nothing would be open to them
        CandidateFactory()

        made = invitations.invite_waiting(centre=manager.centre, by=manager, at=AT)

        # The manager of the factory has no password either.
        assert {one.link.person for one in made} == {waiting, manager}
        assert invitations.invite_waiting(centre=manager.centre, by=manager, at=AT) == []


class TestAForgottenPassword:
    def test_who_is_known_gets_a_link_for_a_day(self, manager, mails):
        person = CandidateFactory(by=manager, password=PASSWORD)
        AccessAttempt.objects.create(username=person.email, ip_address="127.0.0.1", failures_since_start=9)

        invitations.answer(email=person.email.upper(), at=AT)

        (letter,) = mails
        token = LINK.search(letter.body)[1].split("/")[2]
        assert letter.to == [person.email]
        assert links.found(token=token, at=AT + timedelta(hours=25)) is None
        invitations.accept(token=token, password="nine dry gaskets", at=AT)
        person.refresh_from_db()
        assert person.check_password("nine dry gaskets")
        assert not AccessAttempt.objects.exists()

    @pytest.mark.parametrize("who", ["stranger", "invited", "erased"])
    def test_nobody_else_gets_one(self, manager, mails, who):
        email = "stranger@example.org"
        if who == "invited":
            email = invited(manager).link.person.email
        if who == "erased":
            person = CandidateFactory(by=manager, password=PASSWORD)
            email = person.email
            people.erase(person=person, by=manager, at=AT)

        invitations.answer(email=email, at=AT)

        assert mails == []

    def test_a_few_a_day_are_enough(self, manager, mails):
        person = CandidateFactory(by=manager, password=PASSWORD)
        for hour in range(5):
            invitations.answer(email=person.email, at=AT + timedelta(hours=hour))

        assert len(mails) == invitations.MOST_ASKED

    def test_the_page_says_the_same_to_everybody(self, client, manager, mails, monkeypatch):
        asked = []
        monkeypatch.setattr(pages.AFTERWARDS, "submit", lambda _answer, **given: asked.append(given["email"]))
        monkeypatch.setattr(pages, "WAITING", pages.BoundedSemaphore(2))
        known = CandidateFactory(by=manager, password=PASSWORD).email
        pages_seen = [
            client.post(reverse("password-forgotten"), {"email": email}, follow=True).text
            for email in (known, "nobody@example.org")
        ]
        told = [re.sub(r'value="[A-Za-z0-9]{64}"', "", page) for page in pages_seen]

        assert told[0] == told[1]
        assert "If somebody here has that address" in told[0]
        assert asked == [known, "nobody@example.org"]
        client.post(reverse("password-forgotten"), {"email": known})
        assert len(asked) == 2

    def test_without_a_mail_server_it_says_whom_to_ask(self, client):
        assert "sends no email" in client.get(reverse("password-forgotten")).text
        assert "sends no email" in client.post(reverse("password-forgotten"), {"email": "a@example.org"}).text


class TestThePages:
    def test_a_link_is_shown_once_where_there_is_no_mail(self, client, manager):
        client.force_login(manager)
        cohort = CohortFactory(by=manager)
        given = {"email": "cole@example.org", "kinds": ["candidate"], "starts_on": "2025-01-06"}

        page = client.post(reverse("person-invite"), given | {"cohort": str(cohort.pk)}).text
        address = LINK.search(page)[1].partition("<")[0]
        client.logout()

        assert "For cole@example.org" in client.get(address).text
        answer = client.post(address, {"name": "Cole Tap", "password": PASSWORD}, follow=True)
        assert "Your password is set" in answer.text
        signed_in = client.post(reverse("sign-in"), {"username": "cole@example.org", "password": PASSWORD})
        assert signed_in["Location"] == reverse("home")
        assert client.get(address).status_code == 404

    def test_it_goes_by_email_where_there_is_a_server(self, client, manager, mails):
        client.force_login(manager)
        given = {"email": "cole@example.org", "kinds": ["candidate"], "starts_on": "2025-01-06"}

        answer = client.post(reverse("person-invite"), given, follow=True)

        assert "1 link sent by email" in answer.text
        assert not LINK.search(answer.text)
        assert manager.centre.name in mails[0].body and LINK.search(mails[0].body)

    def test_where_the_server_fails_the_link_is_shown(self, client, manager, mails, settings):
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST = "127.0.0.1"
        settings.EMAIL_PORT = 9  # discard: nobody listens
        client.force_login(manager)
        person = CandidateFactory(by=manager)

        page = client.post(reverse("person-link", args=[person.pk])).text

        assert "didn’t take" in page and LINK.search(page)

    def test_the_list_names_who_waits_and_withdraws(self, client, manager):
        client.force_login(manager)
        issued = invited(manager, name="C-07")
        CandidateFactory(by=manager, name="C-08")

        page = client.get(reverse("invitation-list")).text
        assert "C-07" in page and "C-08" in page
        answer = client.post(reverse("link-withdraw", args=[issued.link.pk]), follow=True)
        assert "withdrawn" in answer.text
        assert LINK.findall(client.post(reverse("invitation-list")).text)
