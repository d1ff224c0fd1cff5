from typing import Any, cast

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Submit
from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.utils.functional import cached_property

from academy.models import Centre, Cohort, RecordHold, Role


class DayField(forms.DateField):
    """A date picked on the device's own calendar, which speaks ISO 8601 whatever the page's language."""

    def __init__(self, **options: Any) -> None:
        super().__init__(widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}), **options)


class PasswordField(forms.CharField):
    """A password as it was typed, spaces and all. The verb says whether it is good enough."""

    def __init__(self, *, autocomplete: str, **options: Any) -> None:
        widget = forms.PasswordInput(attrs={"autocomplete": autocomplete})
        super().__init__(widget=widget, strip=False, max_length=128, **options)


class SheetForm(forms.Form):
    """A form laid out by the site's own template pack, with one button that says what it does."""

    button = "Save"
    button_class = ""
    error_title = "Not saved yet: put this right"

    @cached_property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        helper.form_error_title = self.error_title
        helper.add_input(Submit("submit", self.button, css_class=self.button_class))
        return helper


class SignInForm(AuthenticationForm, SheetForm):
    button = "Sign in"
    error_title = "Not signed in"
    error_messages = {
        "invalid_login": "That email address and password don’t go together.",
        "inactive": "This person no longer has access.",
    }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        # An email keyboard on a phone; the name that browsers and password keepers know the field by stays.
        self.fields["username"].label = "Email"
        self.fields["username"].widget = forms.EmailInput(
            attrs={"autocomplete": "username", "maxlength": 254, "autofocus": True}
        )


class CohortChoiceForm(SheetForm):
    """A form that offers the cohorts of one centre."""

    def __init__(self, *args: Any, centre: Centre, **options: Any) -> None:
        super().__init__(*args, **options)
        cohort = cast("forms.ModelChoiceField[Cohort]", self.fields["cohort"])
        cohort.queryset = Cohort.objects.filter(centre=centre)


class PersonForm(CohortChoiceForm):
    button = "Add person"

    name = forms.CharField(max_length=200)
    email = forms.EmailField(max_length=254)
    kinds = forms.MultipleChoiceField(
        label="Roles", choices=Role.Kind.choices, widget=forms.CheckboxSelectMultiple
    )
    starts_on = DayField(label="First day")
    ends_on = DayField(label="Last day", required=False, help_text="An external verifier’s access needs one.")
    cohort = forms.ModelChoiceField(Cohort.objects.none(), required=False, empty_label="No cohort")
    password = PasswordField(
        label="First password",
        autocomplete="new-password",
        help_text="At least 10 characters. They can change it once they have signed in.",
    )


class RoleForm(SheetForm):
    button = "Grant role"

    kind = forms.ChoiceField(label="Role", choices=Role.Kind.choices, widget=forms.RadioSelect)
    starts_on = DayField(label="First day")
    ends_on = DayField(label="Last day", required=False, help_text="An external verifier’s access needs one.")


class RoleEndForm(SheetForm):
    button = "End role"

    ends_on = DayField(label="Last day")


class CohortForm(SheetForm):
    button = "Open cohort"

    name = forms.CharField(max_length=120)
    starts_on = DayField(label="First day")
    ends_on = DayField(label="Last day")


class MembershipForm(CohortChoiceForm):
    button = "Add to cohort"

    cohort = forms.ModelChoiceField(Cohort.objects.none(), empty_label=None)
    joined_on = DayField(label="First day")


class MembershipEndForm(SheetForm):
    button = "Take out of cohort"

    left_on = DayField(label="Last day")


class PasswordForm(SheetForm):
    """A new password for somebody else."""

    button = "Set password"

    password = PasswordField(
        label="New password", autocomplete="new-password", help_text="At least 10 characters."
    )


class PasswordChangeForm(PasswordForm):
    """A new password for oneself: whoever finds a tablet left signed in can't take it over."""

    button = "Change password"
    field_order = ["current", "password"]

    current = PasswordField(label="Current password", autocomplete="current-password")


class ConfirmForm(SheetForm):
    """A signature: one's own password once more, inside a form that carries what is signed."""

    button = "Sign"
    error_title = "Not signed yet"

    password = PasswordField(label="Your password", autocomplete="current-password")

    @cached_property
    def helper(self) -> FormHelper:
        helper = super().helper
        helper.form_tag = False
        helper.disable_csrf = True
        helper.add_input(Submit("confirm-back", "Back to what I wrote", css_class="plain"))
        return helper

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["password"].widget.attrs["autofocus"] = True


class DigestForm(SheetForm):
    wanted = forms.BooleanField(
        label="Send me an email once a day, when something waits for me", required=False
    )


def _whole(label: str, help_text: str) -> forms.IntegerField:
    return forms.IntegerField(label=label, help_text=help_text)


class DecidingValuesForm(SheetForm):
    """The centre's values for deciding. How much each may be is the verb's to say."""

    decide_days = _whole("Days to decide in", "After handing in. What waits longer is pointed out.")
    sitting_minutes = _whole(
        "Minutes until the password is asked for again", "Without a decision, at the same screen."
    )
    hasty_seconds = _whole("Seconds that a decision takes at least", "A shorter one is looked at again.")
    same_words_times = _whole(
        "The same feedback so often in a day", "From then on it is pointed out to the verifier."
    )
    countersign_days = _whole("Days for a countersignature", "Of an assessor in training’s decision.")
    appeal_within_days = _whole("Days to appeal in", "After the decision.")
    appeal_informal_days = _whole("Working days for the first answer", "Monday to Friday.")
    appeal_written_days = _whole("Days for the written answer", "Once the first one wasn’t accepted.")
    hands_seconds = _whole("Seconds that a step takes at least", "Steps logged faster are pointed out.")
    hurried_percent = forms.DecimalField(
        label="Percent of the guide time",
        max_digits=5,
        decimal_places=2,
        help_text="A whole attempt done in less is pointed out.",
    )
    photo_slack_minutes = _whole(
        "Minutes that a photo may lie outside the attempt", "Cameras’ clocks are seldom right."
    )
    coincidence = forms.FloatField(
        label="Chance at which readings are too alike",
        help_text="As a share of 1. Two candidates’ readings that come about less often are pointed out.",
    )


class EraseForm(SheetForm):
    button = "Erase for good"
    button_class = "danger"
    error_title = "Not erased: put this right"

    sure = forms.BooleanField(label="I know that this can’t be undone")


class InviteForm(PersonForm):
    """A person who sets their own password, and their name if nobody wrote it."""

    button = "Invite"
    password = None  # type: ignore[assignment]  # they set it themselves

    name = forms.CharField(
        max_length=200, required=False, help_text="They give it themselves if you leave this empty."
    )


class LinkUseForm(SheetForm):
    """A password of one's own, and a name where there is none yet."""

    button = "Set password"
    error_title = "Not set yet: put this right"

    name = forms.CharField(label="Your name", max_length=200)
    password = PasswordField(
        label="Password", autocomplete="new-password", help_text="At least 10 characters."
    )

    def __init__(self, *args: Any, asks_name: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        if not asks_name:
            del self.fields["name"]


class PasswordForgottenForm(SheetForm):
    button = "Send me a link"

    email = forms.EmailField(max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "username"}))


class RecordHoldForm(SheetForm):
    button = "Put on hold"

    cause = forms.ChoiceField(label="Because of", choices=RecordHold.Cause.choices, widget=forms.RadioSelect)
    reason = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 3}), help_text="Managers alone read it. No details of health."
    )


class RecordHoldLiftForm(SheetForm):
    button = "Lift hold"

    why = forms.CharField(label="Why it is over", widget=forms.Textarea(attrs={"rows": 3}))


class RetentionPeriodForm(SheetForm):
    button = "Save period"

    months = forms.IntegerField(min_value=1, max_value=1200)
    source = forms.CharField(
        max_length=200, label="Whose rule it is", help_text="Your scheme’s, your funder’s, or your own."
    )


class DisposeForm(SheetForm):
    button = "Dispose of them for good"
    button_class = "danger"

    sure = forms.BooleanField(label="I know that this can’t be undone")
