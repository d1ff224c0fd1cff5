"""All kinds of row, by name."""

from collections.abc import Mapping
from types import MappingProxyType

from academy.transfer.kinds import Kind
from rigs.transfer.of_certificates import CERTIFICATES
from rigs.transfer.of_checks import CHECKS
from rigs.transfer.of_instruments import INSTRUMENTS
from rigs.transfer.of_rigs import RIGS

KINDS: Mapping[str, Kind] = MappingProxyType(
    {kind.slug: kind for kind in (RIGS, INSTRUMENTS, CERTIFICATES, CHECKS)}
)
