"""Rigs, instruments, certificates and checks, brought in from a file and written out."""

from collections.abc import Iterable, Sequence

from academy.permissions import Permission
from academy.transfer.tables import Value
from academy.views.transfer import RowsExport, RowsImport
from rigs.transfer import of_certificates, of_instruments, of_rigs
from rigs.transfer.of_certificates import CERTIFICATES
from rigs.transfer.of_checks import CHECKS
from rigs.transfer.of_instruments import INSTRUMENTS
from rigs.transfer.of_rigs import RIGS


class RigsImport(RowsImport):
    permission = Permission.RIG_MANAGE
    section = "rigs"
    kind, page, exports = RIGS, "rig-list", "rigs-export"


class InstrumentsImport(RowsImport):
    permission = Permission.INSTRUMENT_MANAGE
    section = "instruments"
    kind, page, exports = INSTRUMENTS, "instrument-list", "instruments-export"


class CertificatesImport(RowsImport):
    permission = Permission.INSTRUMENT_MANAGE
    section = "instruments"
    kind, page, exports = CERTIFICATES, "instrument-list", "certificates-export"


class ChecksImport(RowsImport):
    permission = Permission.RIG_CHECK
    section = "rigs"
    kind, page = CHECKS, "rig-list"


class RigsExport(RowsExport):
    permission = Permission.RIG_READ
    kind = RIGS

    def rows(self) -> Iterable[Sequence[Value]]:
        return of_rigs.written(self.centre)


class InstrumentsExport(RowsExport):
    permission = Permission.INSTRUMENT_READ
    kind = INSTRUMENTS

    def rows(self) -> Iterable[Sequence[Value]]:
        return of_instruments.written(self.centre)


class CertificatesExport(RowsExport):
    permission = Permission.INSTRUMENT_READ
    kind = CERTIFICATES

    def rows(self) -> Iterable[Sequence[Value]]:
        return of_certificates.written(self.centre)
