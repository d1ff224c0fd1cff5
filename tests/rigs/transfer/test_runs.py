"""Rows brought in by the verbs, and written out again."""

from datetime import timedelta

import pytest

from academy import ledger
from academy.models import LedgerEntry
from academy.transfer import csv_files, runs, xlsx_files
from academy.transfer.runs import Verdict
from academy.transfer.tables import FileRefused
from rigs import faults, register
from rigs.models import Calibration, Check, Instrument, Rig
from rigs.transfer import of_certificates, of_checks, of_instruments, of_rigs
from rigs.transfer.registry import KINDS
from tests.factories import rigs as make
from tests.factories.academy import AT, ManagerFactory

pytestmark = pytest.mark.django_db

RIGS = b"tag;design;place;electrical inspection due\n"


@pytest.fixture(autouse=True)
def designs(manager):
    return make.load_designs(by=manager)


def bring_in(content, *, by, kind="rigs", at=AT, **how):
    given = content if isinstance(content, bytes) else content.encode()
    return runs.bring_in(given, kind=KINDS[kind], centre=by.centre, by=by, at=at, **how)


def rig_rows(*tags):
    return RIGS + "".join(f"{tag};two-terminal-switch-rig;Bay 1;2026-03-14\n" for tag in tags).encode()


class TestAWholeFile:
    def test_each_row_is_on_record_by_its_verb(self, manager):
        report = bring_in(rig_rows("vb-01", "VB-02"), by=manager)
        assert (report.is_done, report.new, report.broken) == (True, 2, ())
        assert list(Rig.objects.values_list("tag", "place")) == [("VB-01", "Bay 1"), ("VB-02", "Bay 1")]
        assert LedgerEntry.objects.filter(verb="rig.add").count() == 2
        assert LedgerEntry.objects.filter(verb="rows.import").count() == 1
        assert isinstance(ledger.verify(centre=manager.centre), ledger.Intact)

    def test_a_trial_says_the_same_and_changes_nothing(self, manager):
        report = bring_in(rig_rows("VB-01"), by=manager, is_trial=True)
        assert (report.is_done, report.new) == (False, 1)
        assert not Rig.objects.exists()
        assert not LedgerEntry.objects.filter(verb__in=["rig.add", "rows.import"]).exists()

    def test_sent_twice_it_is_brought_in_once(self, manager):
        bring_in(rig_rows("VB-01"), by=manager)
        entries = LedgerEntry.objects.count()
        again = bring_in(rig_rows("VB-01"), by=manager)
        assert (again.is_done, again.new, again.known) == (True, 0, 1)
        assert LedgerEntry.objects.count() == entries

    def test_one_broken_row_of_five_hundred_holds_all_of_them_back(self, manager):
        content = rig_rows(*(f"VB-{n:03d}" for n in range(499))) + b"VB-999;no-such-design;;\n"
        report = bring_in(content, by=manager)
        assert not report.is_done
        assert not Rig.objects.exists()
        (broken,) = report.broken
        assert str(broken).startswith("row 501, design: There is no rig design “no-such-design”.")

    def test_the_sound_rows_alone_are_brought_in_where_the_person_says_so(self, manager):
        content = rig_rows("VB-01", "VB-02") + b"VB-03;nothing;;\n"
        report = bring_in(content, by=manager, leave_broken=True)
        assert (report.is_done, report.new, len(report.broken)) == (True, 2, 1)
        assert list(Rig.objects.values_list("tag", flat=True)) == ["VB-01", "VB-02"]
        assert '"left":"1"' in LedgerEntry.objects.get(verb="rows.import").body

    @pytest.mark.parametrize(
        ("content", "said"),
        [
            (b"", "empty"),
            (b"\n\n", "first row names the columns"),
            (RIGS, "no rows below"),
            (b"tag;place\nVB-01;x\n", "“design” is missing"),
            (b"tag;design;colour\nVB-01;x;red\n", "no column “colour”"),
            (b"tag;design;Tag\nVB-01;x;VB-02\n", "“tag” is there twice"),
            (RIGS + b"VB-01;x;;\n" * 2001, "2001 rows; 2000 are the most"),
            (b"x" * (1024 * 1024 + 1), "larger than 1 MB"),
        ],
    )
    def test_a_file_that_cannot_be_used_says_why(self, manager, content, said):
        with pytest.raises(FileRefused, match=said):
            bring_in(content, by=manager)


class TestARigsRow:
    @pytest.mark.parametrize(
        ("row", "said"),
        [
            (";two-terminal-switch-rig;;", "row 2, tag: Nothing is written here."),
            (
                "VB-01;two-terminal-switch-rig;;14/3/2026",
                "row 2, electrical inspection due: “14/3/2026” isn’t a date",
            ),
            (
                "VB-01;two-terminal-switch-rig;;2026-02-30",
                "row 2, electrical inspection due: “2026-02-30” isn’t",
            ),
            ("V" * 21 + ";two-terminal-switch-rig;;", "row 2, tag: The text is too long: 20"),
            ("VB-01;two-terminal-switch-rig;;;;more", "row 2: This row has 6 cells and the header 4"),
        ],
    )
    def test_what_is_wrong_names_the_row_and_the_column(self, manager, row, said):
        (broken,) = bring_in(RIGS + row.encode(), by=manager).broken
        assert str(broken).startswith(said)

    def test_one_that_is_there_otherwise_is_not_overwritten(self, manager):
        make.rig(by=manager, tag="VB-01", place="Store")
        (broken,) = bring_in(rig_rows("VB-01"), by=manager).broken
        assert "VB-01 is on record already, with another place, electrical inspection due." in str(broken)

    def test_another_centres_rig_of_that_tag_is_no_matter(self, manager):
        make.rig(by=ManagerFactory(), tag="VB-01")
        assert bring_in(rig_rows("VB-01"), by=manager).new == 1


CERTIFICATES = (
    "instrument;certificate;laboratory;calibrated on;due on;as found in tolerance;nominal;unit;"
    "error as found;error as left;U;k\n"
)


def certificate_row(*, nominal="0,5", unit="mbar", left="0,001", u="0,002", k="", due="2025-12-01"):
    return f"MN-02;Q-1;Quarry Lane;2024-12-01;{due};yes;{nominal};{unit};;{left};{u};{k}\n"


class TestCertificates:
    @pytest.fixture(autouse=True)
    def gauge(self, manager):
        return make.instrument(by=manager, tag="MN-02", certified=False)

    def bring(self, manager, *rows, **how):
        return bring_in(CERTIFICATES + "".join(rows), by=manager, kind="certificates", **how)

    def test_its_points_come_with_it(self, manager):
        report = self.bring(manager, certificate_row(), certificate_row(nominal="100", unit="Pa", k="2.13"))
        assert (report.new, report.broken) == (2, ())
        points = Calibration.objects.get().points.values_list("nominal", "unit", "coverage_factor")
        assert list(points) == [(0.5, "mbar", 2.0), (100, "Pa", 2.13)]

    def test_sent_twice_it_is_recorded_once(self, manager):
        for known in (0, 1):
            assert self.bring(manager, certificate_row()).known == known
        assert Calibration.objects.count() == 1

    @pytest.mark.parametrize(
        ("rows", "said"),
        [
            ([certificate_row(unit="Ω")], "row 2, unit: “Ω” is no unit of a pressure. Use one of: mbar, Pa"),
            (
                [certificate_row(left="1,234")],
                "row 2, error as left: “1,234” can be read as 1234 or as 1.234",
            ),
            ([certificate_row(left="nan")], "row 2, error as left: “nan” isn’t a plain number"),
            ([certificate_row(left="=A1")], "row 2, error as left: “=A1” isn’t a plain number"),
            ([certificate_row(u="0")], "row 2, U: This must be above 0"),
            ([certificate_row(), certificate_row()], "row 3, nominal: This point is there twice."),
            ([certificate_row(due="2024-11-01")], "row 2, due on: The next calibration must be due after"),
            (
                [certificate_row(), certificate_row(nominal="1", due="2025-12-02")],
                "row 3, due on: This isn’t as in row 2",
            ),
            (
                [certificate_row().replace("MN-02", "MN-99")],
                "row 2, instrument: There is no instrument MN-99.",
            ),
        ],
    )
    def test_what_is_wrong_names_the_row_and_the_column(self, manager, rows, said):
        guilty = [row for row in self.bring(manager, *rows).broken if "belongs together" not in row.message]
        assert [str(row).startswith(said) for row in guilty] == [True], guilty
        assert not Calibration.objects.exists()

    def test_the_rows_of_a_certificate_stand_or_fall_together(self, manager):
        report = self.bring(manager, certificate_row(), certificate_row(nominal="x"), leave_broken=True)
        assert [(row.number, row.verdict) for row in report.rows] == [
            (2, Verdict.BROKEN),
            (3, Verdict.BROKEN),
        ]
        assert not Calibration.objects.exists()

    def test_a_later_one_on_record_asks_for_a_note(self, manager, gauge):
        make.certificate(of=gauge, by=manager, number="Q-9", on=AT.date())
        (broken,) = self.bring(manager, certificate_row()).broken
        assert broken.column == "late note"


class TestChecks:
    @pytest.fixture
    def bench(self):
        return make.open_bench()

    def rows(self, bench, *, at=AT, name="14", **changed):
        """A check's rows by test point and condition, as a sheet of the technician's own has them."""
        reading = make.noise("rows")
        lines = ["check,rig,made at,run,test point,condition,reading,instrument"]
        for number in (1, 2, 3):
            for measurand, typed in make.check_run(of=bench.rig, rng=reading).items():
                kind = of_checks.kind_for(measurand)
                text = changed.get(make.key_of(measurand).replace(":", "_").replace("-", "_"), typed.text)
                lines.append(
                    f"{name},{bench.rig.tag},{at:%Y-%m-%d %H:%M},{number},{measurand.test_point.slug},"
                    f"{measurand.condition.slug},{text},{bench.references[kind].tag}"
                )
        return "\n".join(lines)

    def bring(self, bench, content, *, at=AT + timedelta(hours=1)):
        return bring_in(content, by=bench.technician, kind="checks", at=at)

    def test_a_check_is_judged_and_dated_when_it_was_made_and_entered_now(self, bench):
        report = self.bring(bench, self.rows(bench))
        assert report.broken == ()
        check = Check.objects.get()
        assert (check.made_at, check.verdict, check.made_by) == (AT, "steady", bench.technician)
        assert check.value_sheet.values.exists()
        assert LedgerEntry.objects.get(verb="check.record").at == AT + timedelta(hours=1)

    def test_sent_twice_it_is_recorded_once(self, bench):
        content = self.rows(bench)
        assert self.bring(bench, content).known == 0
        again = self.bring(bench, content)
        assert (again.new, len(again.broken), Check.objects.count()) == (0, 0, 1)

    def test_what_was_written_out_is_known_again(self, bench):
        bench.check()
        content = csv_files.write(KINDS["checks"].header, of_checks.written(bench.rig))
        report = self.bring(bench, content)
        assert (report.new, report.known) == (0, len(report.rows))

    def test_a_reading_that_is_none_names_its_row(self, bench):
        guilty, *others = (
            row
            for row in sorted(self.bring(bench, self.rows(bench, taps_fan_running="high")).broken, key=str)
            if row.column
        )
        assert (guilty.column, others) == ("reading", [])
        assert "text where a number belongs" in guilty.message
        assert not Check.objects.exists()

    @pytest.mark.parametrize(
        ("change", "column", "said"),
        [
            (lambda rows: rows.replace("VB-01", "VB-77"), "rig", "There is no rig VB-77."),
            (lambda rows: rows.replace(",MN-01", ",MN-02"), "instrument", "isn't a reference instrument"),
            (
                lambda rows: rows.replace(",MN-01", ",MN-77"),
                "instrument",
                "There is no manometer MN-77 in use.",
            ),
            (lambda rows: rows.replace("2025-01-06 09", "2025-01-06 23"), "made at", "lies in the future"),
            (
                lambda rows: rows.replace("2025-01-06 09", "2024-12-24 09"),
                "made at",
                "was approved after this",
            ),
            (lambda rows: rows.replace("fan-running", "fan-walking"), "test point", "doesn’t read"),
            (lambda rows: rows.replace(",3,", ",2,"), "test point", "there twice"),
            (lambda rows: rows.rpartition("\n")[0], "", "every run has one reading of each"),
        ],
    )
    def test_what_is_wrong_is_named(self, bench, change, column, said):
        broken = self.bring(bench, change(self.rows(bench))).broken
        guilty = [row for row in broken if "belongs together" not in row.message]
        assert [(row.column, said in row.message) for row in guilty] == [(column, True)], guilty
        assert not Check.objects.exists()

    def test_one_made_before_another_on_record_comes_too_late(self, bench):
        bench.check(at=AT + timedelta(minutes=30))
        guilty = self.bring(bench, self.rows(bench)).broken[0]
        assert (guilty.column, "the oldest first" in guilty.message) == ("made at", True)

    def test_one_made_while_a_fault_was_set_is_refused(self, bench):
        fault = bench.rig.design.faults.all()[0]
        setting = faults.set_fault(rig=bench.rig, fault=fault, by=bench.assessor, at=AT)
        faults.remove(setting=setting, by=bench.assessor, at=AT + timedelta(minutes=5))
        guilty = self.bring(bench, self.rows(bench)).broken[0]
        assert "A fault was set on VB-01 then." in guilty.message


class TestThereAndBack:
    """What one centre writes out another brings in, and writes out the same."""

    @pytest.fixture
    def other(self):
        return ManagerFactory()

    def copied(self, kind, written, here, there, *, form):
        rows = list(written(here.centre))
        assert rows
        header = KINDS[kind].header
        content = (
            csv_files.write(header, rows) if form == "csv" else xlsx_files.write(header, rows, title=kind)
        )
        report = bring_in(content, by=there, kind=kind)
        assert (report.new, report.broken) == (len(rows), ())
        assert list(written(there.centre)) == rows

    @pytest.mark.parametrize("form", ["csv", "xlsx"])
    def test_rigs(self, manager, other, form):
        make.load_designs(by=other)
        make.rig(by=manager, tag="VB-01", place="=Bay+1")
        register.add_rig(design=Rig.objects.get().design, tag="VB-02", by=manager, at=AT)
        self.copied("rigs", of_rigs.written, manager, other, form=form)

    @pytest.mark.parametrize("form", ["csv", "xlsx"])
    def test_instruments_and_their_certificates(self, manager, other, form):
        for person in (manager, other):
            for kind in make.InstrumentKind:
                make.instrument_model(by=person, kind=kind)
        for kind in make.InstrumentKind:
            make.instrument(by=manager, kind=kind, is_reference=kind == "manometer")
        self.copied("instruments", of_instruments.written, manager, other, form=form)
        self.copied("certificates", of_certificates.written, manager, other, form=form)
        assert Instrument.objects.filter(centre=other.centre).count() == len(make.InstrumentKind)
