from collections.abc import Mapping
from typing import Any

from academy.management.rows import RowsCommand
from academy.roster import ROSTER
from academy.transfer.kinds import Kind


class Command(RowsCommand):
    help = "Bring in people, their roles and cohorts from a CSV file or an XLSX workbook."

    def kind_of(self, options: Mapping[str, Any]) -> Kind:
        return ROSTER
