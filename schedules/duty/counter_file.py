"""Counters from a file: each row sets one up, or changes it, as a planner does it by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from assets_app.people.models import Person
from assets_app.refusals import Conflict, NotFound, Unprocessable
from assets_app.register.columns import CellError, Field, field_of
from assets_app.register.lists import ListKind, Took
from assets_app.register.models import Asset, RegisterImport, Site
from schedules.duty import setup
from schedules.duty.models import Counter
from schedules.duty.reading_file import read_number


def _column(name: str, help: str, *, needed: bool = False) -> Field:
    column = Counter._meta.get_field(name)
    return replace(field_of("counter", column), help=help, needed=needed)


def _text(text: str, ways: Any) -> str:
    return text


def _number(text: str, ways: Any) -> float:
    try:
        return read_number(text)
    except Unprocessable as refused:
        raise CellError(refused.message, "") from refused


FIELDS = {
    "asset": Field("asset", _text, help="its tag", needed=True),
    "name": _column("name", "what stands on the meter, such as cycles", needed=True),
    "unit": _column("unit", "cycles, hours, km or lifts", needed=True),
    "is_primary": _column("is_primary", "yes where it drives the due dates, which is the usual; one an asset"),
    "rolls_over_at": Field("rolls_over_at", _number, help="shows 0 again after this many; empty: does not"),
    "expected_every_days": _column("expected_every_days", "read at least every so many days; 14 is the usual"),
}


def lock(site: Site, rows: Sequence[dict[str, Any]]) -> None:
    """The assets, then their counters, each in order, as the desk takes them."""
    assets = Asset.objects.select_for_update().filter(site=site, tag__in={row["asset"] for row in rows}).order_by("pk")
    pks = [asset.pk for asset in assets]
    list(Counter.objects.select_for_update().filter(asset_id__in=pks).order_by("pk"))


def take(*, site: Site, values: dict[str, Any], actor: Person, now: datetime) -> Took:
    """Set a counter up, or change what may change of one that is there; what the row leaves empty stays."""
    tag = values.pop("asset")
    asset = Asset.objects.filter(site=site, tag=tag).first()
    if asset is None:
        said = f"There is no asset {tag!r} at this site. Correct the tag, or import the register first."
        raise NotFound("asset_unknown", said, field="asset")
    held = asset.counters.filter(name=values["name"].strip()).first()
    if held is None:
        setup.add_counter(asset_id=asset.pk, actor=actor, now=now, **values)
        return Took("new")
    for name in ("unit", "is_primary"):
        if name in values and values[name] != getattr(held, name):
            said = (
                f"{held.name} of {asset.tag} is on file otherwise, and due dates rest on that. Set up another counter."
            )
            raise Conflict("counter_exists", said, field=name)
    changing = ("rolls_over_at", "expected_every_days")
    wanted = {name: values.get(name, getattr(held, name)) for name in changing}
    if all(getattr(held, name) == value for name, value in wanted.items()):
        return Took("unchanged")
    setup.change_counter(counter_id=held.pk, actor=actor, now=now, **wanted)
    return Took("changed")


COUNTERS = ListKind(
    name=RegisterImport.Kind.COUNTERS.value,
    thing="counter",
    right="counter.change",
    fields=FIELDS,
    lock=lock,
    take=take,
)
