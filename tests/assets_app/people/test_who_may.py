"""The table of who may do what says what the deeds then do: for each person, certificates and authority heeded."""

from datetime import date

import pytest

from assets_app.models import Qualification
from assets_app.people import queries, rules, who_may
from assets_app.people.models import RoleName
from assets_app.refusals import NotAllowed

pytestmark = pytest.mark.django_db


def told(viewer, now):
    """Name of a column -> its cell, for each person at the viewer's site."""
    (one,) = queries.who_may_at(viewer, now)
    return {row["who"]: dict(row["cells"]) for row in one["rows"]}


def certify(who, **fields):
    period = {"issued_on": date(2026, 1, 1), "expires_on": date(2027, 1, 1)}
    return Qualification.objects.create(person=who, **(period | fields))


def test_every_deed_of_the_permission_table_stands_in_words():
    assert who_may.DEEDS.keys() == rules.MAY.keys()


@pytest.mark.parametrize("role", RoleName.values)
@pytest.mark.parametrize("authority", [False, True])
@pytest.mark.parametrize("certified", [False, True])
def test_the_table_agrees_with_what_a_deed_asks(role, authority, certified, person, site, now):
    who = person(role, site, authority=authority)
    Qualification.objects.filter(person=who, kind="engineer").delete()
    if certified:
        certify(who, kind="engineer")
    cells = told(who, now)[who]
    signed = {"Assesses findings": "finding.assess", "Puts work off": "deferral.sign", "Lifts holds": "hold.release"}
    for column, deed in signed.items():
        try:
            queries.require_signature(who, deed, site.pk, now)
            may = deed != "hold.release" or queries.is_release_authority(who, site.pk)
        except NotAllowed:
            may = False
        assert cells[column].may == may, (column, cells[column].words)
    for column, deed in {"Does work": "order.work", "Verifies": "order.verify", "Places holds": "hold.place"}.items():
        assert cells[column].may == rules.may(deed, [role])


def test_certificates_say_until_when_and_why_not(person, site, now):
    who = person("inspector", site)
    certify(who, kind="ndt", method="MT", level=2)
    certify(who, kind="ndt", method="UT", level=1)
    certify(who, kind="ndt", method="PT", level=2, issued_on=date(2020, 1, 1), expires_on=date(2026, 6, 14))
    certify(who, kind="welder", process="135", welding_position="PA PF")
    cells = told(who, now)[who]
    assert cells["Signs looks"].words == (
        "MT until 1 Jan 2027; bolt check; not PT: the PT certificate ran out on 14 Jun 2026; "
        "not UT: the UT certificate is level 1; signing needs level 2"
    )
    assert cells["Welds"] == who_may.Cell(True, "135 in PA PF until 1 Jul 2026"), (
        "six months, not the certificate's end"
    )


def test_a_technician_signs_bolt_checks_only_and_welds_nothing_without_a_certificate(person, site, now):
    who = person("technician", site)
    certify(who, kind="ndt", method="MT", level=2)
    cells = told(who, now)[who]
    assert cells["Signs looks"].words == "bolt check"
    assert cells["Welds"] == who_may.Cell(False, "no welder's certificate is on file")


def test_the_page_shows_every_site_of_mine_and_no_other_in_a_fixed_number_of_queries(
    client, person, site, other_site, django_assert_max_num_queries
):
    auditor, stranger = person("auditor", site), person("manager", other_site)
    for index in range(5):
        who = person("inspector", site)
        type(who).objects.filter(pk=who.pk).update(last_name=f"Number{index}")
        certify(who, kind="ndt", method="MT", level=2)
    client.force_login(auditor)
    with django_assert_max_num_queries(12):
        page = client.get("/people/").content.decode()
    assert all(f"Number{index}" in page for index in range(5))
    assert site.name in page
    assert f"/people/{stranger.pk}/" not in page
    assert other_site.name not in page


def test_who_cannot_sign_in_is_not_listed(person, site, now):
    viewer, gone = person("manager", site), person("engineer", site)
    gone.is_active = False
    gone.save()
    assert gone not in told(viewer, now)
