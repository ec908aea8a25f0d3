"""The forms of people: added, given roles, a password, certificates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.contrib.auth.password_validation import password_validators_help_texts

from assets_app.people import mail
from assets_app.people.models import Qualification, RoleName
from assets_app.people.qualification_rules import POSITIONS
from assets_app.people.sign_in_links import Way

DAY = {"type": "date"}
WAYS = (
    (Way.MAIL.value, "Mailed to the person. You never see it: only who reads that mail can use it."),
    (
        Way.SHOW.value,
        "Shown to you, to hand over. You could use it yourself, so the person is told by mail that you were shown it, "
        "and again when it is used.",
    ),
)
NO_MAIL = "No mail leaves this service, so it cannot be mailed, nor the person told. The record says who made it."


class AddressForm(forms.Form):
    """Where emails reach a person."""

    email = forms.EmailField(label="Email address", max_length=254)


class SiteRoleForm(forms.Form):
    """A role at one of ``sites``, ``(id, name)``."""

    site_id = forms.TypedChoiceField(label="Site", coerce=int)
    name = forms.ChoiceField(label="Role", choices=RoleName.choices)

    def __init__(self, *args: Any, sites: Sequence[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site_id"].choices = sites  # type: ignore[attr-defined]


class RoleForm(SiteRoleForm):
    """A role to be given, and to whom."""

    username = forms.CharField(label="Signs in as", max_length=150)
    release_authority = forms.BooleanField(
        label="May lift holds there", required=False, help_text="an engineer or manager whom the site names for it"
    )
    field_order = ("username", "site_id", "name", "release_authority")


def hand_over_field() -> forms.ChoiceField:
    return forms.ChoiceField(label="How the link comes to the person", choices=WAYS, widget=forms.RadioSelect)


def offer_ways(field: Any, why_no_mail: str) -> None:
    """Mail comes first; where there is none, the other way alone stands there with the reason."""
    field.initial = Way.SHOW if why_no_mail else Way.MAIL
    if why_no_mail:
        field.choices, field.help_text = WAYS[1:], why_no_mail


class LinkForm(forms.Form):
    """A link to set a password: how it comes to its person."""

    hand_over = hand_over_field()

    def __init__(self, *args: Any, email: str, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="id_link_%s", **kwargs)
        no_address = "" if email else "No email address is on file, so it cannot be mailed, nor the person told."
        offer_ways(self.fields["hand_over"], no_address if mail.is_set_up() else NO_MAIL)


class PersonForm(forms.Form):
    """Somebody to be added, with a first role at one of ``sites``, ``(id, name)``."""

    first_name = forms.CharField(label="First name", max_length=150, help_text="as the record shall show it")
    last_name = forms.CharField(label="Last name", max_length=150, required=False)
    username = forms.CharField(label="Shall sign in as", max_length=150, help_text="letters, digits and @ . + - _")
    email = forms.EmailField(
        label="Email address",
        max_length=254,
        required=False,
        help_text="for the link to set a password, and later for alerts",
    )
    site_id = forms.TypedChoiceField(label="Site", coerce=int)
    role = forms.ChoiceField(label="First role", choices=RoleName.choices)
    hand_over = hand_over_field()

    def __init__(self, *args: Any, sites: Sequence[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, auto_id="id_add_%s", **kwargs)
        self.fields["site_id"].choices = sites  # type: ignore[attr-defined]
        offer_ways(self.fields["hand_over"], "" if mail.is_set_up() else NO_MAIL)


class PasswordForm(forms.Form):
    """A password, twice; whether it is good enough is decided by the action."""

    password = forms.CharField(
        label="New password",
        max_length=256,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label="The same again",
        max_length=256,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].help_text = " ".join(password_validators_help_texts())

    def clean_again(self) -> str:
        if self.cleaned_data.get("password") not in (None, self.cleaned_data["again"]):
            raise forms.ValidationError("The two are not the same. Type both again.")
        return self.cleaned_data["again"]


class ChangePasswordForm(PasswordForm):
    """Another password in place of one's own."""

    current = forms.CharField(
        label="Password now",
        max_length=256,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    field_order = ("current", "password", "again")


class ShutForm(forms.Form):
    """Why an account is shut."""

    reason = forms.CharField(
        label="Why it is shut",
        max_length=200,
        help_text="such as: left the pier on 30 September",
        error_messages={"required": "Say why the account is shut."},
    )


class UsedForm(forms.Form):
    """A day on which a welder used the process."""

    used_on = forms.DateField(label="Process used on", widget=forms.DateInput(attrs=DAY))


class EndForm(forms.Form):
    """The end of a certificate before its day."""

    ends_on = forms.DateField(label="Last day", widget=forms.DateInput(attrs=DAY))
    reason = forms.CharField(label="Why it ends", max_length=200)


class CertificateForm(forms.Form):
    """A certificate as it is printed; which of its fields a kind needs is decided by the action."""

    kind = forms.ChoiceField(label="For", choices=Qualification.Kind.choices)
    method = forms.CharField(label="NDT method", required=False, max_length=4, help_text="such as MT")
    level = forms.TypedChoiceField(
        label="NDT level",
        required=False,
        coerce=int,
        empty_value=None,
        choices=[("", "none"), (1, "1"), (2, "2"), (3, "3")],
    )
    process = forms.CharField(
        label="Welding process", required=False, max_length=8, help_text="its number in ISO 4063, such as 135"
    )
    welding_position = forms.CharField(
        label="Welding positions",
        required=False,
        max_length=80,
        help_text=f"every one printed on the certificate, with spaces between; none is inferred: {' '.join(POSITIONS)}",
    )
    certificate = forms.CharField(label="Number of the certificate", required=False, max_length=64)
    issued_on = forms.DateField(label="Valid from", widget=forms.DateInput(attrs=DAY))
    expires_on = forms.DateField(label="Valid until", widget=forms.DateInput(attrs=DAY))
