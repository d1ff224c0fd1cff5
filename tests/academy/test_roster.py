"""People brought in as rows, looked at first."""

from datetime import date

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from academy import people
from academy.models import Person, Role
from academy.roster import ROSTER
from academy.transfer import runs, xlsx_files
from tests.factories.academy import AT, CandidateFactory, CohortFactory, ManagerFactory

pytestmark = pytest.mark.django_db

HEAD = "name,email,cohort,role,first day,last day\n"


@pytest.fixture
def manager():
    return ManagerFactory()


@pytest.fixture
def cohort(manager):
    return CohortFactory(by=manager, name="Gas 26-1")


def bring_in(rows, *, by, **how):
    content = rows if isinstance(rows, bytes) else (HEAD + rows).encode()
    return runs.bring_in(content, kind=ROSTER, centre=by.centre, by=by, at=AT, **how)


def problems(report):
    return [str(row) for row in report.broken]


ROWS = "C-07,c-07@example.org,gas 26-1,,,\nAda,ada@example.org,,Assessor,2025-02-01,2025-12-31\n"


class TestAFile:
    def test_each_row_is_a_person_with_role_and_cohort(self, manager, cohort):
        report = bring_in(ROWS, by=manager)

        assert (report.is_done, report.new) == (True, 2)
        candidate, ada = (Person.objects.get(email=f"{who}@example.org") for who in ("c-07", "ada"))
        assert list(candidate.cohorts.all()) == [cohort]
        assert candidate.roles.get().kind == "candidate"
        assert not candidate.has_usable_password()
        role = ada.roles.get()
        assert (role.kind, role.starts_on, role.ends_on) == ("assessor", date(2025, 2, 1), date(2025, 12, 31))

    def test_twice_adds_nothing(self, manager, cohort):
        bring_in(ROWS, by=manager)
        report = bring_in(ROWS, by=manager)

        assert (report.new, report.known) == (0, 2)
        assert Role.objects.filter(person__centre=manager.centre).count() == 3

    def test_twice_gives_back_nothing_that_was_ended(self, manager, cohort):
        bring_in(ROWS, by=manager)
        person = Person.objects.get(email="c-07@example.org")
        people.end_role(role=person.roles.get(), on=AT.date(), by=manager, at=AT)
        person.memberships.update(left_on=AT.date())

        assert bring_in(ROWS, by=manager).new == 0

    def test_a_later_row_adds_what_is_missing(self, manager, cohort):
        bring_in("C-07,c-07@example.org,,,,\n", by=manager)
        report = bring_in("C-07,C-07@Example.org,Gas 26-1,Technician,,\n", by=manager)

        person = Person.objects.get(email="c-07@example.org")
        assert report.new == 1
        assert set(person.roles.values_list("kind", flat=True)) == {"candidate", "technician"}
        assert list(person.cohorts.all()) == [cohort]

    @pytest.mark.parametrize(
        ("row", "said"),
        [
            ("C-07,nobody,,,,", "row 2, email: Enter a valid email address."),
            ("C-07,c@example.org,Gas 99,,,", "row 2, cohort: There is no cohort “Gas 99”. Open it first."),
            ("C-07,c@example.org,,Plumber,,", "row 2, role: There is no role “Plumber”. The roles are:"),
            ("C-07,c@example.org,,,6 March,", "row 2, first day: “6 March” isn’t a date."),
            ("C-07,c@example.org,,,2025-03-02,2025-03-01", "row 2, last day: The last day can't be before"),
            ("C-07,c@example.org,,External verifier,,", "row 2, last day: An external verifier’s access"),
            (",c@example.org,,,,", "row 2, name: Nothing is written here."),
            (
                "C-07,known@example.org,,,,",
                "row 2, name: known@example.org is on record already, with another",
            ),
            ("C-07,far@example.org,,,,", "row 2, email: Somebody with that email address is here already."),
        ],
    )
    def test_what_is_wrong_is_named_by_its_row_and_column_and_nothing_is_written(self, manager, row, said):
        CandidateFactory(by=manager, name="C-01", email="known@example.org")
        CandidateFactory(email="far@example.org")
        before = Person.objects.count()

        report = bring_in(f"{row}\nC-08,c-08@example.org,,,,\n", by=manager)

        assert [problem.startswith(said) for problem in problems(report)] == [True], problems(report)
        assert not report.is_done
        assert Person.objects.count() == before

    def test_the_sound_rows_come_in_where_that_is_chosen(self, manager):
        report = bring_in("C-07,nobody,,,,\nC-08,c-08@example.org,,,,\n", by=manager, leave_broken=True)

        assert (report.is_done, report.new, len(report.broken)) == (True, 1, 1)

    def test_a_workbook_is_as_good(self, manager, cohort):
        header, *rows = (HEAD + ROWS).strip().split("\n")
        content = xlsx_files.write(header.split(","), [row.split(",") for row in rows], title="Roster")

        assert bring_in(content, by=manager).new == 2


class TestThePage:
    def test_every_row_is_shown_before_anything_is_written(self, client, manager, cohort, tmp_path):
        client.force_login(manager)
        file = tmp_path / "roster.csv"
        file.write_text(HEAD + ROWS)
        with file.open("rb") as opened:
            page = client.post(reverse("roster-import"), {"file": opened})

        assert "2 new rows" in page.text
        assert not Person.objects.filter(email="c-07@example.org").exists()
        carried = page.context["carried"].initial["carried"]
        answer = client.post(reverse("roster-import"), {"carried": carried}, follow=True)
        assert "2 rows are brought in" in answer.text
        assert answer.request["PATH_INFO"] == reverse("invitation-list")


class TestTheCommand:
    def run(self, tmp_path, rows, manager, *more):
        file = tmp_path / "roster.csv"
        file.write_text(HEAD + rows)
        call_command("import_roster", str(file), "--by", manager.email, *more)

    def test_it_looks_and_then_brings_in(self, tmp_path, manager, cohort, capsys):
        self.run(tmp_path, ROWS, manager, "--dry-run")
        assert "Only looked at: 2 new" in capsys.readouterr().out
        self.run(tmp_path, ROWS, manager)
        assert "Brought in: 2 new" in capsys.readouterr().out

    def test_a_bad_row_is_one_clear_line(self, tmp_path, manager, capsys):
        with pytest.raises(CommandError, match="Nothing was brought in"):
            self.run(tmp_path, "C-07,nobody,,,,\n", manager)
        assert capsys.readouterr().err == "row 2, email: Enter a valid email address.\n"

    def test_it_takes_a_manager(self, tmp_path, manager):
        with pytest.raises(CommandError, match="may not bring in roster today"):
            self.run(tmp_path, ROWS, CandidateFactory(by=manager))
