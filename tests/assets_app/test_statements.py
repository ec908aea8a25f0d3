"""A statement made once gives what its query set gives, for every value it is sent with."""

from datetime import UTC, date, datetime

import pytest
from django.db.models import Q

from assets_app.models import Asset, Joint, Role
from assets_app.statements import Given, Statement

pytestmark = pytest.mark.django_db


def test_it_gives_the_rows_of_its_query_set_time_after_time(asset, django_assert_num_queries):
    for day in (date(2026, 1, 1), date(2026, 2, 1), None):
        Joint.objects.create(asset=asset, tag=f"S-{day}", kind="weld", installed_on=day)
    rows = Joint.objects.filter(asset_id=asset.pk).order_by("tag")
    asked = Statement(
        lambda: (
            Joint.objects.filter(
                Q(installed_on__gte=Given("day")) | Q(tag=Given("tag")), asset_id=Given("asset"), active=True
            )
            .order_by("tag")
            .values_list("tag", "installed_on", "asset__site_id", "active")
        )
    )
    for day, tag in ((date(2026, 1, 1), ""), (date(2026, 1, 2), ""), (date(2027, 1, 1), "S-None")):
        here = rows.filter(Q(installed_on__gte=day) | Q(tag=tag))
        with django_assert_num_queries(1):
            found = asked.rows(asset=asset.pk, day=day, tag=tag)
        assert found == list(here.values_list("tag", "installed_on", "asset__site_id", "active"))
    assert asked.rows(asset=0, day=date(2026, 1, 1), tag="S-None") == []


def test_moments_and_what_is_kept_as_json_come_as_from_the_query_set(asset, person, site):
    who, now = person("planner", site), datetime(2026, 3, 29, 1, 30, tzinfo=UTC)
    who.link_made_at = now
    who.save()
    asked = Statement(
        lambda: Role.objects.filter(person__link_made_at__lte=Given("now")).values_list("person__link_made_at", "name")
    )
    assert asked.rows(now=now) == [(now, "planner")]
    assert asked.rows(now=datetime(2026, 3, 29, 1, 29, tzinfo=UTC)) == []


def test_a_value_that_is_not_named_is_told(asset):
    asked = Statement(lambda: Asset.objects.filter(pk=Given("asset")).values_list("tag"))
    with pytest.raises(KeyError, match="asset"):
        asked.rows()
    assert asked.rows(asset=asset.pk) == [(asset.tag,)]


@pytest.mark.parametrize("count", [0, 1, 3])
def test_one_statement_serves_any_number_of_keys(asset, count):
    made = [Joint.objects.create(asset=asset, tag=f"K-{n}", kind="weld").pk for n in range(4)]
    asked = Statement(lambda: Joint.objects.filter(pk__one_of=Given("joints")).order_by("pk").values_list("pk"))
    of_assets = Statement(lambda: Joint.objects.filter(asset_id__one_of=Given("assets")).values_list("pk"))
    assert [pk for (pk,) in asked.rows(joints=made[:count])] == made[:count]
    assert {pk for (pk,) in of_assets.rows(assets=[asset.pk] * count)} == (set(made) if count else set())
