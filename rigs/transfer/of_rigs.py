"""Rigs as rows: one each."""

from collections.abc import Iterator, Sequence

from academy.models import Centre
from academy.permissions import Permission
from academy.transfer import cells
from academy.transfer.kinds import Kind, Sender, require_unchanged
from academy.transfer.tables import CellRefused, Column, Row, Value
from rigs import register
from rigs.models import Rig, RigDesign

TAG, DESIGN, PLACE, DUE = "tag", "design", "place", "electrical inspection due"


def bring_in(rows: Sequence[Row], sender: Sender) -> bool:
    (row,) = rows
    tag, place = cells.text(row, TAG).upper(), cells.text(row, PLACE)
    design, due = _design(row, sender.centre), cells.day(row, DUE)
    known = Rig.objects.filter(centre=sender.centre, tag=tag).first()
    if known is not None:
        require_unchanged(
            tag,
            {
                DESIGN: (known.design_id, design.pk),
                PLACE: (known.place, place),
                DUE: (known.electrical_inspection_due, due),
            },
        )
        return False
    register.add_rig(
        design=design, tag=tag, place=place, electrical_inspection_due=due, by=sender.by, at=sender.at
    )
    return True


def written(centre: Centre) -> Iterator[Sequence[Value]]:
    """The rigs in use."""
    for rig in Rig.objects.filter(centre=centre).in_use().select_related("design"):
        yield rig.tag, rig.design.slug, rig.place, rig.electrical_inspection_due


def _design(row: Row, centre: Centre) -> RigDesign:
    typed = cells.text(row, DESIGN)
    known = list(RigDesign.objects.filter(centre=centre).select_related("centre"))
    found = next((each for each in known if typed.casefold() in {each.slug, each.name.casefold()}), None)
    if found is None:
        listed = ", ".join(each.slug for each in known) or "none yet"
        raise CellRefused(f"There is no rig design “{typed}”. The designs are: {listed}.", column=DESIGN)
    return found


RIGS = Kind(
    slug="rigs",
    title="Rigs",
    permission=Permission.RIG_MANAGE,
    columns=(
        Column(name=TAG, help="as on its label", most=20),
        Column(name=DESIGN, help="the design’s name", most=120),
        Column(name=PLACE, help="where it stands", needed=False, most=80),
        Column(name=DUE, help="a date, such as 2026-03-14", needed=False),
    ),
    bring_in=bring_in,
    named_by=TAG,
    fields={"tag": TAG},
)
