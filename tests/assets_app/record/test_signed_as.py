"""An entry holds the roles that its signer held, under its hash; entries from before hold none and stay whole."""

import json
import subprocess
import sys

import pytest
from django.core.management import call_command
from django.db import connection, transaction

from assets_app.models import RecordEntry, Role
from assets_app.record import actions, triggers, verifier, verify

pytestmark = pytest.mark.django_db


def write(site, subject, actor, now) -> RecordEntry:
    with transaction.atomic():
        return actions.append(
            site_id=site.pk, deed="hold.released", actor=actor, subject=subject, content={"reason": "mended"}, now=now
        )


def test_the_role_of_that_moment_stays_when_the_person_has_another_one_later(site, other_site, weld_joint, person, now):
    who = person("manager", site, authority=True)
    Role.objects.create(person=who, site=other_site, name="inspector")
    entry = write(site, weld_joint, who, now)
    Role.objects.all().delete()
    Role.objects.create(person=who, site=site, name="technician")
    entry.refresh_from_db()
    assert entry.signed_as == "manager, release authority"
    assert entry.facts["signed_as"] == {"roles": ["manager"], "release_authority": True}


def test_the_service_signs_as_the_service(site, weld_joint, now):
    assert write(site, weld_joint, None, now).signed_as == "the service"


def test_a_role_made_higher_afterwards_breaks_the_hash(site, weld_joint, person, now):
    entry = write(site, weld_joint, person("technician", site), now)
    triggers.lift(connection)
    forged = entry.content.replace("technician", "engineer")
    assert forged != entry.content
    RecordEntry.objects.filter(pk=entry.pk).update(content=forged)
    assert verify.chain(site).sequence == entry.sequence


def test_an_entry_from_before_roles_were_written_says_so_and_both_verifiers_find_the_chain_whole(
    site, weld_joint, person, now, monkeypatch, tmp_path
):
    who = person("engineer", site)
    with monkeypatch.context() as before:
        before.setattr(actions, "_signed_as", lambda actor, site_id: {})
        old = write(site, weld_joint, who, now)
    new = write(site, weld_joint, who, now)
    assert (old.signed_as, new.signed_as) == ("not in the record", "engineer")
    assert verify.chain(site).whole
    path = tmp_path / "record.jsonl"
    call_command("export_record", site=site.slug, to=str(path))
    assert json.loads(path.read_text().splitlines()[1])["hash"] == old.hash
    alone = subprocess.run([sys.executable, "-I", verifier.__file__, str(path)], capture_output=True, check=False)
    assert alone.returncode == 0
