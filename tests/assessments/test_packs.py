"""A visit's pack: complete, checkable by anybody, and every tampering found and named."""

import contextlib
import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from academy import ledger
from academy.models import Job, LedgerEntry, Role
from academy.refusals import Refused
from assessments import disclosure, packs
from assessments.models import Pack, PortfolioDocument, VisitLook
from assessments.pack_files import PackWriter, check
from tests.factories import visits as make
from tests.factories.academy import AT, ManagerFactory, person_with

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("unset")]


@pytest.fixture
def of(bench) -> make.Visited:
    return make.visited(bench)


def nobody(_done: int, _total: int) -> None:
    """Hears how far a job is."""


def made_of(of: make.Visited) -> Pack:
    return packs.make(visit=of.visit, by=of.verifier, at=of.at, tell=nobody)


def bytes_of(pack: Pack) -> bytes:
    with pack.file.open("rb") as file:
        return bytes(file.read())


def files_in(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


class TestWhatIsInIt:
    def test_the_manifest_has_the_sha_256_of_every_file(self, of):
        make.with_certificate(of)
        pack = made_of(of)
        files = files_in(bytes_of(pack))
        manifest = json.loads(files.pop("manifest.json"))
        sums = files.pop("SHA256SUMS").decode()
        assert {each["path"]: each["sha256"] for each in manifest["files"]} == {
            name: hashlib.sha256(content).hexdigest() for name, content in files.items()
        }
        assert all(
            f"{hashlib.sha256(content).hexdigest()}  {name}\n" in sums for name, content in files.items()
        )
        assert manifest["ledger_head"] == pack.ledger_head
        assert pack.sha256 == hashlib.sha256(bytes_of(pack)).hexdigest()

    def test_portfolio_trail_certificate_sample_and_ledger_are_there(self, of):
        kept = make.with_certificate(of)
        make.verified(of)
        files = files_in(bytes_of(made_of(of)))
        (portfolio,) = (name for name in files if name.startswith("portfolios/"))
        document = PortfolioDocument.objects.get(candidate=of.candidate)
        assert hashlib.sha256(files[portfolio]).hexdigest() == document.sha256
        (trail,) = (files[name].decode() for name in files if name.startswith("trails/"))
        assert of.bench.rig.tag in trail and "Verified blind" in trail and "href" not in trail
        assert make.PDF in files.values()
        index = json.loads(files["certificates/index.json"])
        assert kept.calibration.certificate in {each["certificate"] for each in index}
        (row,) = csv.DictReader(io.StringIO(files["sampling/decisions.csv"].decode()))
        assert (row["agreement"], row["actions_open"]) == ("Agreed", "1")
        (plan,) = json.loads(files["sampling/plans.json"])
        assert (plan["seed"], plan["in_this_pack"]) == ("1", 1)

    def test_nobody_outside_the_sample_is_named(self, of):
        make.verified(of)
        everything = b"\n".join(files_in(bytes_of(made_of(of))).values())
        for outside in (of.outside.candidate.name, str(of.outside.pk), str(of.outside.candidate_id)):
            assert outside.encode() not in everything

    def test_the_ledger_s_chain_is_whole_and_what_is_about_the_sample_has_its_body(self, of):
        files = files_in(bytes_of(made_of(of)))
        lines = [json.loads(line) for line in files["ledger/entries.jsonl"].splitlines()]
        assert [line["number"] for line in lines] == [str(number) for number in range(1, len(lines) + 1)]
        before = ledger.GENESIS
        for line in lines:
            assert line["previous_hash"] == before
            if "body" in line:
                again = hashlib.sha256(bytes.fromhex(before) + line["body"].encode()).hexdigest()
                assert again == line["hash"]
            before = line["hash"]
        bodies = [json.loads(line["body"]) for line in lines if "body" in line]
        verbs = {body["verb"] for body in bodies}
        assert {"attempt.start", "attempt.hand-in", "attempt.mark", "attempt.sign-off"} <= verbs
        assert {"reading.log", "visit.arrange", "portfolio.issue", "calibration.record"} <= verbs
        assert 0 < len(bodies) < len(lines)

    def test_a_portfolio_that_is_up_to_date_is_taken_as_it_was_issued(self, of):
        made_of(of)
        made_of(of)
        assert PortfolioDocument.objects.filter(candidate=of.candidate).count() == 1

    def test_one_that_is_behind_is_issued_anew(self, of):
        made_of(of)
        PortfolioDocument.objects.update(issued_at=AT)
        made_of(of)
        assert PortfolioDocument.objects.filter(candidate=of.candidate).count() == 2

    def test_what_is_lost_from_the_store_is_told(self, of):
        kept = make.with_certificate(of)
        kept.file.storage.delete(kept.file.name)
        with pytest.raises(Refused, match="no longer in the store"):
            made_of(of)
        assert not Pack.objects.exists()

    def test_it_is_in_the_ledger_with_the_digest_of_its_manifest(self, of):
        pack = made_of(of)
        facts = json.loads(LedgerEntry.objects.get(verb="pack.make").body)["facts"]
        assert facts["manifest_sha256"] == check(io.BytesIO(bytes_of(pack))).manifest_sha256


def test_the_same_files_give_the_same_bytes():
    def written() -> bytes:
        out = io.BytesIO()
        with PackWriter(to=out, at=AT) as writer:
            writer.add("b.txt", b"two", what="second")
            writer.add("a.txt", b"one", what="first")
            writer.finish({"ledger_head": "0:0"})
        return out.getvalue()

    assert written() == written()
    with zipfile.ZipFile(io.BytesIO(written())) as archive:
        assert {info.date_time for info in archive.infolist()} == {AT.timetuple()[:6]}


def small_pack() -> bytes:
    body = '{"number":"1"}'
    first = ledger.entry_hash(ledger.GENESIS, body)
    second = ledger.entry_hash(first, "not told")
    lines = [
        {"number": "1", "previous_hash": ledger.GENESIS, "hash": first, "body": body},
        {"number": "2", "previous_hash": first, "hash": second},
    ]
    text = "".join(json.dumps(line) + "\n" for line in lines)
    out = io.BytesIO()
    with PackWriter(to=out, at=AT) as writer:
        writer.add("notes.txt", b"as it was", what="notes")
        writer.add("trails/one.html", b"<p>one</p>", what="a trail")
        writer.add("ledger/entries.jsonl", text.encode(), what="ledger")
        writer.finish({"ledger_head": f"2:{second}", "pack": "nobody’s"})
    return out.getvalue()


def rewritten(content: bytes, change: Callable[[dict[str, bytes]], None]) -> bytes:
    """The same pack with its files changed, but for the digests that are kept of them."""
    files = files_in(content)
    change(files)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


def flipped(name: str, at: int = 3) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        data = bytearray(files[name])
        data[at] ^= 1
        files[name] = bytes(data)

    return change


def checked(content: bytes, tmp_path: Path, capsys) -> tuple[int, str, str]:
    """Exit code, what was said, and what was complained of."""
    path = tmp_path / "pack.zip"
    path.write_bytes(content)
    code = 0
    try:
        call_command("check_pack", str(path))
    except SystemExit as stopped:
        code = int(str(stopped.code))
    said = capsys.readouterr()
    return code, said.out, said.err


class TestChecking:
    def test_one_as_it_was_made_is_intact(self, tmp_path, capsys):
        code, said, complained = checked(small_pack(), tmp_path, capsys)
        assert (code, complained) == (0, "")
        assert said.startswith("pack.zip: 3 files, intact, not one of this site’s own; ledger head 2:")

    def test_this_site_knows_its_own(self, of, tmp_path, capsys):
        code, said, _ = checked(bytes_of(made_of(of)), tmp_path, capsys)
        assert code == 0 and "as this site recorded it" in said

    @pytest.mark.parametrize(
        ("change", "line"),
        [
            (flipped("notes.txt"), "pack.zip: notes.txt: it was changed since the pack was made."),
            (
                flipped("trails/one.html"),
                "pack.zip: trails/one.html: it was changed since the pack was made.",
            ),
            (lambda files: files.pop("notes.txt"), "pack.zip: notes.txt: it is missing."),
            (lambda files: files.update(more=b""), "pack.zip: more: it is not in the manifest."),
            (lambda files: files.pop("SHA256SUMS"), "pack.zip: SHA256SUMS: it is missing."),
            (flipped("SHA256SUMS"), "pack.zip: SHA256SUMS: it doesn’t say what the manifest says."),
        ],
        ids=["a byte", "another byte", "missing", "more", "no sums", "other sums"],
    )
    def test_what_was_tampered_with_is_named_in_one_line(self, change, line, tmp_path, capsys):
        code, said, complained = checked(rewritten(small_pack(), change), tmp_path, capsys)
        assert (code, said, complained) == (1, "", f"{line}\n")

    def test_an_entry_of_the_ledger_with_another_body_is_named(self, tmp_path, capsys):
        def change(files: dict[str, bytes]) -> None:
            name = "ledger/entries.jsonl"
            files[name] = files[name].replace(rb"{\"number\":\"1\"}", rb"{\"number\":\"7\"}")

        _, _, complained = checked(rewritten(small_pack(), change), tmp_path, capsys)
        assert "ledger/entries.jsonl: entry 1 has another body than its hash says." in complained

    def test_a_ledger_whose_tail_was_cut_is_named(self, tmp_path, capsys):
        def change(files: dict[str, bytes]) -> None:
            name = "ledger/entries.jsonl"
            files[name] = files[name].splitlines(keepends=True)[0]

        _, _, complained = checked(rewritten(small_pack(), change), tmp_path, capsys)
        assert "it doesn’t end with the head that the manifest names" in complained

    def test_a_manifest_that_was_rewritten_too_is_found_by_the_site_that_made_it(self, of, tmp_path, capsys):
        original = bytes_of(made_of(of))
        manifest = json.loads(files_in(original)["manifest.json"])
        out = io.BytesIO()
        with PackWriter(to=out, at=of.at) as writer:
            for name, content in files_in(original).items():
                if name not in {"manifest.json", "SHA256SUMS"}:
                    writer.add(name, content.replace(b"competent", b"excellent"), what="")
            writer.finish({key: manifest[key] for key in ("pack", "visit", "centre", "ledger_head")})
        code, _, complained = checked(out.getvalue(), tmp_path, capsys)
        assert code == 1
        assert complained.startswith("pack.zip: manifest.json: it isn’t the one that this site recorded.")

    @pytest.mark.parametrize(
        ("content", "why"),
        [
            (b"", "it is no ZIP file, or a broken one"),
            (b"PK\x03\x04 half of one", "it is no ZIP file, or a broken one"),
            (small_pack()[:-60], "it is no ZIP file, or a broken one"),
            (rewritten(small_pack(), lambda files: files.pop("manifest.json")), "it has no manifest.json"),
            (rewritten(small_pack(), flipped("manifest.json", 0)), "its manifest.json is broken"),
            (
                rewritten(small_pack(), lambda files: files.update({"manifest.json": b"{}"})),
                "its manifest.json isn’t one of “makepoint pack 1”",
            ),
            (
                rewritten(
                    small_pack(),
                    lambda files: files.update({"manifest.json": b'{"format": "makepoint pack 1"}'}),
                ),
                "its manifest.json doesn’t list its files",
            ),
        ],
        ids=["empty", "half", "cut", "no manifest", "broken manifest", "another's", "no list"],
    )
    def test_what_is_no_pack_is_said_in_a_line(self, content, why, tmp_path):
        path = tmp_path / "pack.zip"
        path.write_bytes(content)
        with pytest.raises(CommandError) as refused:
            call_command("check_pack", str(path))
        assert str(refused.value) == f"pack.zip isn’t a pack: {why}."

    def test_a_file_that_isn_t_there_is_said_in_a_line(self, tmp_path):
        with pytest.raises(CommandError, match=r"can’t be opened: No such file"):
            call_command("check_pack", str(tmp_path / "none.zip"))

    @pytest.mark.parametrize("at", range(40, 400, 24))
    def test_a_byte_of_the_zip_itself_is_never_a_traceback(self, at, tmp_path, capsys):
        content = bytearray(small_pack())
        content[at] ^= 0xFF
        with contextlib.suppress(CommandError):  # in one line, as above
            code, _, complained = checked(bytes(content), tmp_path, capsys)
            assert code == 0 or complained


class TestPages:
    @pytest.fixture(autouse=True)
    def noon(self, of, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: of.at)

    def test_it_is_asked_for_made_and_fetched(self, of, django_capture_on_commit_callbacks):
        client = signed_in(of.bench.manager)
        with django_capture_on_commit_callbacks(execute=True):
            asked = client.post(reverse("pack-make", args=[of.visit.pk]))
        job, pack = Job.objects.get(), Pack.objects.get()
        assert asked.headers["Location"] == reverse("job-detail", args=[job.pk])
        address = reverse("pack-download", args=[pack.pk])
        assert address in client.get(asked.headers["Location"]).text
        assert address in client.get(reverse("visit-detail", args=[of.visit.pk])).text
        fetched = client.get(address)
        assert hashlib.sha256(b"".join(fetched.streaming_content)).hexdigest() == pack.sha256
        assert disclosure.has_seen(person=of.bench.manager, rig=of.bench.rig)

    def test_the_visitor_fetches_it_while_the_visit_is_on_and_it_is_kept(self, of, monkeypatch):
        address = reverse("pack-download", args=[made_of(of).pk])
        client = signed_in(of.visitor)
        assert client.get(address).status_code == 200
        assert VisitLook.objects.get().page == "pack"
        monkeypatch.setattr(timezone, "now", lambda: of.at + timedelta(days=2))
        assert signed_in(of.visitor).get(address).status_code == 404

    def test_nobody_else_fetches_it(self, of):
        address = reverse("pack-download", args=[made_of(of).pk])
        other = person_with(Role.Kind.EXTERNAL_VERIFIER, by=of.bench.manager)
        assert signed_in(other).get(address).status_code == 404
        assert signed_in(ManagerFactory()).get(address).status_code == 404
        assert signed_in(of.bench.assessor).get(address).status_code == 403

    def test_the_visitor_has_none_made(self, of):
        assert signed_in(of.visitor).post(reverse("pack-make", args=[of.visit.pk])).status_code == 403
        with pytest.raises(Refused, match="Only those who arrange visits"):
            packs.make(visit=of.visit, by=of.visitor, at=of.at, tell=nobody)
