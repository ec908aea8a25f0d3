"""Reads about looks and findings that pages, the API and the floor above share."""

from __future__ import annotations

from django.db.models import Case, IntegerField, Max, Prefetch, Q, QuerySet, Value, When

from assets_app.inspections.models import SEVERITY_ORDER, Assessment, Evidence, Finding, FindingSize, Inspection
from assets_app.people.models import Person
from assets_app.people.queries import sites_of
from assets_app.record.models import RecordEntry
from assets_app.refusals import NotFound

OPEN = (Finding.State.OPEN.value, Finding.State.ASSESSED.value)


def looks_that_count() -> QuerySet[Inspection]:
    """Looks that count as one: completed, and not corrected by a newer one."""
    return Inspection.objects.exclude(result=Inspection.Result.INCOMPLETE).filter(corrections=None)


def inspections_for(person: Person) -> QuerySet[Inspection]:
    return (
        Inspection.objects.filter(joint__asset__site__in=sites_of(person))
        .select_related("joint__asset__site", "inspector")
        .prefetch_related("findings__sizes", "evidence", "corrections")
    )


def findings_for(person: Person) -> QuerySet[Finding]:
    return (
        Finding.objects.filter(joint__asset__site__in=sites_of(person))
        .select_related("joint__asset__site", "inspection")
        .prefetch_related(with_sizes(), "evidence")
    )


def evidence_for(person: Person) -> QuerySet[Evidence]:
    return Evidence.objects.filter(joint__asset__site__in=sites_of(person)).select_related("added_by")


def assessments_for(person: Person) -> QuerySet[Assessment]:
    return Assessment.objects.filter(joint__asset__site__in=sites_of(person)).select_related("signed_by")


def finding_for(person: Person, finding_id: int) -> Finding:
    """One finding in the person's sight, or ``NotFound``."""
    found = findings_for(person).filter(pk=finding_id).first()
    if found is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return found


def inspection_for(person: Person, inspection_id: int) -> Inspection:
    """One look in the person's sight, corrected or not, or ``NotFound``."""
    found = inspections_for(person).filter(pk=inspection_id).first()
    if found is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return found


def joined_into(finding_id: int) -> int | None:
    """The finding found first that a closed one was said to be; None where it was not."""
    rows = RecordEntry.objects.filter(subject_kind="finding", subject_id=finding_id, deed="finding.joined")
    last = rows.order_by("-pk").first()
    return None if last is None else int(last.facts["same_as"])


def joined_to(finding_id: int) -> set[int]:
    """The findings that were said to be this one, and those that were said to be one of them before."""
    found: set[int] = set()
    ask = {finding_id}
    while ask:
        rows = RecordEntry.objects.filter(subject_kind="finding", subject_id__in=ask, deed="finding.extended")
        ask = {int(row.facts["joined"]) for row in rows if "joined" in row.facts} - found
        found |= ask
    return found


def photos_of(finding: Finding) -> QuerySet[Evidence]:
    """Photos of the finding, and those of the looks that saw it which were given to none of their findings; a look saw
    it too where what it found was joined to it."""
    looks = {finding.inspection_id, *finding.sizes.values_list("inspection", flat=True)}
    looks |= set(Finding.objects.filter(pk__in=joined_to(finding.pk)).values_list("inspection", flat=True))
    rows = Evidence.objects.filter(Q(finding=finding) | Q(finding=None, inspection__in=looks))
    return rows.select_related("joint__asset__site", "added_by").order_by("added_at", "pk")


def evidence_view(person: Person, evidence_id: int) -> Evidence:
    """One photo in the person's sight, or ``NotFound``."""
    found = evidence_for(person).filter(pk=evidence_id).first()
    if found is None:
        raise NotFound("not_found", "There is nothing here that you can see.")
    return found


def open_findings(joint_id: int) -> QuerySet[Finding]:
    """Open findings of a joint, the gravest first."""
    whens = [When(severity=name, then=Value(rank)) for name, rank in SEVERITY_ORDER.items()]
    rank = Case(*whens, output_field=IntegerField())
    return Finding.objects.filter(joint_id=joint_id, state__in=OPEN).annotate(rank=rank).order_by("-rank", "-pk")


def gravest_open(joint_ids: list[int]) -> dict[int, str]:
    """joint id -> gravest severity among its open findings; joints without any are left out."""
    whens = [When(severity=name, then=Value(rank)) for name, rank in SEVERITY_ORDER.items()]
    rank = Max(Case(*whens, output_field=IntegerField()))
    rows = Finding.objects.filter(joint_id__in=joint_ids, state__in=OPEN).values_list("joint_id").annotate(rank=rank)
    names = list(SEVERITY_ORDER)
    return {joint_id: names[rank] for joint_id, rank in rows.order_by()}


def sizes(finding: Finding) -> list[FindingSize]:
    """The series of sizes, oldest first; a size whose look was corrected is left out."""
    return list(standing_sizes().filter(finding=finding).select_related("inspection__inspector"))


def standing_sizes() -> QuerySet[FindingSize]:
    """Measured sizes, oldest first, without those whose look was corrected: the one home of what a size counts."""
    return FindingSize.objects.filter(inspection__corrections=None).order_by("measured_on", "pk")


def with_sizes() -> Prefetch:
    """For ``prefetch_related`` of findings: ``sizes`` holds those that stand."""
    return Prefetch("sizes", queryset=standing_sizes())
