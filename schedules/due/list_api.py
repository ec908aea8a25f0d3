"""The list of due dates through the API: plain rows from one statement, pages by key that end in the undated ones."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import django_filters
from django import forms
from django.db.models import Q, QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from assets_app.doors.kept import Kept
from assets_app.doors.paging import KeyPages
from assets_app.inspections.models import Method
from assets_app.people import queries as people
from assets_app.statements import Given, Statement
from schedules.due.list_queries import first_of_sites
from schedules.due.models import DueDate, Limit
from schedules.due.rules import LIMITS


class DueDateOut(serializers.ModelSerializer):
    """A due date with each limit's own day; ``/due-dates/{programme}/`` explains it."""

    programme = serializers.IntegerField(source="programme_id")
    joint_tag = serializers.CharField(source="joint.tag")
    asset_tag = serializers.CharField(source="asset.tag")
    limits = serializers.SerializerMethodField(help_text="limit -> day")

    class Meta:
        model = DueDate
        fields = (
            "programme joint joint_tag asset asset_tag site method due_on middle_on governing next_limit next_on "
            "limits unrated unprotected damage_now count_now reading_on computed_on changed_at code_version"
        ).split()

    def get_limits(self, row: DueDate) -> dict[str, str | None]:
        raise NotImplementedError("this describes the rows; DueDateList writes them from plain values")


_SOURCES = {
    "programme": "programme_id",
    "joint": "joint_id",
    "joint_tag": "joint__tag",
    "asset": "asset_id",
    "asset_tag": "asset__tag",
    "site": "site_id",
}
_NAMES = [name for name in DueDateOut.Meta.fields if name != "limits"]
_COLUMNS = [_SOURCES.get(name, name) for name in _NAMES] + [limit.replace(" ", "_") + "_on" for limit in LIMITS]


def written(row: tuple[Any, ...]) -> dict[str, Any]:
    """One row as ``DueDateOut`` describes it; the renderer writes its days."""
    return dict(zip(_NAMES, row, strict=False)) | {"limits": dict(zip(LIMITS, row[len(_NAMES) :], strict=True))}


@extend_schema_field(OpenApiTypes.INT)
class KeyFilter(django_filters.NumberFilter):
    """A key. One that is not in sight finds nothing: it is not told from one that does not exist."""

    field_class = forms.IntegerField


class DueDateFilter(django_filters.FilterSet):
    due_before = django_filters.DateFilter(field_name="due_on", lookup_expr="lte")
    due_after = django_filters.DateFilter(field_name="due_on", lookup_expr="gte")
    governing = django_filters.ChoiceFilter(choices=Limit.choices)
    method = django_filters.ChoiceFilter(choices=Method.choices)
    site = KeyFilter(field_name="site_id")
    asset = KeyFilter(field_name="asset_id")
    joint = KeyFilter(field_name="joint_id")

    class Meta:
        model = DueDate
        fields = ["unrated", "unprotected"]


class DayKeyPages(KeyPages):
    """Pages by day and programme, undated rows last; a page starts beside the last row of its neighbour.

    The cursor is ``a`` (after) or ``b`` (before) and the row's key: ``a739417.12``, or ``au.12`` for an undated row.
    """

    def pages(self, rows: QuerySet[DueDate] | None, sites: list[int], request: Request) -> list[tuple[Any, ...]]:
        """The rows of the page asked for, as values of ``_COLUMNS``; ``sites`` are those in sight and asked for.

        ``rows`` are the filtered ones; None where no filter was named.
        """
        self.size = self.get_page_size(request)
        self.base_url = request.build_absolute_uri()
        back, key = _read(request.query_params.get(self.cursor_query_param, ""))
        wanted = self.size + 1
        found: list[tuple[Any, ...]] = []
        for piece in _pieces(key, back=back):
            found += _first_of(piece, rows, sites, key or (None, 0), wanted - len(found))
            if len(found) >= wanted:
                break
        more, found = len(found) > self.size, found[: self.size]
        if back:
            found.reverse()
        self.before = _key(found[0]) if found and (more if back else key is not None) else ""
        self.after = _key(found[-1]) if found and (key is not None if back else more) else ""
        return found

    def get_next_link(self) -> str | None:
        return replace_query_param(self.base_url, self.cursor_query_param, "a" + self.after) if self.after else None

    def get_previous_link(self) -> str | None:
        return replace_query_param(self.base_url, self.cursor_query_param, "b" + self.before) if self.before else None


_DAY, _PROGRAMME = _NAMES.index("due_on"), _NAMES.index("programme")


def _key(row: tuple[Any, ...]) -> str:
    day = row[_DAY]
    return f"{day.toordinal() if day else 'u'}.{row[_PROGRAMME]}"


def _read(cursor: str) -> tuple[bool, tuple[date | None, int] | None]:
    """Whether backwards, and the key of the neighbour. ``NotFound`` where no row can have such a key."""
    if not cursor:
        return False, None
    try:
        day, programme = cursor[1:].split(".")
        if cursor[0] not in "ab" or not 0 < int(programme) < 2**63:
            raise ValueError(cursor)
        return cursor[0] == "b", (None if day == "u" else date.fromordinal(int(day)), int(programme))
    except (ValueError, OverflowError):
        raise NotFound(KeyPages.invalid_cursor_message) from None


Piece = Callable[[QuerySet[DueDate], Any, Any], QuerySet[DueDate]]  # of some rows those beyond a day and programme


def _dated(rows: QuerySet[DueDate], day: Any, programme: Any) -> QuerySet[DueDate]:
    return rows.filter(due_on__isnull=False).order_by("due_on", "programme_id")


def _dated_after(rows: QuerySet[DueDate], day: Any, programme: Any) -> QuerySet[DueDate]:
    return _dated(rows, day, programme).filter(Q(due_on__gt=day) | Q(programme_id__gt=programme), due_on__gte=day)


def _undated(rows: QuerySet[DueDate], day: Any, programme: Any) -> QuerySet[DueDate]:
    return rows.filter(due_on__isnull=True).order_by("programme_id")


def _undated_after(rows: QuerySet[DueDate], day: Any, programme: Any) -> QuerySet[DueDate]:
    return _undated(rows, day, programme).filter(programme_id__gt=programme)


def _undated_before(rows: QuerySet[DueDate], day: Any, programme: Any) -> QuerySet[DueDate]:
    return rows.filter(due_on__isnull=True, programme_id__lt=programme).order_by("-programme_id")


def _dated_from_the_end(rows: QuerySet[DueDate], day: Any, programme: Any) -> QuerySet[DueDate]:
    return rows.filter(due_on__isnull=False).order_by("-due_on", "-programme_id")


def _dated_before(rows: QuerySet[DueDate], day: Any, programme: Any) -> QuerySet[DueDate]:
    before = Q(due_on__lt=day) | Q(programme_id__lt=programme)
    return _dated_from_the_end(rows, day, programme).filter(before, due_on__lte=day)


def _pieces(key: tuple[date | None, int] | None, *, back: bool) -> tuple[Piece, ...]:
    """The rows beyond the key piece by piece, each in the order of an index: the dated ones and the undated ones."""
    dated = key is not None and key[0] is not None
    if back:
        return (_dated_before,) if dated else (_undated_before, _dated_from_the_end)
    if dated:
        return (_dated_after, _undated)
    return (_dated, _undated) if key is None else (_undated_after,)


_statements: Kept[Statement] = Kept(64)  # of one site and no filter: by piece and size


def _first_of(
    piece: Piece, rows: QuerySet[DueDate] | None, sites: list[int], key: tuple[date | None, int], size: int
) -> list[tuple[Any, ...]]:
    """The first rows of a piece. What is asked most often, one site without a filter, has a statement made once."""
    day, programme = key
    if rows is not None or len(sites) != 1:
        asked = piece(DueDate.objects.all() if rows is None else rows, day, programme)
        return list(first_of_sites(asked, sites, size).values_list(*_COLUMNS))

    def make() -> Statement:
        given = piece(DueDate.objects.all(), Given("day"), Given("programme"))
        return Statement(lambda: first_of_sites(given, [Given("site")], size).values_list(*_COLUMNS))

    return _statements.of((piece, size), make).rows(site=sites[0], day=day, programme=programme)


# The site is sought by where the rows are looked for; making the filters' form costs as much as the rows.
_NEEDS_NO_FILTER = {"site", DayKeyPages.cursor_query_param, DayKeyPages.page_size_query_param}


class DueDateList(generics.GenericAPIView):
    """Due dates, the earliest first; looks without a date come last."""

    serializer_class = DueDateOut
    filterset_class = DueDateFilter
    pagination_class = DayKeyPages
    queryset = DueDate.objects.all()

    @extend_schema(responses=DueDateOut(many=True))
    def get(self, request: Request) -> Response:
        """Due dates, the earliest first; looks without a date come last."""
        rows, told = None, request.query_params.get("site", "")
        if not (_NEEDS_NO_FILTER.issuperset(request.query_params) and told.isascii() and told.isdigit()):
            rows = self.filter_queryset(DueDate.objects.all())  # also refuses a site that is no number
        asked = forms.IntegerField(required=False).clean(told)
        sites = [pk for pk in people.site_ids_of(request.user) if asked in (None, pk)]
        page = self.paginator.pages(rows, sites, request)
        return self.get_paginated_response([written(row) for row in page])
