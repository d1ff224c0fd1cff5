from collections.abc import Collection

from django.core.exceptions import ValidationError
from django.db.models import Model


class Refused(Exception):
    """What was asked isn't allowed.

    `message` says why in the user's words; `field` names the form field to mend.
    """

    def __init__(self, message: str, *, field: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field


def check_fields(instance: Model, *, exclude: Collection[str] = ()) -> None:
    """Refuse what the instance's own fields don't take: too long, not an address, not one of the choices."""
    try:
        instance.clean_fields(exclude=set(exclude))
    except ValidationError as error:
        field, messages = next(iter(error.message_dict.items()))
        raise Refused(" ".join(messages), field=field) from error
