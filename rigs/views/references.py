from collections.abc import Mapping

from django.http import HttpRequest

from rigs.models import Instrument


class RemembersReferences:
    """Keeps the reference instruments that a person chose, by kind, for the rigs that they go on to."""

    request: HttpRequest

    @property
    def remembered(self) -> Mapping[str, str]:
        known: Mapping[str, str] = self.request.session.get("references", {})
        return known

    def remember(self, instruments: Mapping[str, Instrument]) -> None:
        chosen = {str(kind): str(instrument.pk) for kind, instrument in instruments.items()}
        self.request.session["references"] = {**self.remembered, **chosen}
