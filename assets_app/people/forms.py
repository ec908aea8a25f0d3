"""The form by which a certificate is put on file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from assets_app.people.models import Qualification, RoleName
from assets_app.people.qualification_rules import POSITIONS

DAY = {"type": "date"}


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
