"""Roles and certificates: given by a manager of the site, never to oneself, always recorded."""

from datetime import date

import pytest

from assets_app.models import Qualification, RecordEntry, Role
from assets_app.people import queries
from assets_app.people.actions import (
    add_qualification,
    confirm_continuity,
    grant_role,
    take_role,
    withdraw_qualification,
)
from assets_app.record.sentences import sentence
from assets_app.refusals import Conflict, NotAllowed, NotFound, Refused, Unprocessable

MT = {"kind": "ndt", "method": "MT", "level": 2, "issued_on": date(2024, 1, 1), "expires_on": date(2029, 1, 1)}
WELDER = {"kind": "welder", "process": "135", "issued_on": date(2025, 1, 1), "expires_on": date(2028, 1, 1)}


@pytest.fixture
def qualify(site, fitter, manager, now):
    def make(**more):
        return add_qualification(**{"site_id": site.pk, "person_id": fitter.pk, "actor": manager, "now": now, **more})

    return make


def test_a_certificate_goes_on_file_and_into_the_record(qualify, fitter, site, now):
    row = qualify(**MT, certificate="LP-77")
    assert row.person == fitter
    facts = RecordEntry.objects.get(deed="qualification.added").facts
    assert (facts["method"], facts["certificate"], facts["expires_on"]) == ("MT", "LP-77", "2029-01-01")


@pytest.mark.parametrize("role", ["planner", "technician", "inspector", "engineer", "auditor"])
def test_only_a_manager_changes_people(qualify, person, site, fitter, now, role):
    actor = person(role, site)
    with pytest.raises(NotAllowed):
        qualify(**MT, actor=actor)
    with pytest.raises(NotAllowed):
        grant_role(site_id=site.pk, person_id=fitter.pk, name="engineer", actor=actor, now=now)
    assert RecordEntry.objects.count() == 0


def test_nobody_gives_anything_to_themselves(qualify, manager, site, now):
    with pytest.raises(NotAllowed) as refusal:
        qualify(**MT, person_id=manager.pk)
    assert refusal.value.code == "not_for_oneself"
    for change in (grant_role, take_role):
        with pytest.raises(NotAllowed):
            change(site_id=site.pk, person_id=manager.pk, name="manager", actor=manager, now=now)


def test_a_manager_reaches_the_people_of_the_own_site_only(qualify, person, other_site, site, manager, now):
    with pytest.raises(NotFound):
        qualify(**MT, person_id=person("technician", other_site).pk)
    with pytest.raises(NotFound):
        qualify(**MT, site_id=other_site.pk)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"kind": "pilot"}, "unknown_kind"),
        ({"method": ""}, "method_needed"),
        ({"method": "mt"}, "unknown_method"),
        ({"method": "BC"}, "unknown_method"),
        ({"level": 4}, "level_needed"),
        ({"level": None}, "level_needed"),
        ({"expires_on": date(2024, 1, 1)}, "ends_before_it_begins"),
        ({"kind": "welder"}, "process_needed"),
        ({"kind": "welder", "process": "135", "welding_position": "PA 6G"}, "unknown_position"),
    ],
)
def test_a_certificate_that_says_too_little_is_refused(qualify, change, code):
    with pytest.raises(Unprocessable) as refusal:
        qualify(**{**MT, **change})
    assert refusal.value.code == code


def test_a_withdrawn_certificate_stays_on_file_with_its_new_end(qualify, site, manager, now):
    row = qualify(**MT)
    facts = {"site_id": site.pk, "qualification_id": row.pk, "actor": manager, "now": now}
    withdraw_qualification(ends_on=date(2026, 6, 1), reason="eyesight", **facts)
    assert Qualification.objects.get().expires_on == date(2026, 6, 1)
    with pytest.raises(Unprocessable):
        withdraw_qualification(ends_on=date(2027, 6, 1), reason="longer", **facts)
    assert RecordEntry.objects.get(deed="qualification.withdrawn").facts["reason"] == "eyesight"


def test_a_certificate_ends_at_every_site_of_the_person_and_each_record_says_so(
    qualify, fitter, person, site, other_site, now
):
    Role.objects.create(person=fitter, site=other_site, name="inspector")
    row, other = qualify(**MT), person("manager", other_site)
    facts = {"site_id": other_site.pk, "qualification_id": row.pk, "ends_on": date(2026, 6, 1), "now": now}
    with pytest.raises(NotAllowed):
        withdraw_qualification(reason="eyesight", actor=person("planner", other_site), **facts)
    withdraw_qualification(reason="eyesight", actor=other, **facts)  # by the manager of the other site
    for deed, elsewhere in (("qualification.added", other_site), ("qualification.withdrawn", site)):
        told = {entry.site_id: entry.facts for entry in RecordEntry.objects.filter(deed=deed)}
        assert set(told) == {site.pk, other_site.pk}
        assert {pk for pk, facts in told.items() if facts.get("by_another_site")} == {elsewhere.pk}
    said = sentence(deed, told[site.pk])
    assert "eyesight (as manager of another site where they work)" in said
    assert other_site.name not in str(told[site.pk]), "whether there is such a site is not told here"


def test_the_same_certificate_is_put_on_file_once_unless_it_was_ended(qualify, site, manager, now):
    row = qualify(**MT, certificate="LP-77")
    with pytest.raises(Conflict) as refused:
        qualify(**MT, certificate="LP-77")
    assert (refused.value.code, refused.value.data["qualification"]) == ("certificate_on_file", row.pk)
    qualify(**{**MT, "issued_on": date(2026, 1, 1)}, certificate="LP-77")  # renewed
    facts = {"site_id": site.pk, "qualification_id": row.pk, "actor": manager, "now": now}
    withdraw_qualification(ends_on=date(2026, 6, 1), reason="the wrong last day was typed", **facts)
    qualify(**{**MT, "expires_on": date(2029, 6, 1)}, certificate="LP-77")


def test_a_welders_use_is_confirmed_forwards_only(qualify, site, manager, now):
    row = qualify(**WELDER)
    facts = {"site_id": site.pk, "qualification_id": row.pk, "actor": manager, "now": now}
    confirm_continuity(used_on=date(2026, 6, 1), **facts)
    with pytest.raises(Conflict) as refused:
        confirm_continuity(used_on=date(2026, 5, 1), **facts)
    assert refused.value.data["by"] == manager.display_name
    with pytest.raises(Unprocessable):
        confirm_continuity(used_on=date(2026, 6, 16), **facts)
    assert Qualification.objects.get().last_used_on == date(2026, 6, 1)


def test_continuity_is_a_welders(qualify, site, manager, now):
    row = qualify(**MT)
    with pytest.raises(Refused) as refusal:
        confirm_continuity(site_id=site.pk, qualification_id=row.pk, used_on=date(2026, 6, 1), actor=manager, now=now)
    assert refusal.value.code == "not_a_welder"


def test_a_role_is_given_and_taken_and_both_are_recorded(site, fitter, manager, now):
    facts = {"site_id": site.pk, "person_id": fitter.pk, "name": "inspector", "actor": manager, "now": now}
    grant_role(release_authority=True, **facts)
    assert queries.roles_at(fitter, site.pk) == {"technician", "inspector"}
    take_role(**facts)
    assert Role.objects.filter(person=fitter).count() == 1
    with pytest.raises(NotFound):
        take_role(**facts)
    assert list(RecordEntry.objects.values_list("deed", flat=True)) == ["role.granted", "role.taken"]


def test_a_new_site_is_told_what_somebody_holds_already_and_no_other_sites_name(
    qualify, fitter, person, other_site, now
):
    qualify(**MT, certificate="LP-77")
    qualify(**{**MT, "method": "PT", "expires_on": date(2026, 6, 14)}, certificate="LP-78")  # ran out yesterday
    facts = {"site_id": other_site.pk, "person_id": fitter.pk, "actor": person("manager", other_site), "now": now}
    grant_role(name="inspector", **facts)
    grant_role(name="technician", **facts)  # not the first one
    told = RecordEntry.objects.filter(site=other_site).order_by("sequence")
    assert [entry.deed for entry in told] == ["role.granted", "qualification.noted", "role.granted"]
    assert told[1].facts["certificate"] == "LP-77"
    assert "Pier" not in told[1].content


def test_who_could_are_the_people_with_role_and_certificate(person, site, other_site, now):
    names = []
    for role, method, place in (
        ("inspector", "UT", site),
        ("technician", "UT", site),
        ("engineer", "MT", site),
        ("engineer", "UT", other_site),
    ):
        who = person(role, place)
        Qualification.objects.create(person=who, **{**MT, "method": method})
        names.append(who)
    assert queries.qualified_for("UT", site.pk, now.date()) == [names[0]]
    assert set(queries.qualified_for("BC", site.pk, now.date())) == set(names[:3])
