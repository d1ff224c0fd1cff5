from collections.abc import Mapping

from django.http import HttpRequest

from rigs.models import Instrument


class RemembersReferences:
    """Keeps the reference instruments that a person chose, by kind, for the rigs that they go on to.

    So it does with how accurate the room's instruments are; what they showed is read afresh each time.
    """

    request: HttpRequest

    @property
    def remembered(self) -> Mapping[str, str]:
        known: Mapping[str, str] = self.request.session.get("references", {})
        return known

    def remember(self, instruments: Mapping[str, Instrument]) -> None:
        chosen = {str(kind): str(instrument.pk) for kind, instrument in instruments.items()}
        self.request.session["references"] = {**self.remembered, **chosen}

    @property
    def accuracies(self) -> Mapping[str, float]:
        known: Mapping[str, float] = self.request.session.get("room_accuracies", {})
        return known

    def remember_accuracies(self, accuracies: Mapping[str, float]) -> None:
        if accuracies:
            self.request.session["room_accuracies"] = dict(accuracies)
