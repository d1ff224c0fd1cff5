from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.db.migrations.recorder import MigrationRecorder

from academy import ledger
from academy.models import Centre, Person
from tests.factories.academy import AT, ManagerFactory, PersonFactory

pytestmark = pytest.mark.django_db

PASSWORD = "seven wet flanges"


def run(*arguments):
    """Return a command's exit code and the lines it printed on both streams."""
    out, err = StringIO(), StringIO()
    try:
        call_command(*arguments, stdout=out, stderr=err)
    except SystemExit as exit_:
        return exit_.code, out.getvalue().splitlines(), err.getvalue().splitlines()
    return 0, out.getvalue().splitlines(), err.getvalue().splitlines()


@pytest.fixture
def harbour():
    manager = ManagerFactory(centre_name="Harbour bench")
    PersonFactory(by=manager)
    return manager.centre


@pytest.fixture
def hill():
    return ManagerFactory(centre_name="Hill bench").centre


def break_entry(centre, number):
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE academy_ledgerentry SET hash = %s WHERE centre_id = %s AND number = %s",
            ["f" * 64, Centre._meta.pk.get_db_prep_value(centre.pk, connection), number],
        )
        assert cursor.rowcount == 1


class TestVerifyingTheLedger:
    def test_each_centre_has_a_line(self, harbour, hill):
        heads = [ledger.head(centre=centre) for centre in (harbour, hill)]
        assert run("verify_ledger") == (
            0,
            [
                f"Harbour bench: 2 entries, intact, head {heads[0]}",
                f"Hill bench: 1 entry, intact, head {heads[1]}",
            ],
            [],
        )

    def test_a_broken_one_is_named_with_its_entry_and_the_rest_is_still_checked(self, harbour, hill):
        break_entry(harbour, 2)
        code, lines, errors = run("verify_ledger")
        assert code == 1
        assert errors == ["Harbour bench: broken at entry 2: its body or its hash was changed."]
        assert [line.split(":")[0] for line in lines] == ["Hill bench"]

    @pytest.mark.parametrize("by", ["name", "pk"])
    def test_one_centre_can_be_asked_for(self, harbour, hill, by):
        break_entry(harbour, 2)
        code, lines, errors = run("verify_ledger", "--centre", str(getattr(hill, by)))
        assert (code, len(lines), errors) == (0, 1, [])

    def test_a_head_from_a_document_shows_a_cut_tail(self, harbour):
        printed = str(ledger.head(centre=harbour))
        assert run("verify_ledger", "--centre", "Harbour bench", "--head", printed)[0] == 0
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM academy_ledgerentry WHERE number = 2")
        code, _lines, errors = run("verify_ledger", "--centre", "Harbour bench", "--head", printed)
        assert code == 1
        assert errors == ["Harbour bench: broken at entry 2: the chain ends before the given head, entry 2."]

    @pytest.mark.parametrize(
        ("arguments", "message"),
        [
            (["--centre", "Nowhere"], "There is no centre “Nowhere”"),
            (["--head", "2:" + "f" * 64], "name it with --centre"),
            (["--centre", "Harbour bench", "--head", "two"], "“two” is not a head"),
        ],
        ids=["unknown centre", "head without centre", "not a head"],
    )
    def test_what_was_asked_wrongly_is_said_in_one_line(self, harbour, arguments, message):
        with pytest.raises(CommandError, match=message):
            run("verify_ledger", *arguments)

    def test_centres_of_one_name_are_told_apart_by_id(self, harbour):
        ManagerFactory(centre_name="Harbour bench")
        with pytest.raises(CommandError, match="give the id"):
            run("verify_ledger", "--centre", "Harbour bench")
        assert run("verify_ledger", "--centre", str(harbour.pk))[0] == 0


class TestOpeningACentre:
    ARGUMENTS = (
        "open_centre",
        "Harbour bench",
        "--time-zone=Europe/London",
        "--manager=Ada Tapley",
        "--email=ada@example.org",
    )

    def test_the_password_comes_from_the_environment(self, monkeypatch):
        monkeypatch.setenv("MAKEPOINT_PASSWORD", PASSWORD)
        code, lines, _errors = run(*self.ARGUMENTS)
        assert code == 0
        assert lines == ["Harbour bench is open. Ada Tapley signs in with ada@example.org."]
        assert Person.objects.get(email="ada@example.org").check_password(PASSWORD)

    def test_or_it_is_asked_for_twice(self, monkeypatch):
        monkeypatch.delenv("MAKEPOINT_PASSWORD", raising=False)
        answers = iter([PASSWORD, PASSWORD])
        monkeypatch.setattr("academy.management.commands.open_centre.getpass", lambda _asked: next(answers))
        assert run(*self.ARGUMENTS)[0] == 0
        assert Person.objects.get(email="ada@example.org").check_password(PASSWORD)

    def test_two_that_differ_set_up_nothing(self, monkeypatch):
        monkeypatch.delenv("MAKEPOINT_PASSWORD", raising=False)
        answers = iter([PASSWORD, PASSWORD.upper()])
        monkeypatch.setattr("academy.management.commands.open_centre.getpass", lambda _asked: next(answers))
        with pytest.raises(CommandError, match="differ"):
            run(*self.ARGUMENTS)
        assert not Centre.objects.exists()

    def test_no_answer_sets_up_nothing(self, monkeypatch):
        def nobody_there(_asked):
            raise EOFError

        monkeypatch.delenv("MAKEPOINT_PASSWORD", raising=False)
        monkeypatch.setattr("academy.management.commands.open_centre.getpass", nobody_there)
        with pytest.raises(CommandError, match="No password given"):
            run(*self.ARGUMENTS)

    def test_what_is_refused_is_said_in_one_line(self, monkeypatch):
        monkeypatch.setenv("MAKEPOINT_PASSWORD", "short")
        with pytest.raises(CommandError, match="too short"):
            run(*self.ARGUMENTS)
        assert not Centre.objects.exists()


@pytest.mark.parametrize("arguments", [("verify_ledger",), TestOpeningACentre.ARGUMENTS], ids=lambda a: a[0])
def test_a_database_that_is_not_ready_is_said_in_one_line(arguments):
    MigrationRecorder(connection).migration_qs.filter(app="sessions").delete()
    with pytest.raises(CommandError, match="run “manage"):
        run(*arguments)


def test_a_chain_of_many_entries_is_walked_whole(harbour):
    with transaction.atomic():
        for number in range(50):
            ledger.append(centre=harbour, actor=None, verb="rig.note", subject=f"rig-{number}", at=AT)
    assert run("verify_ledger")[1][0].startswith("Harbour bench: 52 entries, intact")
