"""The two sites, their assets and their seasons, as data and as rows."""

from __future__ import annotations

import random
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from assets_app.register.models import Asset, Site
from schedules.demo.people import DEPOT, PIER
from schedules.duty.open_days import Span

ZONE = "Europe/London"
SITES = {PIER: "Larkmoor Pier", DEPOT: "Larkmoor Depot"}
SEASONS: dict[str, list[tuple[str, Span]]] = {
    PIER: [
        ("spring", Span(3, 20, 5, 22, "0011111")),
        ("summer", Span(5, 23, 9, 14, "1111111")),
        ("autumn", Span(9, 15, 11, 8, "0001111")),
    ],
    DEPOT: [("all year, weekdays", Span(1, 1, 12, 31, "1111100"))],
}


class AssetData(NamedTuple):
    """One asset: what it is, how old, what drives its dates and how busy it is."""

    site: str
    tag: str
    name: str
    kind: str
    years: float  # in use
    place: str
    value: int | None  # replacement, GBP
    unit: str
    counter: str
    a_day: float  # counts a mean open day
    joints: int
    consequence: str = "high"
    note: str = ""


ASSETS: list[AssetData] = [
    AssetData(PIER, "R-01", "Gull Wheel", "ride", 14.6, "pier head", 2_400_000, "cycles", "turns", 44, 66),
    AssetData(PIER, "R-02", "Breaker", "ride", 17.6, "south arm", 5_100_000, "cycles", "train laps", 210, 100),
    AssetData(PIER, "R-03", "Tide Swing", "ride", 10.6, "south arm", 860_000, "cycles", "rides", 62, 48),
    AssetData(PIER, "R-04", "Lantern Carousel", "ride", 27.6, "pavilion", 540_000, "cycles", "rides", 70, 40),
    AssetData(PIER, "R-05", "Kite Tower", "ride", 1.65, "pier head", 1_750_000, "cycles", "drops", 120, 42),
    AssetData(PIER, "R-06", "Sea Train", "ride", 12.6, "promenade", 390_000, "km", "hub odometer", 31, 36, "low"),
    AssetData(PIER, "R-07", "Pier Hoist", "lift", 8.6, "boat landing", 310_000, "lifts", "lifts", 26, 30),
    AssetData(PIER, "S-01", "Landing Bridge", "structure", 19.6, "boat landing", None, "hours", "open hours", 9, 24),
    AssetData(DEPOT, "T-01", "Low Loader", "trailer", 11.3, "bay 1", 145_000, "km", "hub odometer", 160, 40),
    AssetData(DEPOT, "T-02", "Flatbed Trailer", "trailer", 7.4, "bay 2", 62_000, "km", "hub odometer", 190, 32, "low"),
    AssetData(DEPOT, "T-03", "Box Trailer", "trailer", 2.2, "bay 3", 58_000, "km", "hub odometer", 120, 24, "low"),
    AssetData(DEPOT, "L-01", "Scissor Lift One", "lift", 9.2, "hall", 41_000, "lifts", "platform lifts", 24, 26),
    AssetData(DEPOT, "L-02", "Scissor Lift Two", "lift", 2.4, "hall", 44_000, "lifts", "platform lifts", 22, 22),
    AssetData(DEPOT, "L-03", "Boom Lift", "lift", 6.5, "yard", 98_000, "hours", "engine hours", 4.5, 30),
    AssetData(DEPOT, "C-01", "Mobile Crane", "crane", 13.4, "yard", 480_000, "lifts", "crane lifts", 34, 46),
    AssetData(DEPOT, "D-01", "Loading Ramp", "structure", 15.2, "bay 1", 73_000, "cycles", "crossings", 40, 22, "low"),
]


def chance(*names: object) -> random.Random:
    """A source of chance of its own for each purpose, so that a change in one place moves nothing elsewhere."""
    return random.Random("Larkmoor " + " ".join(map(str, names)))  # noqa: S311  dice for a demo, not secrets


def create(*, today: date, small: bool) -> tuple[dict[str, Site], dict[str, Asset]]:
    """Sites by short name, assets by tag."""
    sites = {slug: Site.objects.create(slug=slug, name=name, time_zone=ZONE) for slug, name in SITES.items()}
    for data in assets_of(small=small):
        Asset.objects.create(
            site=sites[data.site],
            tag=data.tag,
            name=data.name,
            kind=data.kind,
            commissioned_on=commissioned(data, today),
            consequence=data.consequence,
            place=data.place,
            replacement_value=None if data.value is None else Decimal(data.value),
            note=data.note,
        )
    return sites, {asset.tag: asset for asset in Asset.objects.all()}


SMALL = ("R-01", "R-02", "R-07", "T-01", "L-01", "C-01")


def assets_of(*, small: bool) -> list[AssetData]:
    """All assets, or a third of them with a third of their joints each."""
    if not small:
        return ASSETS
    return [data._replace(joints=data.joints // 2) for data in ASSETS if data.tag in SMALL]


def commissioned(data: AssetData, today: date) -> date:
    return date.fromordinal(today.toordinal() - round(data.years * 365.25))
