"""An engineer signs while a certificate runs; lapsed, not yet valid or none at all is refused with who could."""

from datetime import date, timedelta

import pytest

from assets_app.inspections.finding_actions import close_finding, lower_severity, sign_assessment
from assets_app.inspections.inputs import FindingInput
from assets_app.models import Finding, Qualification, RecordEntry
from assets_app.refusals import NotAllowed

pytestmark = pytest.mark.django_db


@pytest.fixture
def finding(look) -> Finding:
    return look(FindingInput(kind="5011", size="0.9 mm", length="35 mm", place="toe")).findings.get()


def sign(finding, actor, now):
    end = now.date() + timedelta(days=60)
    return sign_assessment(
        finding_id=finding.pk, severity=finding.severity, ends_on=end, reason="calculated", actor=actor, now=now
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"expires_on": date(2026, 6, 14)}, "ran out on 14 Jun 2026"),
        ({"issued_on": date(2026, 6, 16)}, "only issued on 16 Jun 2026"),
        ({"kind": "ndt", "method": "RT"}, "no engineer's certificate is on file"),
    ],
)
def test_an_engineer_without_a_running_certificate_signs_nothing(finding, engineer, person, site, now, changes, words):
    other = person("engineer", site)
    Qualification.objects.filter(person=engineer, kind="engineer").update(**changes)
    before = RecordEntry.objects.count()
    for deed in (
        lambda: sign(finding, engineer, now),
        lambda: lower_severity(finding_id=finding.pk, severity="watch", reason="x", actor=engineer, now=now),
    ):
        with pytest.raises(NotAllowed) as refused:
            deed()
        assert refused.value.code == "engineer_not_certified"
        assert words in refused.value.message
        assert refused.value.data["who_could"] == [other.display_name]
    assert RecordEntry.objects.count() == before


def test_the_last_day_of_the_certificate_still_counts(finding, engineer, now):
    Qualification.objects.filter(person=engineer, kind="engineer").update(expires_on=date(2026, 6, 15))
    assert sign(finding, engineer, now).signed_by == engineer


def test_nor_closes_what_only_an_engineer_may(look, engineer, now):
    crack = look(FindingInput(kind="100", size="12mm", place="toe")).findings.get()
    Qualification.objects.filter(person=engineer, kind="engineer").delete()
    with pytest.raises(NotAllowed) as refused:
        close_finding(finding_id=crack.pk, reason="paint", actor=engineer, now=now)
    assert refused.value.code == "engineer_not_certified"
    assert "Nobody at this site could today" in refused.value.message
