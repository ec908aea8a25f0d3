"""Reads of the register that pages and the API share; each limited to the person's sites."""

from __future__ import annotations

from typing import Any

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from assets_app.inspections.models import Finding
from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.refusals import NotFound
from assets_app.register.models import Asset, Joint, Member, RegisterImport, Site


def sites_in_sight(person: Person) -> QuerySet[Site]:
    return sites_of(person)


def assets_in_sight(person: Person) -> QuerySet[Asset]:
    return Asset.objects.filter(site__in=sites_of(person))


def members_in_sight(person: Person) -> QuerySet[Member]:
    return Member.objects.filter(asset__site__in=sites_of(person))


def joints_in_sight(person: Person) -> QuerySet[Joint]:
    rows = Joint.objects.filter(asset__site__in=sites_of(person))
    return rows.select_related("asset", "weld", "bolt_group", "member", "other_member")


def imports_in_sight(person: Person) -> QuerySet[RegisterImport]:
    return RegisterImport.objects.filter(site__in=sites_of(person)).select_related("site", "started_by")


def one(rows: QuerySet[Any], pk: int) -> Any:
    """The row, or ``NotFound``."""
    found = rows.filter(pk=pk).first()
    if found is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return found


def with_counts(assets: QuerySet[Asset]) -> QuerySet[Asset]:
    """Each asset with ``joint_count`` (active ones) and ``open_findings``."""
    joints = Joint.objects.filter(asset=OuterRef("pk"), active=True).order_by().values("asset")
    findings = _open().filter(joint__asset=OuterRef("pk")).order_by().values("joint__asset")
    return assets.annotate(
        joint_count=Coalesce(Subquery(joints.annotate(n=Count("pk")).values("n")), 0),
        open_findings=Coalesce(Subquery(findings.annotate(n=Count("pk")).values("n")), 0),
    )


def joints_with_findings(joints: QuerySet[Joint]) -> QuerySet[Joint]:
    """Each joint with ``open_findings``."""
    findings = _open().filter(joint=OuterRef("pk")).order_by().values("joint")
    return joints.annotate(open_findings=Coalesce(Subquery(findings.annotate(n=Count("pk")).values("n")), 0))


def _open() -> QuerySet[Finding]:
    return Finding.objects.filter(state__in=(Finding.State.OPEN, Finding.State.ASSESSED))
