"""A pack as a file: a ZIP whose manifest has the digest of every file in it, written and checked.

The same files, particulars and moment give the same bytes. ``SHA256SUMS`` is for the usual tools; what it
and the manifest can't show is a pack whose manifest was rewritten too: for that the site that made it keeps
the manifest's own digest.
"""

import hashlib
import json
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import IO, Any, Self

from academy import ledger

FORMAT = "makepoint pack 1"
MANIFEST = "manifest.json"
SUMS = "SHA256SUMS"
LEDGER = "ledger/entries.jsonl"
CHUNK = 1 << 20
UNREADABLE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError)
"""What reading one file of a ZIP raises where it is broken, locked, or packed in another way."""


class NoPack(ValueError):
    """This isn't a pack, or no more. The message says why in one line."""


@dataclass(slots=True, kw_only=True)
class PackWriter:
    """Adds files one after the other, so that no more than one is in memory. To be closed when finished."""

    to: IO[bytes]
    at: datetime
    entries: list[dict[str, str]] = field(default_factory=list)
    archive: zipfile.ZipFile = field(init=False)

    def __post_init__(self) -> None:
        self.archive = zipfile.ZipFile(self.to, "w", zipfile.ZIP_DEFLATED, compresslevel=9)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_why: object) -> None:
        self.archive.close()

    def add(self, path: str, content: bytes, *, what: str) -> None:
        """Add a file. ValueError for one of the same name as another."""
        if any(entry["path"] == path for entry in self.entries):
            raise ValueError(f"There are two files {path} for one pack.")
        self._write(path, content)
        digest = hashlib.sha256(content).hexdigest()
        self.entries.append({"path": path, "sha256": digest, "size": str(len(content)), "what": what})

    def finish(self, particulars: Mapping[str, Any]) -> str:
        """Add the manifest and the list of digests. Returns the manifest's SHA-256."""
        files = sorted(self.entries, key=lambda entry: entry["path"])
        made_at = self.at.astimezone(UTC).isoformat(timespec="seconds")
        whole = {**particulars, "format": FORMAT, "made_at": made_at, "files": files}
        manifest = (json.dumps(whole, ensure_ascii=False, sort_keys=True, indent=1) + "\n").encode()
        digest = hashlib.sha256(manifest).hexdigest()
        listed = [(entry["sha256"], entry["path"]) for entry in files]
        self._write(MANIFEST, manifest)
        self._write(SUMS, _sums([*listed, (digest, MANIFEST)]))
        return digest

    def _write(self, path: str, content: bytes) -> None:
        moment = self.at.astimezone(UTC)
        info = zipfile.ZipInfo(path, date_time=moment.timetuple()[:6])
        info.compress_type = zipfile.ZIP_DEFLATED
        info.create_system = 3  # the same wherever it is made
        info.external_attr = 0o100644 << 16
        self.archive.writestr(info, content, compresslevel=9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a pack says of itself, and a line for each thing that doesn't hold."""

    manifest: Mapping[str, Any]
    manifest_sha256: str
    faults: tuple[str, ...]


def check(file: IO[bytes]) -> Checked:
    """Hold every file against the manifest, and the ledger's entries against one another.

    Raises NoPack for what isn't a ZIP file with a manifest of ours.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            content = _read_manifest(archive)
            manifest = _manifest(content)
            faults = tuple(_faults(archive, manifest, content))
    except UNREADABLE as error:
        raise NoPack("it is no ZIP file, or a broken one") from error
    return Checked(manifest=manifest, manifest_sha256=hashlib.sha256(content).hexdigest(), faults=faults)


def _read_manifest(archive: zipfile.ZipFile) -> bytes:
    try:
        return archive.read(MANIFEST)
    except KeyError as error:
        raise NoPack(f"it has no {MANIFEST}") from error
    except UNREADABLE as error:
        raise NoPack(f"its {MANIFEST} is broken") from error


def _manifest(content: bytes) -> Mapping[str, Any]:
    try:
        manifest = json.loads(content)
    except ValueError as error:
        raise NoPack(f"its {MANIFEST} is broken") from error
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise NoPack(f"its {MANIFEST} isn’t one of “{FORMAT}”")
    files = manifest.get("files")
    wanted = {"path", "sha256", "size", "what"}
    if not isinstance(files, list) or not all(
        isinstance(each, dict) and each.keys() >= wanted for each in files
    ):
        raise NoPack(f"its {MANIFEST} doesn’t list its files")
    return manifest


def _faults(archive: zipfile.ZipFile, manifest: Mapping[str, Any], content: bytes) -> Iterator[str]:
    listed = {str(entry["path"]): str(entry["sha256"]) for entry in manifest["files"]}
    there = Counter(info.filename for info in archive.infolist())
    for name, count in sorted(there.items()):
        if count > 1:
            yield f"{name}: it is there {count} times"
        if name not in listed and name not in {MANIFEST, SUMS}:
            yield f"{name}: it is not in the manifest"
    for name, digest in sorted(listed.items()):
        if name not in there:
            yield f"{name}: it is missing"
        elif _digest(archive, name) != digest:
            yield f"{name}: it was changed since the pack was made"
    sums = [(digest, name) for name, digest in sorted(listed.items())]
    own = _sums([*sums, (hashlib.sha256(content).hexdigest(), MANIFEST)])
    if SUMS not in there:
        yield f"{SUMS}: it is missing"
    elif _digest(archive, SUMS) != hashlib.sha256(own).hexdigest():
        yield f"{SUMS}: it doesn’t say what the manifest says"
    if LEDGER in there:
        yield from _ledger_faults(archive, head=str(manifest.get("ledger_head")))


def _digest(archive: zipfile.ZipFile, name: str) -> str | None:
    """SHA-256 of a file; None where it can't be read."""
    digest = hashlib.sha256()
    try:
        with archive.open(name) as file:
            while chunk := file.read(CHUNK):
                digest.update(chunk)
    except UNREADABLE:
        return None
    return digest.hexdigest()


def _sums(files: Iterable[tuple[str, str]]) -> bytes:
    return "".join(f"{digest}  {path}\n" for digest, path in files).encode()


def _ledger_faults(archive: zipfile.ZipFile, *, head: str) -> Iterator[str]:
    last = ledger.Head(number=0, hash=ledger.GENESIS)
    try:
        with archive.open(LEDGER) as lines:
            for line in lines:
                entry = json.loads(line)
                fault = _entry_fault(entry, after=last)
                if fault:
                    yield f"{LEDGER}: entry {last.number + 1} {fault}"
                    return
                last = ledger.Head(number=int(entry["number"]), hash=entry["hash"])
    except (*UNREADABLE, ValueError, KeyError, TypeError):
        yield f"{LEDGER}: it can’t be read after entry {last.number}"
        return
    if str(last) != head:
        yield f"{LEDGER}: it doesn’t end with the head that the manifest names"


def _entry_fault(entry: Mapping[str, str], *, after: ledger.Head) -> str | None:
    """What is wrong with an entry. One that was left out has no body: its hash stands for it."""
    if int(entry["number"]) != after.number + 1:
        return "is missing"
    if entry["previous_hash"] != after.hash:
        return "doesn’t follow the entry before it"
    if "body" in entry and ledger.entry_hash(after.hash, entry["body"]) != entry["hash"]:
        return "has another body than its hash says"
    return None
