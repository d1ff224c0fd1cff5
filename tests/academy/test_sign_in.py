from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.test import Client
from django.urls import reverse

from tests.factories.academy import ManagerFactory, PersonFactory

pytestmark = pytest.mark.django_db

PASSWORD = "seven wet flanges"


@pytest.fixture
def person():
    return PersonFactory(email="tapley@example.org", password=PASSWORD)


@pytest.fixture
def try_(client):
    """Try to sign in, from an address on the network."""

    def try_(email="tapley@example.org", password=PASSWORD, *, place="192.0.2.1"):
        return client.post(reverse("sign-in"), {"username": email, "password": password}, REMOTE_ADDR=place)

    return try_


def signed_in(client):
    return "_auth_user_id" in client.session


def wait(minutes):
    """Let the failures so far grow older."""
    for attempt in AccessAttempt.objects.all():
        attempt.attempt_time -= timedelta(minutes=minutes)
        attempt.save()


def lock(try_, **where):
    for _ in range(settings.AXES_FAILURE_LIMIT):
        response = try_(password="wrong", **where)
    return response


@pytest.mark.parametrize("email", ["tapley@example.org", "Tapley@Example.org"])
@pytest.mark.usefixtures("person")
def test_a_person_signs_in_however_the_address_is_typed(client, try_, email):
    response = try_(email)
    assert response.status_code == 302
    assert response["Location"] == "/"
    assert signed_in(client)


@pytest.mark.parametrize(
    ("email", "password"), [("tapley@example.org", "wrong"), ("nobody@example.org", PASSWORD)]
)
@pytest.mark.usefixtures("person")
def test_what_does_not_go_together_is_refused_in_the_same_words(client, try_, email, password):
    response = try_(email, password)
    assert "That email address and password don’t go together." in response.text
    assert not signed_in(client)


def test_a_person_comes_to_the_page_they_asked_for(client, person):
    asked = client.get(reverse("password-change"))
    response = client.post(asked["Location"], {"username": person.email, "password": PASSWORD})
    assert response["Location"] == reverse("password-change")


def test_nobody_is_sent_on_to_another_site(client, person):
    response = client.post(
        reverse("sign-in") + "?next=https://example.com/",
        {"username": person.email, "password": PASSWORD},
    )
    assert response["Location"] == "/"


def test_the_sign_in_page_sends_a_person_home_who_is_signed_in_already(client, person):
    client.force_login(person)
    assert client.get(reverse("sign-in"))["Location"] == "/"


def test_signing_out_ends_the_session_and_takes_a_post(client, person):
    client.force_login(person)
    assert client.get(reverse("sign-out")).status_code == 405
    assert signed_in(client)
    assert client.post(reverse("sign-out"))["Location"] == reverse("sign-in")
    assert not signed_in(client)


@pytest.mark.usefixtures("person")
class TestLockOut:
    def test_the_fifth_failure_locks_and_says_when_to_try_again(self, try_):
        for _ in range(4):
            assert try_(password="wrong").status_code == 200
        response = try_(password="wrong")
        assert response.status_code == 429
        assert "Wait 15 minutes, then try again." in response.text
        assert 14 * 60 < int(response["Retry-After"]) <= 15 * 60

    def test_the_right_password_does_not_help_while_locked(self, client, try_):
        lock(try_)
        assert try_().status_code == 429
        assert not signed_in(client)

    def test_another_spelling_of_the_address_does_not_help(self, try_):
        lock(try_)
        assert try_("TAPLEY@example.org ").status_code == 429

    def test_trying_on_while_locked_does_not_make_it_longer(self, try_):
        lock(try_)
        wait(10)
        assert "Wait 5 minutes" in try_(password="wrong").text
        assert "Wait 5 minutes" in try_().text

    def test_the_last_minute_is_one_minute(self, try_):
        lock(try_)
        wait(14.5)
        assert "Wait 1 minute, then try again." in try_().text

    def test_the_lock_opens_after_a_quarter_of_an_hour(self, client, try_):
        lock(try_)
        wait(15)
        assert try_().status_code == 302
        assert signed_in(client)

    def test_from_another_place_the_person_still_gets_in(self, client, try_):
        lock(try_, place="192.0.2.66")
        assert try_(place="192.0.2.1").status_code == 302
        assert signed_in(client)

    def test_another_person_at_the_same_place_still_gets_in(self, client, try_):
        ManagerFactory(manager_email="other@example.org", password=PASSWORD)
        lock(try_)
        assert try_("other@example.org").status_code == 302

    def test_success_clears_the_count(self, try_):
        for _ in range(4):
            try_(password="wrong")
        try_()
        assert not AccessAttempt.objects.exists()

    def test_an_address_that_nobody_has_is_locked_just_the_same(self, try_):
        for _ in range(4):
            assert try_("nobody@example.org", "wrong").status_code == 200
        assert try_("nobody@example.org", "wrong").status_code == 429

    def test_what_was_typed_as_a_password_is_kept_nowhere(self, try_):
        try_(password="a wrong guess")
        assert "a wrong guess" not in str(AccessAttempt.objects.values().get())


class TestChangingOnesPassword:
    NEW = "nine dry unions"

    def change(self, client, current, new):
        return client.post(reverse("password-change"), {"current": current, "password": new})

    def test_the_new_one_counts_and_the_person_stays_signed_in_here_alone(
        self, client, client_elsewhere, person, settings
    ):
        for each in (client, client_elsewhere):
            each.force_login(person)
        assert self.change(client, PASSWORD, self.NEW).status_code == 302
        assert client.get(reverse("password-change")).status_code == 200
        # A session that is no longer good is read once more by the framework, to be deleted.
        settings.ZEAL_ALLOWLIST = [{"model": "sessions.Session", "field": "*"}]
        assert client_elsewhere.get(reverse("password-change")).status_code == 302
        person.refresh_from_db()
        assert person.check_password(self.NEW)

    def test_the_current_one_is_asked_for(self, client, person):
        client.force_login(person)
        assert "That isn’t your current password." in self.change(client, "wrong", self.NEW).text
        person.refresh_from_db()
        assert person.check_password(PASSWORD)

    def test_one_that_is_easily_guessed_is_refused_beside_its_field(self, client, person):
        client.force_login(person)
        response = self.change(client, PASSWORD, "12345678901")
        assert "This password is entirely numeric." in response.context["form"].errors["password"][0]

    @pytest.fixture
    def client_elsewhere(self):
        return Client()
