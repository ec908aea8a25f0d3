"""Certificates from a file: each row is put on file, and its use confirmed, as a manager does it by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from assets_app.people import actions
from assets_app.people.models import Person, Qualification, Role
from assets_app.people.qualification_rules import POSITIONS, positions_of
from assets_app.people.queries import ended_early, same_certificate, site_ids_of
from assets_app.record.actions import lock_chains
from assets_app.register.columns import Field, field_of, read_date, read_method
from assets_app.register.lists import ListKind, Took, nobody_here
from assets_app.register.models import RegisterImport, Site

STAYS = ("level", "welding_position", "expires_on")  # what makes a certificate on file another one than the row's


def _column(name: str, help: str, *, needed: bool = False) -> Field:
    column = Qualification._meta.get_field(name)
    return replace(field_of("certificate", column), help=help, needed=needed)


def _text(text: str, ways: Any) -> str:
    return text


FIELDS = {
    "person": Field("person", _text, help="the user name that the person signs in by", needed=True),
    "kind": _column("kind", "ndt, welder or engineer", needed=True),
    "method": Field("method", read_method, help="NDT: VT PT MT UT ET RT"),
    "level": _column("level", "NDT: 1, 2 or 3"),
    "process": _column("process", "welder: its number in ISO 4063, such as 135"),
    "welding_position": _column("welding_position", f"welder: every one printed, of {' '.join(POSITIONS)}"),
    "certificate": _column("certificate", "its number"),
    "issued_on": _column("issued_on", "first day", needed=True),
    "expires_on": _column("expires_on", "last day", needed=True),
    "used_on": Field("used_on", read_date, help="welder: the last day on which the process was used"),
}


def lock(site: Site, rows: Sequence[dict[str, Any]]) -> None:
    """The people, their certificates, then the records of their sites: each in order, as the desk takes them."""
    names = {row["person"] for row in rows}
    here = Role.objects.filter(site=site).values("person_id")
    people = list(Person.objects.select_for_update().filter(username__in=names, pk__in=here).order_by("pk"))
    list(Qualification.objects.select_for_update().filter(person__in=people).order_by("pk"))
    lock_chains({site_id for each in people for site_id in site_ids_of(each)})


def take(*, site: Site, values: dict[str, Any], actor: Person, now: datetime) -> Took:
    """Put one certificate on file, unless it is, and confirm its use where that is newer than what is known."""
    name, used_on = values.pop("person"), values.pop("used_on", None)
    person = Person.objects.filter(username=name, roles__site=site).distinct().first()
    if person is None:
        raise nobody_here(name)
    shape = {"method": "", "process": "", "certificate": "", "welding_position": "", "level": None, **values}
    shape["welding_position"] = " ".join(positions_of(shape["welding_position"]))
    held = same_certificate(Qualification(person=person, **shape)).last()
    by_whom = {"site_id": site.pk, "actor": actor, "now": now}
    if held is None or any(getattr(held, name) != shape[name] for name in STAYS):
        if held is not None and ended_early(held):
            said = f"It was ended early and stays so: its last day is {held.expires_on:%-d %b %Y}."
            return Took("unchanged", "expires_on", said)
        held, how = actions.add_qualification(person_id=person.pk, **by_whom, **shape), "new"
    else:
        how = "unchanged"
    if used_on and (held.last_used_on is None or held.last_used_on < used_on):
        actions.confirm_continuity(qualification_id=held.pk, used_on=used_on, **by_whom)
        how = "new" if how == "new" else "changed"
    return Took(how)


CERTIFICATES = ListKind(
    name=RegisterImport.Kind.CERTIFICATES.value,
    thing="certificate",
    right="people.change",
    fields=FIELDS,
    lock=lock,
    take=take,
)
