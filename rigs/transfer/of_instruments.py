"""Instruments as rows: one each. Their models are on record before, with the maker's specification."""

from collections.abc import Iterator, Sequence

from academy.models import Centre
from academy.permissions import Permission
from academy.transfer import cells
from academy.transfer.kinds import Kind, Sender, require_unchanged
from academy.transfer.tables import CellRefused, Column, Row, Value
from rigs import register
from rigs.models import Instrument, InstrumentModel

TAG, MODEL, SERIAL, REFERENCE = "tag", "model", "serial", "reference"


def bring_in(rows: Sequence[Row], sender: Sender) -> bool:
    (row,) = rows
    tag, serial = cells.text(row, TAG).upper(), cells.text(row, SERIAL)
    model, is_reference = _model(row, sender.centre), cells.truth(row, REFERENCE) or False
    known = Instrument.objects.filter(centre=sender.centre, tag=tag).first()
    if known is not None:
        require_unchanged(
            tag,
            {
                MODEL: (known.model_id, model.pk),
                SERIAL: (known.serial, serial),
                REFERENCE: (known.is_reference, is_reference),
            },
        )
        return False
    register.add_instrument(
        model=model, tag=tag, serial=serial, is_reference=is_reference, by=sender.by, at=sender.at
    )
    return True


def written(centre: Centre) -> Iterator[Sequence[Value]]:
    """The instruments in use."""
    for each in Instrument.objects.filter(centre=centre).in_use().select_related("model"):
        yield each.tag, each.model.name, each.serial, "yes" if each.is_reference else "no"


def _model(row: Row, centre: Centre) -> InstrumentModel:
    typed = cells.text(row, MODEL)
    known = InstrumentModel.objects.filter(centre=centre).select_related("centre")
    found = next((each for each in known if each.name.casefold() == typed.casefold()), None)
    if found is None:
        raise CellRefused(
            f"There is no instrument model “{typed}”. Add it first, with its specification.", column=MODEL
        )
    return found


INSTRUMENTS = Kind(
    slug="instruments",
    title="Instruments",
    permission=Permission.INSTRUMENT_MANAGE,
    columns=(
        Column(name=TAG, help="as on its label", most=20),
        Column(name=MODEL, help="the name of a model that is on record", most=120),
        Column(name=SERIAL, help="its serial number", needed=False, most=60),
        Column(name=REFERENCE, help="yes for one kept out of candidates’ hands", needed=False),
    ),
    bring_in=bring_in,
    named_by=TAG,
    fields={"tag": TAG},
)
