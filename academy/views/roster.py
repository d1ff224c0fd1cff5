from academy.permissions import Permission
from academy.roster import ROSTER
from academy.views.transfer import RowsImport


class RosterImport(RowsImport):
    permission = Permission.PEOPLE_MANAGE
    section = "people"
    kind, page = ROSTER, "invitation-list"
