from argparse import ArgumentParser
from collections.abc import Mapping
from typing import Any

from academy.management.rows import RowsCommand
from academy.transfer.kinds import Kind
from rigs.transfer.registry import KINDS


class Command(RowsCommand):
    help = "Bring in rigs, instruments, certificates or checks from a CSV file or an XLSX workbook."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", choices=list(KINDS), help="what a row is")
        super().add_arguments(parser)

    def kind_of(self, options: Mapping[str, Any]) -> Kind:
        return KINDS[options["kind"]]
