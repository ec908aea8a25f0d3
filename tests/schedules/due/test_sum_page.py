"""*The sum* as a page: the working, a trial that writes nothing, and wrong input beside its field."""

from __future__ import annotations

from datetime import date

import pytest

from schedules.models import DueDate, Rating

pytestmark = pytest.mark.django_db


@pytest.fixture
def sum_page(client, person, site, programme, steady_counter, spectrum, steel):
    made = programme(
        "MT", conditions="good", calendar_months=240, last_look_on=date(2026, 6, 1), last_look_total=15000.0
    )
    client.force_login(person("engineer", site))

    def get(**query):
        return client.get(f"/joints/{made.joint_id}/sum/", query)

    return get


def test_the_page_shows_the_working_with_sources_and_cautions(sum_page):
    text = sum_page().content.decode()
    for words in ("d = Σ n / N(Δσ)", "EN 1993-1-9:2005", "Critical depth", "from memory: to be confirmed", "licensed"):
        assert words in text


def test_a_trial_moves_the_date_and_writes_nothing(sum_page):
    text = sum_page(**{"try": 1, "stress_percent": 150}).content.decode()
    assert "On trial, nothing is saved" in text
    assert not DueDate.objects.exists()
    assert not Rating.objects.exists()


def test_wrong_input_is_named_beside_its_field_and_kept(sum_page):
    answer = sum_page(**{"try": 1, "wall_mm": "thick"})
    assert answer.status_code == 422
    assert "field-error" in answer.content.decode()
    assert 'value="thick"' in answer.content.decode()


def test_another_site_sees_nothing(client, person, other_site, weld_joint):
    client.force_login(person("engineer", other_site))
    assert client.get(f"/joints/{weld_joint.pk}/sum/").status_code == 404


def test_a_joint_without_programme_says_what_to_do(client, person, site, weld_joint):
    client.force_login(person("auditor", site))
    assert "Nothing to work out" in client.get(f"/joints/{weld_joint.pk}/sum/").content.decode()
