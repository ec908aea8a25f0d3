"""Marks on photos, and two dates of one position side by side."""

import io
import json
import re
from datetime import timedelta
from math import inf, nan

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from rest_framework.test import APIClient

from assets_app.inspections import marks_queries
from assets_app.inspections.actions import FindingInput, add_evidence
from assets_app.inspections.marks_actions import mark_photo, strike_mark
from assets_app.inspections.marks_rules import MOST_MARKS, Mark, check, overlay, position_words, words
from assets_app.models import Evidence, Finding, PhotoMark, RecordEntry
from assets_app.refusals import Conflict, NotAllowed, NotFound, Unprocessable

ARROW = {"shape": "arrow", "x": 0.4, "y": 0.5, "x2": 0.1, "y2": 0.2, "text": "crack ends here"}


@pytest.fixture(autouse=True)
def media(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path


def picture(colour="grey", size=(80, 60)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture
def photo(weld_joint, inspector, now) -> Evidence:
    return add_evidence(joint_id=weld_joint.pk, data=picture(), actor=inspector, now=now, caption="toe, seaward")


@pytest.fixture
def stranger(person, other_site):
    return person("engineer", other_site)


def code_of(call, kind=Unprocessable):
    with pytest.raises(kind) as refused:
        call()
    return refused.value.code, refused.value.field


# What a mark may be


@given(
    st.sampled_from(["arrow", "ring", "length", "text"]),
    *[st.floats(0, 1) for _ in range(4)],
    st.text(max_size=80).filter(str.strip),
    st.integers(1, 1600),
    st.integers(1, 1600),
)
def test_every_mark_that_passes_can_be_drawn_and_said(shape, x, y, x2, y2, text, width, height):
    text = "12 mm" if shape == "length" else text
    mark = Mark(shape, x, y, None if shape == "text" else x2, None if shape == "text" else y2, text)
    try:
        check(mark)
    except Unprocessable as refused:
        assert refused.code == "mark_too_small"  # noqa: PT017
        return
    svg = overlay([mark], width, height)
    assert svg.count("mark-edge") == svg.count("mark-line") >= 1
    assert "<script" not in svg


@pytest.mark.parametrize("value", [-0.01, 1.01, nan, inf, 1e300])
@pytest.mark.parametrize("field", ["x", "y", "x2", "y2"])
def test_a_mark_outside_the_photo_is_refused_naming_the_field(value, field):
    assert code_of(lambda: check(Mark(**{**ARROW, field: value}))) == ("mark_outside", field)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"shape": "star"}, ("mark_shape", "shape")),
        ({"x2": None}, ("mark_needs_end", "x2")),
        ({"shape": "ring", "y2": None}, ("mark_needs_end", "y2")),
        ({"x2": 0.4, "y2": 0.5}, ("mark_too_small", "x2")),
        ({"shape": "text", "text": "  "}, ("mark_needs_words", "text")),
        ({"text": "x" * 81}, ("mark_words_too_long", "text")),
        ({"shape": "length", "text": ""}, ("mark_needs_size", "text")),
        ({"shape": "length", "text": "12"}, ("mark_needs_size", "text")),
        ({"shape": "length", "text": "3/8"}, ("mark_needs_size", "text")),
        ({"shape": "length", "text": "0 mm"}, ("mark_needs_size", "text")),
        ({"shape": "length", "text": "12 mm", "x2": None}, ("mark_needs_end", "x2")),
    ],
)
def test_a_mark_that_shows_nothing_is_refused(change, code):
    assert code_of(lambda: check(Mark(**{**ARROW, **change}))) == code


@pytest.mark.parametrize("typed", ["12 mm", "3/8 in", '1 1/2"', "1.2cm"])
def test_a_length_keeps_the_size_as_typed(typed):
    length = Mark(**{**ARROW, "shape": "length", "text": typed})
    check(length)
    assert words([length]) == [
        f"Length from 40 % from the left, 50 % from the top, to 10 % from the left, 20 % from the top: {typed}, "
        "as measured at the steel"
    ]


def test_words_of_a_mark_are_escaped():
    svg = overlay([Mark("text", 0.1, 0.1, text='<script>alert("x")</script>')], 80, 60)
    assert "<script>" not in svg


# Putting marks on and striking them off


def test_a_mark_is_added_shown_and_recorded(photo, inspector, now):
    mark = mark_photo(evidence_id=photo.pk, actor=inspector, now=now, **ARROW)
    facts = RecordEntry.objects.get(deed="photo.marked").facts
    signed_as = {"roles": ["inspector"], "release_authority": False}
    assert facts == ARROW | {"photo": photo.pk, "sha256": photo.original_sha256, "signed_as": signed_as}
    assert list(marks_queries.marks_for(inspector)) == [mark]


def test_a_mark_struck_off_stays_on_file_and_is_no_longer_shown(photo, inspector, now):
    mark = mark_photo(evidence_id=photo.pk, actor=inspector, now=now, **ARROW)
    assert code_of(lambda: strike_mark(mark_id=mark.pk, reason=" ", actor=inspector, now=now))[1] == "reason"
    strike_mark(mark_id=mark.pk, reason="that is paint", actor=inspector, now=now)
    assert not marks_queries.marks_for(inspector).exists()
    assert PhotoMark.objects.get() == mark
    assert RecordEntry.objects.get(deed="photo.mark_struck").facts["reason"] == "that is paint"
    again = code_of(lambda: strike_mark(mark_id=mark.pk, reason="x", actor=inspector, now=now), Conflict)
    assert again[0] == "already_struck"


def test_a_photo_carries_only_so_many_marks(photo, inspector, now):
    for _ in range(MOST_MARKS):
        mark_photo(evidence_id=photo.pk, actor=inspector, now=now, **ARROW)
    code, _ = code_of(lambda: mark_photo(evidence_id=photo.pk, actor=inspector, now=now, **ARROW), Conflict)
    assert code == "too_many_marks"


@pytest.mark.parametrize("role", ["planner", "technician", "inspector", "engineer", "manager"])
def test_who_works_here_may_mark(role, photo, person, site, now):
    assert mark_photo(evidence_id=photo.pk, actor=person(role, site), now=now, **ARROW)


def test_an_auditor_may_not_and_a_stranger_sees_nothing(photo, inspector, person, site, stranger, now):
    with pytest.raises(NotAllowed):
        mark_photo(evidence_id=photo.pk, actor=person("auditor", site), now=now, **ARROW)
    with pytest.raises(NotFound):
        mark_photo(evidence_id=photo.pk, actor=stranger, now=now, **ARROW)
    mark = mark_photo(evidence_id=photo.pk, actor=inspector, now=now, **ARROW)
    with pytest.raises(NotFound):
        strike_mark(mark_id=mark.pk, reason="x", actor=stranger, now=now)
    assert PhotoMark.objects.count() == 1


def test_the_database_holds_marks_to_the_photo_behind_the_actions_back(photo, inspector, now):
    with pytest.raises(IntegrityError), transaction.atomic():
        PhotoMark.objects.create(evidence=photo, shape="arrow", x=1.5, y=0, by=inspector, at=now)
    with pytest.raises(IntegrityError), transaction.atomic():
        PhotoMark.objects.create(evidence=photo, shape="text", x=0.5, y=0, by=inspector, at=now)


# The same position on two dates


def test_a_position_is_said_as_people_say_it():
    nowhere = {"clock_deg": None, "position_mm": None, "bolts": []}
    assert position_words(place="toe", **(nowhere | {"clock_deg": 90})) == "toe, 3:00 o'clock"
    assert position_words(place="", **(nowhere | {"position_mm": 120.0})) == "120 mm from the datum end"
    assert position_words(place="", **(nowhere | {"bolts": [5, 4]})) == "bolt 4, 5"
    assert position_words(place="", **nowhere) == "the joint as a whole"


@pytest.fixture
def crack(look, weld_joint, inspector, now):
    """A crack photographed when it was found and a month later; a photo of the whole joint between."""
    look(FindingInput(kind="101", size="10 mm", place="toe", clock_deg=90.0))
    seen = Finding.objects.get()
    later = now + timedelta(days=30)
    for day, colour in ((now, "red"), (later, "blue")):
        add_evidence(
            joint_id=weld_joint.pk, finding_id=seen.pk, data=picture(colour), actor=inspector, now=day, caption=colour
        )
    add_evidence(joint_id=weld_joint.pk, data=picture("green"), actor=inspector, now=now)
    return seen


def test_photos_of_one_position_stand_side_by_side_with_dates_captions_and_marks(client, crack, inspector, now):
    red, blue = Evidence.objects.filter(finding=crack)
    mark_photo(evidence_id=blue.pk, actor=inspector, now=now, **ARROW)
    client.force_login(inspector)
    page = client.get(f"/joints/{crack.joint_id}/photos/")
    text = page.content.decode()
    assert [each["shown"].photo for each in page.context["pair"]] == [red, blue]
    assert page.context["position"].words == "toe, 3:00 o'clock"
    compared = text[text.index('class="compare"') : text.index("<h2>All photos")]
    assert re.findall(r'viewBox="([^"]+)"', compared) == ["0 0 1000 750"] * 2  # the same width
    for word in ("15 Jun 2026", "15 Jul 2026", "red", "blue", "crack ends here"):
        assert word in compared
    assert compared.count("mark-line") == 3  # shaft, head and words, on one of the two


def test_the_two_dates_can_be_chosen_and_what_is_of_elsewhere_falls_back(client, crack, inspector):
    red, blue = Evidence.objects.filter(finding=crack)
    whole = Evidence.objects.get(finding=None)
    client.force_login(inspector)
    address = f"/joints/{crack.joint_id}/photos/"
    swapped = client.get(address, {"position": "toe, 3:00 o'clock", "first": blue.pk, "second": red.pk})
    assert [each["shown"].photo for each in swapped.context["pair"]] == [blue, red]
    mixed = client.get(address, {"position": "toe, 3:00 o'clock", "first": whole.pk, "second": "x'--"})
    assert [each["shown"].photo for each in mixed.context["pair"]] == [red, blue]
    alone = client.get(address, {"position": "the joint as a whole"})
    assert "of one day" in alone.content.decode()


def test_a_photo_without_a_time_says_where_its_day_comes_from(photo):
    seen = marks_queries.shown(marks_queries.with_marks(Evidence.objects.all()).get())
    assert seen.day_from == "added; when it was taken is not known"


def test_a_joint_without_photos_says_so(client, weld_joint, inspector):
    client.force_login(inspector)
    assert "No photo of this joint" in client.get(f"/joints/{weld_joint.pk}/photos/").content.decode()


def test_the_page_marks_and_strikes(client, photo, inspector):
    client.force_login(inspector)
    address = f"/evidence/{photo.pk}/marks/"
    typed = {"shape": "ring", "x": "40", "y": "50", "x2": "55", "y2": "50", "text": "look"}
    assert client.post(address, typed).status_code == 302
    mark = PhotoMark.objects.get()
    assert (mark.x, mark.x2) == (0.4, 0.55)
    outside = client.post(address, typed | {"x": "140"})
    assert (outside.status_code, list(outside.context["form"].errors)) == (422, ["x"])
    no_end = client.post(address, typed | {"x2": ""})
    assert (no_end.status_code, list(no_end.context["form"].errors)) == (422, ["x2"])
    assert "Ring round 40 % from the left" in client.get(address).content.decode()
    assert client.post(f"/marks/{mark.pk}/strike/", {"reason": "\x00"}).status_code == 422
    assert client.post(f"/marks/{mark.pk}/strike/", {"reason": "paint"}).status_code == 302
    assert "No mark on it" in client.get(address).content.decode()


def test_another_sites_photos_and_marks_are_not_there(client, photo, inspector, stranger, now):
    mark = mark_photo(evidence_id=photo.pk, actor=inspector, now=now, **ARROW)
    client.force_login(stranger)
    assert client.get(f"/joints/{photo.joint_id}/photos/").status_code == 404
    assert client.get(f"/evidence/{photo.pk}/marks/").status_code == 404
    assert client.post(f"/marks/{mark.pk}/strike/", {"reason": "x"}).status_code == 404
    api = APIClient()
    api.force_authenticate(stranger)
    assert api.get(f"/api/v1/evidence/{photo.pk}/marks/").status_code == 404
    assert api.post(f"/api/v1/evidence/{photo.pk}/marks/", ARROW).status_code == 404
    assert api.post(f"/api/v1/marks/{mark.pk}/strike/", {"reason": "x"}).status_code == 404
    assert api.get(f"/api/v1/joints/{photo.joint_id}/photos/").status_code == 404


def test_a_photo_is_sent_with_its_marks_or_not_at_all(weld_joint, inspector):
    api = APIClient()
    api.force_authenticate(inspector)
    told = {"joint": weld_joint.pk, "photo": SimpleUploadedFile("a.jpg", picture()), "marks": json.dumps([ARROW])}
    sent = api.post("/api/v1/evidence/", told, format="multipart")
    assert sent.status_code == 201, sent.content
    assert PhotoMark.objects.get().evidence_id == sent.json()["id"]
    for marks in ('[{"shape": "arrow", "x": 0.5, "y": 0.5}]', '[{"x": 3}]', '{"a": 1}', "nonsense"):
        told |= {"photo": SimpleUploadedFile("b.jpg", picture("white")), "marks": marks}
        assert api.post("/api/v1/evidence/", told, format="multipart").status_code in (400, 422)
    assert (Evidence.objects.count(), PhotoMark.objects.count()) == (1, 1)


def test_the_api_marks_once_a_key_lists_strikes_and_gives_positions(photo, inspector):
    api = APIClient()
    api.force_authenticate(inspector)
    address = f"/api/v1/evidence/{photo.pk}/marks/"
    first = api.post(address, ARROW, headers={"Idempotency-Key": "k"})
    assert first.status_code == 201, first.data
    assert api.post(address, ARROW, headers={"Idempotency-Key": "k"}).data == first.data
    assert [row["text"] for row in api.get(address).data["results"]] == ["crack ends here"]
    (position,) = api.get(f"/api/v1/joints/{photo.joint_id}/photos/").data
    assert position["photos"][0]["marks"][0]["id"] == first.data["id"]
    bad = api.post(address, ARROW | {"x": 7})
    assert (bad.status_code, bad.data["code"], bad.data["field"]) == (422, "mark_outside", "x")
    assert api.post(f"/api/v1/marks/{first.data['id']}/strike/", {"reason": "paint"}).status_code == 200
    assert api.get(address).data["results"] == []
