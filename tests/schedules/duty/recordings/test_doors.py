"""Recordings by page, API and command."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from schedules.models import Recording
from tests.schedules.duty.recordings.samples import csv_of, form_of, ride


def test_a_recording_is_sent_counted_shown_and_used_on_its_pages(
    client, engineer, asset, counter, weld_joint, django_capture_on_commit_callbacks
):
    client.force_login(engineer)
    samples = ride()
    samples[5_000] += 400
    with django_capture_on_commit_callbacks(execute=True):
        sent = client.post(reverse("recordings", args=[asset.pk]), form_of(csv_of(samples)))
    recording = Recording.objects.get()
    assert sent.headers["Location"] == reverse("recording", args=[recording.pk])
    assert recording.state == "done"
    text = client.get(sent.headers["Location"]).content.decode()
    assert text.count("<svg") >= 4
    assert "1 sample stood off" in text
    assert "operating cycles" in text
    use = {"joints": [weld_joint.pk], "scale": "1", "kind": "direct", "bending_share": "0", "valid_from": "2026-06-15"}
    used = client.post(reverse("recording-use", args=[recording.pk]), use)
    assert used.status_code == 302
    assert weld_joint.spectra.get().status == "measured"
    assert "valid from 15 Jun 2026" in client.get(sent.headers["Location"]).content.decode()
    assert "gull.csv" in client.get(reverse("recordings", args=[asset.pk])).content.decode()


def test_a_refused_file_says_so_beside_the_field_and_keeps_what_was_typed(client, engineer, asset):
    client.force_login(engineer)
    page = client.post(reverse("recordings", args=[asset.pk]), form_of(csv_of(ride(500)), column="strain 9"))
    assert page.status_code == 422
    assert "There is no column" in page.content.decode()
    assert 'value="strain 9"' in page.content.decode()


def test_a_use_without_a_reason_for_its_factor_says_so_beside_the_field(client, engineer, counted, weld_joint):
    client.force_login(engineer)
    recording = counted(csv_of(ride(500)))
    use = {"joints": [weld_joint.pk], "scale": "2", "kind": "direct", "bending_share": "0", "valid_from": "2026-06-15"}
    page = client.post(reverse("recording-use", args=[recording.pk]), use)
    assert page.status_code == 422
    assert "Say where the factor comes from" in page.content.decode()


def test_while_it_is_counted_the_page_shows_how_far_and_asks_again(client, engineer, start):
    client.force_login(engineer)
    recording = start(csv_of(ride(500)))
    text = client.get(reverse("recording", args=[recording.pk])).content.decode()
    assert "<progress" in text
    assert "hx-trigger" in text


def test_others_read_recordings_and_strangers_see_none(client, person, site, other_site, counted, asset):
    recording = counted(csv_of(ride(500)))
    client.force_login(person("auditor", site))
    text = client.get(reverse("recording", args=[recording.pk])).content.decode()
    assert "Put it on the joints" not in text
    assert client.get(reverse("recordings", args=[asset.pk])).status_code == 200
    client.force_login(person("engineer", other_site))
    assert client.get(reverse("recording", args=[recording.pk])).status_code == 404
    assert client.get(reverse("recordings", args=[asset.pk])).status_code == 404


def test_the_api_takes_counts_shows_and_uses_a_recording_once(
    client, engineer, person, other_site, asset, weld_joint, django_capture_on_commit_callbacks
):
    client.force_login(engineer)
    content = csv_of(ride(500))
    head = {"HTTP_IDEMPOTENCY_KEY": "one"}
    with django_capture_on_commit_callbacks(execute=True):
        for _ in range(2):
            sent = client.post("/api/v1/recordings/", form_of(content, asset=asset.pk), **head)
            assert sent.status_code == 201
    recording = Recording.objects.get()
    body = client.get(f"/api/v1/recordings/{recording.pk}/").json()
    assert body["state"] == "done"
    assert body["histogram"] == recording.histogram
    assert "histogram" not in client.get("/api/v1/recordings/", {"asset": asset.pk}).json()["results"][0]
    use = {"joints": [weld_joint.pk], "valid_from": "2026-06-15"}
    used = client.post(f"/api/v1/recordings/{recording.pk}/use/", use, content_type="application/json")
    assert used.json() == {"spectra": [weld_joint.spectra.get().pk]}
    client.force_login(person("engineer", other_site))
    assert client.get(f"/api/v1/recordings/{recording.pk}/").status_code == 404


def test_the_command_counts_a_file_and_says_what_it_comes_to(asset, engineer, tmp_path, capsys):
    file = tmp_path / "gull.csv"
    file.write_bytes(csv_of(ride()))
    given = {"asset": asset.tag, "unit": "mpa", "covers": 40, "person": engineer.username}
    call_command("read_recording", str(file), **given)
    out = capsys.readouterr().out
    assert "20\u202f000 samples" in out
    assert "range, MPa" in out
    with pytest.raises(CommandError, match="no column"):
        call_command("read_recording", str(file), column="x", **given)
