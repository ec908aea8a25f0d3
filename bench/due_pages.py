"""P4: the due list at the fleet's size, as a page and through the API, beside the SQL that it cannot do without.

Three measures of each request, the best of several: ``bare``, the one statement that fetches 51 rows of due dates with
the tags of joint and asset; ``asked``, every statement that the request sends, sent again in the same order through
psycopg without the service; ``whole``, the request through Django's client, from session to the last byte. By then the
page's rows are kept as written (``planning.due_rows``); ``none_kept_s`` is the same page with every row written anew.

*The bare SQL* can be read in two ways, and both are held to the same goal: the one statement (P4, P4b, P4c), and all
the statements that the answer needs (P4e, P4f).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import django

django.setup()

from django.db import connection  # noqa: E402
from django.test import Client  # noqa: E402
from django.test.utils import CaptureQueriesContext, override_settings  # noqa: E402

from assets_app.models import Person, Site  # noqa: E402
from schedules.models import DueDate  # noqa: E402
from schedules.planning import due_rows  # noqa: E402

BARE = (
    "SELECT d.*, j.tag, a.tag FROM schedules_duedate d JOIN assets_app_joint j ON j.id = d.joint_id "
    "JOIN assets_app_asset a ON a.id = d.asset_id WHERE d.site_id = %s ORDER BY d.due_on, d.programme_id LIMIT 51"
)
FILTERS = {
    "any day": "weeks=0",
    "8 weeks": "weeks=8",
    "overdue": "overdue=1",
    "governed by damage": "weeks=0&governing=damage",
    "by MT": "weeks=0&method=MT",
    "unrated": "weeks=0&unrated=1",
    "unprotected": "weeks=0&unprotected=1",
    "asset tag": "weeks=0&asset=T-0000",
    "by asset": "weeks=0&sort=asset",
}
DEEP = 0.5  # a deep page starts after so much of the fleet
REPEATS = 15


# As in production: the settings of tests look for the files behind every address.
@override_settings(WHITENOISE_AUTOREFRESH=False, WHITENOISE_USE_FINDERS=False)
def rows_of(site: Site, small: Site) -> list[dict[str, Any]]:
    """The rows P4 to P4d for the largest fleet and a small one whose page shows as many assets."""
    client = Client(SERVER_NAME="localhost")
    client.force_login(Person.objects.get(username="bench"))
    joints, few = (DueDate.objects.filter(site=each).count() for each in (site, small))
    api, api_small = (Request(client, each, f"/api/v1/due-dates/?site={each.pk}") for each in (site, small))
    page, page_small = (Request(client, each, f"/due/?site={each.pk}&weeks=0") for each in (site, small))
    deep = Request(client, site, f"/due/?site={site.pk}&weeks=0&after={_deep_key(site, joints)}")
    filtered = {name: Request(client, site, f"/due/?site={site.pk}&{query}") for name, query in FILTERS.items()}
    sizes = {"joints": joints}
    api_sizes = {"bare_s": api.bare_s, "whole_s": api.whole_s, "asked_s": api.asked_s, "queries": api.queries}
    page_sizes = {
        "bare_s": page.bare_s,
        "whole_s": page.whole_s,
        "asked_s": page.asked_s,
        "queries": page.queries,
        "deep_page_s": deep.whole_s,
        "none_kept_s": _best(lambda: _with_no_row_kept(client, f"/due/?site={site.pk}&weeks=0"))[0],
    }
    by_filter = {name: round(each.whole_s, 4) for name, each in filtered.items()}
    in_database = {name: round(each.asked_s, 4) for name, each in filtered.items()} | {
        "deep page": round(deep.asked_s, 4)
    }
    growth = {"api": api.whole_s / api_small.whole_s, "page": page.whole_s / page_small.whole_s}
    growth |= {"api in the database": api.asked_s / api_small.asked_s}
    growth |= {"page in the database": page.asked_s / page_small.asked_s}
    smallest = {"joints_in_small": few, "bare_small_s": page_small.bare_s, "page_small_s": page_small.whole_s}
    told, all_told = "whole request, against the bare SQL", "whole request, against all its statements sent bare"
    return [
        _row("P4", f"due list through the API, {told}", api.whole_s / api.bare_s, 3, **sizes, **api_sizes),
        _row(
            "P4b",
            f"due list as a page, {told}",
            page.whole_s / page.bare_s,
            3,
            **sizes,
            **page_sizes,
            by_filter=by_filter,
        ),
        _row(
            "P4c",
            "due list as a page: time in the database of all that the request asks, against the bare SQL",
            page.asked_s / page.bare_s,
            3,
            **sizes,
            **page_sizes,
            by_filter=in_database,
        ),
        _row("P4e", f"due list through the API, {all_told}", api.whole_s / api.asked_s, 3, **sizes, **api_sizes),
        _row("P4f", f"due list as a page, {all_told}", page.whole_s / page.asked_s, 3, **sizes, **page_sizes),
        _row(
            "P4d",
            f"due list, page and API, {joints:,} joints against {few:,}: the worst growth of any of them",
            max(growth.values()),
            1.5,
            joints=joints,
            **smallest,
            growth={name: round(each, 3) for name, each in growth.items()},
        ),
    ]


class Request:
    """One address, measured: its statements, their time on their own, and the whole request's time, in turn with the
    bare SQL at the same site."""

    def __init__(self, client: Client, site: Site, url: str) -> None:
        def whole() -> None:
            answer = client.get(url)
            assert answer.status_code == 200, (url, answer.status_code)

        whole()
        with CaptureQueriesContext(connection) as captured:
            whole()
        self.statements = [each["sql"] for each in captured.captured_queries]
        self.queries = len(self.statements)
        self.bare_s, self.whole_s, self.asked_s = _best(lambda: _bare(site), whole, lambda: _send(self.statements))


def _with_no_row_kept(client: Client, url: str) -> None:
    due_rows._written.clear()
    client.get(url)


def _send(statements: list[str]) -> None:
    """As psycopg sends them, values written into the text as Django's own cursor does."""
    bare: Any = connection.connection
    with bare.cursor() as cursor:
        for sql in statements:
            cursor.execute(sql)
            cursor.fetchall()


def _bare(site: Site) -> None:
    with connection.cursor() as cursor:
        cursor.execute(BARE, [site.pk])
        cursor.fetchall()


def _deep_key(site: Site, joints: int) -> str:
    rows = DueDate.objects.filter(site=site, due_on__isnull=False).order_by("due_on", "programme_id")
    day, programme = rows.values_list("due_on", "programme_id")[int(joints * DEEP)]
    return f"{day.toordinal()}.{programme}"


def _best(*works: Callable[[], Any]) -> list[float]:
    """The least seconds of each; they take turns, so that all bear alike what else the machine does."""
    times: list[list[float]] = [[] for _ in works]
    for turn in range(REPEATS + 1):
        for place, work in enumerate(works):
            began = time.perf_counter()
            work()
            if turn:  # the first one warms
                times[place].append(time.perf_counter() - began)
    return [min(each) for each in times]


def _row(key: str, what: str, ratio: float, goal: float, **sizes: Any) -> dict[str, Any]:
    kept = {name: round(value, 4) if isinstance(value, float) else value for name, value in sizes.items()}
    return {"key": key, "what": what, "ratio": round(ratio, 3), "goal": goal, "better": "less", "sizes": kept}
