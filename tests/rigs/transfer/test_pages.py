"""Bringing rows in through the pages and the command, and taking them out."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.urls import reverse
from openpyxl import load_workbook
from zeal import zeal_ignore

from academy.models import Role
from academy.transfer import csv_files
from assessments.models import RangeSeen
from rigs.instruments import kind_for
from rigs.models import Rig
from rigs.transfer.registry import KINDS
from tests.factories import rigs as make
from tests.factories.academy import person_with

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("morning")]

HEADER = "tag,design,place,electrical inspection due\n"
SOUND = "VB-01,two-terminal-switch-rig,Bay 1,2026-03-14\n"
BROKEN = "VB-02,no-such-design,,\n"


@pytest.fixture(autouse=True)
def signed_in(client, manager):
    make.load_designs(by=manager)
    client.force_login(manager)


def send(client, *rows, name="rigs-import"):
    sent = SimpleUploadedFile("rigs.csv", (HEADER + "".join(rows)).encode())
    return client.post(reverse(name), {"file": sent})


def carried(page):
    return {"carried": page.context["carried"].initial["carried"]}


class TestThePage:
    def test_a_file_is_looked_at_before_anything_is_brought_in(self, client):
        page = send(client, SOUND)
        assert "1 new row, 0 there already, 0 that can’t be used." in page.text
        assert "Import the sound rows" not in page.text
        assert not Rig.objects.exists()

    def test_what_was_looked_at_is_what_is_brought_in(self, client):
        page = client.post(reverse("rigs-import"), carried(send(client, SOUND)), follow=True)
        assert "1 row is brought in." in page.text
        assert Rig.objects.get().tag == "VB-01"

    def test_sending_the_second_step_twice_brings_it_in_once(self, client):
        step = carried(send(client, SOUND))
        pages = [client.post(reverse("rigs-import"), step, follow=True) for _ in "ab"]
        assert "0 rows are brought in. There already: 1." in pages[1].text
        assert Rig.objects.count() == 1

    def test_with_a_broken_row_nothing_is_brought_in_unless_the_box_is_ticked(self, client):
        page = send(client, SOUND, BROKEN)
        assert "There is no rig design “no-such-design”" in page.text
        assert "Import the sound rows and leave the others" in page.text
        refused = client.post(reverse("rigs-import"), carried(page))
        assert "Nothing was brought in" in refused.text
        assert not Rig.objects.exists()
        done = client.post(reverse("rigs-import"), carried(refused) | {"leave_broken": "on"}, follow=True)
        assert "1 row is brought in. Left: 1." in done.text
        assert Rig.objects.get().tag == "VB-01"

    def test_a_file_that_is_none_is_said_beside_the_field(self, client):
        sent = SimpleUploadedFile("rigs.csv", b"\0\1\2")
        page = client.post(reverse("rigs-import"), {"file": sent})
        assert page.context["form"].errors["file"] == [
            "The file isn’t text. Send a CSV file or an XLSX workbook."
        ]

    @pytest.mark.parametrize("spoil", ["", "x", "forged:text:here"])
    def test_a_file_that_was_not_looked_at_here_is_not_brought_in(self, client, spoil):
        page = client.post(reverse("rigs-import"), {"carried": spoil}, follow=True)
        assert page.redirect_chain == [(reverse("rigs-import"), 302)]
        assert not Rig.objects.exists()

    def test_what_somebody_else_or_another_page_looked_at_is_not_brought_in(self, client, manager):
        step = carried(send(client, SOUND))
        client.post(reverse("instruments-import"), step)
        client.force_login(person_with(Role.Kind.TECHNICIAN, by=manager))
        client.post(reverse("rigs-import"), step)
        assert not Rig.objects.exists()

    def test_a_message_never_becomes_markup(self, client):
        page = send(client, "VB-01,<script>alert(1)</script>,,\n")
        assert "<script>alert" not in page.text


class TestManyRows:
    """A request with many things in it asks for nothing over and over."""

    def look(self, client, kind, content):
        sent = SimpleUploadedFile("rows.csv", content)
        page = client.post(reverse(f"{kind}-import"), {"file": sent})
        assert page.status_code == 200
        assert page.context["report"].broken == ()
        return page.context["report"]

    def test_of_rigs(self, client):
        rows = "".join(f"VB-{n},two-terminal-switch-rig,,\n" for n in range(5))
        assert self.look(client, "rigs", (HEADER + rows).encode()).new == 5

    def test_of_instruments(self, client, manager):
        make.instrument_model(by=manager)
        rows = "".join(f"MN-{n},Bench manometer,,no\n" for n in range(5))
        assert self.look(client, "instruments", f"tag,model,serial,reference\n{rows}".encode()).new == 5

    def test_of_certificates(self, client, manager):
        for n in range(5):
            make.instrument(by=manager, tag=f"MN-{n}", certified=False)
        header = KINDS["certificates"].header
        rows = [
            (
                f"MN-{n}",
                f"Q-{n}",
                "Lane",
                "2024-12-01",
                "2025-12-01",
                "yes",
                "",
                at,
                "mbar",
                None,
                0.0,
                0.01,
                2.0,
            )
            for n in range(5)
            for at in (0.5, 1.0)
        ]
        assert self.look(client, "certificates", csv_files.write(header, rows)).new == 10

    def test_of_checks(self, client, bench):
        client.force_login(bench.technician)
        rows = [
            (f"{n}", bench.rig.tag, f"2025-01-06 08:{n:02d}", str(number), *key, text, tag)
            for n in range(4)
            for number in (1, 2, 3)
            for key, text, tag in self.readings(bench)
        ]
        with zeal_ignore():  # each check is a verb of its own, which looks for itself
            report = self.look(client, "checks", csv_files.write(KINDS["checks"].header, rows))
        assert report.new == len(rows)

    def readings(self, bench):
        for measurand, typed in make.check_run(of=bench.rig, rng=make.noise("x")).items():
            tag = bench.references[kind_for(measurand)].tag
            yield (measurand.test_point.slug, measurand.condition.slug), typed.text, tag


class TestExporting:
    def test_rigs_come_as_csv_or_as_a_workbook(self, client, manager):
        make.rig(by=manager, tag="VB-01", place="=1+1")
        as_csv = client.get(reverse("rigs-export"))
        assert "VB-01,two-terminal-switch-rig,'=1+1," in as_csv.content.decode("utf-8-sig")
        assert as_csv["Content-Disposition"] == 'attachment; filename="rigs.csv"'
        book = client.get(reverse("rigs-export"), {"as": "xlsx"})
        sheet = load_workbook(io.BytesIO(book.content)).active
        assert [cell.value for cell in sheet[2]][:3] == ["VB-01", "two-terminal-switch-rig", "=1+1"]
        assert sheet["C2"].data_type == "s"

    def test_whoever_takes_a_rigs_checks_has_seen_what_it_reads(self, client, bench):
        bench.check()
        client.force_login(bench.assessor)
        made = client.get(reverse("checks-export", args=[bench.rig.pk]))
        assert made.content.count(b"\r\n") > 3
        assert RangeSeen.objects.filter(person=bench.assessor, rig=bench.rig).exists()

    def test_without_a_check_nothing_was_seen(self, client, bench):
        client.force_login(bench.assessor)
        made = client.get(reverse("checks-export", args=[bench.rig.pk]))
        assert made.content.count(b"\r\n") == 1
        assert not RangeSeen.objects.exists()


class TestTheCommand:
    @pytest.fixture
    def run(self, tmp_path, manager, monkeypatch):
        monkeypatch.setattr("academy.management.rows.check_migrated", lambda: None)

        def run(*rows, by=manager.email, options=(), file=None):
            path = tmp_path / "rigs.csv"
            path.write_text(HEADER + "".join(rows), encoding="utf-8")
            out, err = io.StringIO(), io.StringIO()
            call_command("import_rows", "rigs", file or path, "--by", by, *options, stdout=out, stderr=err)
            return out.getvalue(), err.getvalue()

        return run

    def test_it_brings_rows_in(self, run):
        assert run(SOUND) == ("Brought in: 1 new, 0 there already, 0 that can’t be used.\n", "")
        assert Rig.objects.exists()

    def test_a_dry_run_only_looks(self, run):
        out, err = run(SOUND, BROKEN, options=["--dry-run"])
        assert out == "Only looked at: 1 new, 0 there already, 1 that can’t be used.\n"
        assert err.startswith("row 3, design: There is no rig design “no-such-design”.")
        assert not Rig.objects.exists()

    def test_a_broken_row_holds_back_the_others_unless_told_to_leave_it(self, run):
        with pytest.raises(CommandError, match="Nothing was brought in: 1 new, 0 there already, 1 that"):
            run(SOUND, BROKEN)
        assert not Rig.objects.exists()
        run(SOUND, BROKEN, options=["--leave-broken"])
        assert Rig.objects.count() == 1

    def test_what_is_wrong_is_one_clear_line(self, run, manager, tmp_path):
        candidate = person_with(Role.Kind.CANDIDATE, by=manager)
        with pytest.raises(CommandError, match="may not bring in rigs today"):
            run(SOUND, by=candidate.email)
        with pytest.raises(CommandError, match="Nobody with a centre has the email address"):
            run(SOUND, by="nobody@example.org")
        with pytest.raises(CommandError, match=r"can't be read: No such file or directory\."):
            run(SOUND, file=tmp_path / "none.csv")
        with pytest.raises(CommandError, match="has its header and no rows"):
            run()
