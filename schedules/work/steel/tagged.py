"""A joint by the tags that somebody read off the steel and typed, matched when they arrive.

Never guessed: what does not match is refused with the nearest tags, and the person puts it right.
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from assets_app.people.models import Person
from assets_app.refusals import NotFound, Unprocessable
from assets_app.register.models import Asset, Joint
from assets_app.register.queries import assets_in_sight, sites_in_sight

NEAREST = 3  # tags named in a refusal


def asset_by(person: Person, *, site_id: int, asset_tag: str) -> Asset:
    """Refusals: ``not_found`` (the site), ``tag_unknown``."""
    site = sites_in_sight(person).filter(pk=site_id).first()
    if site is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    tags = dict(assets_in_sight(person).filter(site=site).values_list("tag", "pk"))
    return Asset.objects.get(pk=tags[_match(asset_tag, tags, f"at {site.name}", field="asset_tag")])


def joint_by(person: Person, *, site_id: int, asset_tag: str, joint_tag: str) -> Joint:
    """Refusals: ``not_found`` (the site), ``tag_unknown``."""
    asset = asset_by(person, site_id=site_id, asset_tag=asset_tag)
    tags = dict(Joint.objects.filter(asset=asset, active=True).values_list("tag", "pk"))
    return Joint.objects.get(pk=tags[_match(joint_tag, tags, f"on {asset}", field="joint_tag")])


def _match(typed: str, tags: Iterable[str], where: str, *, field: str) -> str:
    """The tag that ``typed`` is, whatever its capitals and spaces; one written exactly so goes before others."""
    known = list(tags)
    if typed.strip() in known:
        return typed.strip()
    same = [tag for tag in known if _plain(tag) == _plain(typed)]
    if len(same) == 1:
        return same[0]
    near = same or _near(typed, known)
    hint = f" Is it {' or '.join(near)}?" if near else ""
    what = "asset" if field == "asset_tag" else "joint"
    message = f"No {what} {where} has the tag {typed.strip() or 'nothing'}.{hint} Write it as it stands on the steel."
    raise Unprocessable("tag_unknown", message, field=field, nearest=near)


def _plain(tag: str) -> str:
    return "".join(tag.split()).casefold()


def _near(typed: str, known: list[str]) -> list[str]:
    plain = {_plain(tag): tag for tag in known}
    return [plain[one] for one in get_close_matches(_plain(typed), plain, n=NEAREST)]
