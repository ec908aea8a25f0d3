"""The chain: every alteration behind the app's back is found, by the command and by the stand-alone verifier."""

import json
import random
import subprocess
import sys
from collections import Counter as Tally
from datetime import timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.urls import reverse

from assets_app.models import RecordChain, RecordEntry
from assets_app.record import actions, triggers, verifier, verify
from assets_app.record.rules import HASHED, canonical, entry_hash

ENTRIES = 12


@pytest.fixture
def chained(site, asset, weld_joint, person, now):
    """A chain of some entries on the site; returns the site."""
    who = person("inspector", site)
    for number in range(ENTRIES):
        with transaction.atomic():
            actions.append(
                site_id=site.pk,
                deed="inspection.recorded" if number % 2 else "finding.raised",
                actor=who if number % 3 else None,
                subject=weld_joint,
                content={"note": f"look {number}", "crack_mm": 1.5 + number, "words": "Ölfleck\n2. Zeile"},
                now=now + timedelta(minutes=number),
                asset_id=asset.pk,
                joint_id=weld_joint.pk if number % 4 else None,
            )
    return site


def raw(sql: str, *values) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


def update(entry: RecordEntry, **columns) -> None:
    """Straight in the table."""
    said = ", ".join(f"{name} = %s" for name in columns)
    raw(f"UPDATE {RecordEntry._meta.db_table} SET {said} WHERE id = %s", *columns.values(), entry.pk)


def alter_column(dice: random.Random, entry: RecordEntry) -> None:
    column = dice.choice(["deed", "actor_name", "subject_kind", "subject_id", "sequence", "previous_hash", "hash"])
    old = getattr(entry, column)
    update(
        entry,
        **{column: old + dice.choice([1, 7]) * 1000 if isinstance(old, int) else f"{old[:-1]}{dice.choice('§¶')}"},
    )


def alter_content(dice: random.Random, entry: RecordEntry) -> None:
    at = dice.randrange(len(entry.content))
    other = "x" if entry.content[at] != "x" else "y"
    update(entry, content=entry.content[:at] + other + entry.content[at + 1 :])


def alter_role(dice: random.Random, entry: RecordEntry) -> None:
    content = entry.facts
    content["signed_as"] = {"roles": ["engineer"], "release_authority": dice.random() < 0.5}
    update(entry, content=canonical(content))


def rehash(dice: random.Random, entry: RecordEntry) -> None:
    """A forger who knows how the hash is made, but not that the next entry, or the head, binds it."""
    entry.content = entry.content.replace("look", dice.choice(["lock", "lack"]))
    update(entry, content=entry.content, hash=entry_hash(entry.hashed_fields()))


def remove(dice: random.Random, entry: RecordEntry) -> None:
    raw(f"DELETE FROM {RecordEntry._meta.db_table} WHERE id = %s", entry.pk)


def cut_tail(dice: random.Random, entry: RecordEntry) -> None:
    raw(f"DELETE FROM {RecordEntry._meta.db_table} WHERE sequence >= %s", entry.sequence)


def cut_tail_and_head(dice: random.Random, entry: RecordEntry) -> None:
    """The head counts one less as well, but still names the last hash."""
    raw(f"DELETE FROM {RecordEntry._meta.db_table} WHERE sequence >= %s", entry.sequence)
    RecordChain.objects.update(head_sequence=entry.sequence - 1)


def swap(dice: random.Random, entry: RecordEntry) -> None:
    other = dice.choice(list(RecordEntry.objects.exclude(pk=entry.pk)))
    update(entry, sequence=10**6)
    update(other, sequence=entry.sequence)
    update(entry, sequence=other.sequence)


def insert(dice: random.Random, entry: RecordEntry) -> None:
    """An invented entry with a right hash and the right predecessor; those after it are numbered on."""
    for later in RecordEntry.objects.filter(sequence__gt=entry.sequence).order_by("-sequence"):
        update(later, sequence=later.sequence + 1)
    RecordChain.objects.update(head_sequence=ENTRIES + 1)
    entry.previous_hash, entry.pk, entry.sequence = entry.hash, None, entry.sequence + 1
    entry.hash = entry_hash(entry.hashed_fields())
    entry.save(force_insert=True)


def add_behind_the_head(dice: random.Random, entry: RecordEntry) -> None:
    entry.pk, entry.sequence = None, ENTRIES + 1
    entry.save(force_insert=True)


def move_head(dice: random.Random, entry: RecordEntry) -> None:
    RecordChain.objects.update(
        **dice.choice([{"head_sequence": entry.sequence - 1}, {"head_hash": entry.hash[::-1]}, {"head_sequence": 99}])
    )


ALTERATIONS = [
    *(alter_column, alter_content, alter_role, rehash, remove, cut_tail, cut_tail_and_head, swap, insert),
    *(add_behind_the_head, move_head),
]


def found_in_the_file(site) -> bool:
    """Whether the stand-alone verifier finds a break in what the app exports now."""
    ((head, entries),) = verifier.chains(verify.export_lines(site))
    return verifier.first_break(entries, head_sequence=head["head_sequence"], head_hash=head["head_hash"]) is not None


def test_hundreds_of_random_alterations_behind_the_apps_back_are_all_found_here_and_in_the_exported_file(chained):
    """On SQLite each kind at each entry some three times; on PostgreSQL, where hashing is the same, each kind."""
    triggers.lift(connection)
    tries = 400 if connection.vendor == "sqlite" else 150
    missed, seen = [], Tally()
    for seed in range(tries):
        dice = random.Random(seed)
        alter, sequence = dice.choice(ALTERATIONS), dice.randrange(1, ENTRIES + 1)
        with transaction.atomic():
            alter(dice, RecordEntry.objects.get(sequence=sequence))
            seen[alter] += 1
            if verify.chain(chained).whole:
                missed.append((seed, alter.__name__, sequence, "verify_record"))
            # what lies behind the head is not exported, so nothing forged is in the file
            if alter is not add_behind_the_head and not found_in_the_file(chained):
                missed.append((seed, alter.__name__, sequence, "file"))
            transaction.set_rollback(True)
    assert missed == []
    assert min(seen[alter] for alter in ALTERATIONS) > tries / 20
    assert verify.chain(chained).whole, "the control: restored, the chain is whole again"
    assert not found_in_the_file(chained)


def test_every_column_that_says_something_is_bound_by_the_hash(chained):
    triggers.lift(connection)
    table = RecordEntry._meta.db_table
    columns = {field.column for field in RecordEntry._meta.concrete_fields} - {"id", "hash"}
    assert columns == set(HASHED)
    for column, other in {
        "asset_id": None,
        "joint_id": None,
        "actor_id": None,
        "at": "2020-01-01 00:00:00+00:00",
        "deed": "hold.released",
    }.items():
        with transaction.atomic():
            raw(f"UPDATE {table} SET {column} = %s WHERE sequence = 6", other)
            assert verify.chain(chained).sequence == 6, column
            transaction.set_rollback(True)


def test_the_first_broken_entry_is_the_one_named(chained):
    triggers.lift(connection)
    table = RecordEntry._meta.db_table
    raw(f"UPDATE {table} SET actor_name = 'Nobody' WHERE sequence IN (5, 9)")
    out = StringIO()
    with pytest.raises(CommandError):
        call_command("verify_record", site=chained.slug, stdout=out, stderr=StringIO())
    assert "entry 5 was altered" in out.getvalue()


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE {t} SET deed = 'x' WHERE sequence = 3",
        "DELETE FROM {t} WHERE sequence = 3",
        "DELETE FROM {t}",
    ],
)
def test_the_database_itself_refuses_to_change_or_remove_an_entry(chained, sql):
    with pytest.raises(DatabaseError) as refused, transaction.atomic():
        raw(sql.format(t=RecordEntry._meta.db_table))
    assert "only grows" in str(refused.value)
    assert RecordEntry.objects.count() == ENTRIES


def test_an_entry_cannot_be_replaced_either(chained):
    if connection.vendor != "sqlite":
        pytest.skip("INSERT OR REPLACE is SQLite's")
    columns = "id, site_id, sequence, at, deed, actor_name, subject_kind, subject_id, content, previous_hash, hash"
    table = RecordEntry._meta.db_table
    with pytest.raises(DatabaseError), transaction.atomic():
        raw(
            f"INSERT OR REPLACE INTO {table} ({columns}) SELECT id, site_id, sequence, at, 'x', actor_name, "
            f"subject_kind, subject_id, content, previous_hash, hash FROM {table} WHERE sequence = 2"
        )
    assert verify.chain(chained).whole


def test_a_database_without_its_triggers_is_not_called_guarded(chained):
    assert verify.missing_triggers() == []
    triggers.lift(connection)
    with pytest.raises(CommandError) as unguarded:
        call_command("verify_record", stdout=StringIO(), stderr=StringIO())
    assert "not guarded" in str(unguarded.value)


def test_a_deed_that_rolls_back_leaves_no_entry(chained, weld_joint, now):
    with pytest.raises(ZeroDivisionError), transaction.atomic():  # noqa: PT012
        actions.append(site_id=chained.pk, deed="x", actor=None, subject=weld_joint, content={}, now=now)
        1 / 0  # noqa: B018
    assert RecordEntry.objects.count() == ENTRIES
    assert verify.chain(chained).whole


def test_sites_have_chains_of_their_own(chained, other_site, weld_joint, now):
    with transaction.atomic():
        entry = actions.append(site_id=other_site.pk, deed="x", actor=None, subject=weld_joint, content={}, now=now)
    assert entry.sequence == 1
    assert verify.chain(other_site).whole


def test_what_has_no_one_true_text_is_refused():
    with pytest.raises(ValueError):
        canonical({"crack_mm": float("nan")})
    with pytest.raises(TypeError):
        canonical({"who": object()})


# The exported file ----------------------------------------------------------------------------------------------------


@pytest.fixture
def exported(chained, tmp_path) -> Path:
    path = tmp_path / "record.jsonl"
    call_command("export_record", site=chained.slug, to=str(path))
    return path


def verify_alone(path: Path, *more: str) -> subprocess.CompletedProcess:
    """Runs the verifier as a script of its own, isolated from the project."""
    return subprocess.run(
        [sys.executable, "-I", verifier.__file__, str(path), *more], capture_output=True, text=True, check=False
    )


def test_the_stand_alone_verifier_needs_nothing_but_the_file(exported):
    answer = verify_alone(exported)
    assert answer.returncode == 0, answer.stdout + answer.stderr
    assert f"{ENTRIES} entries" in answer.stdout


def test_the_verifier_repeats_the_hash_of_the_app():
    assert verifier.HASHED == HASHED
    fields = dict.fromkeys(HASHED, 1) | {"content": canonical({"ü": 1.25}), "actor_name": "Zoë\n"}
    assert verifier.entry_hash(fields) == entry_hash(fields)


def test_random_alterations_of_the_exported_file_are_all_found(exported):
    lines = exported.read_text().splitlines()
    whole_head = json.loads(lines[0])["chain"]["head_hash"]
    for seed in range(200):
        dice = random.Random(seed)
        altered = list(lines)
        at = dice.randrange(1, len(altered))
        entry = json.loads(altered[at])
        deed = dice.choice(["field", "drop", "double", "swap", "cut"])
        if deed == "field":
            name = dice.choice([*HASHED, "hash"])
            entry[name] = entry[name] + 1 if isinstance(entry[name], int) else f"{entry[name]}."
            altered[at] = json.dumps(entry)
        elif deed == "drop":
            del altered[at]
        elif deed == "double":
            altered.insert(at, altered[at])
        elif deed == "swap":
            other = dice.choice([n for n in range(1, len(altered)) if n != at])
            altered[at], altered[other] = altered[other], altered[at]
        else:
            del altered[at:]
        exported.write_text("\n".join(altered))
        code, said = verifier.check_file(str(exported))
        assert code == 1, (seed, deed, at)
        assert "BROKEN" in said[0]
    exported.write_text("\n".join(lines))
    assert verifier.check_file(str(exported), known_heads=[whole_head])[0] == 0


def test_a_file_rewritten_from_end_to_end_is_found_by_the_head_kept_elsewhere(exported):
    lines = [json.loads(line) for line in exported.read_text().splitlines()]
    head_before = lines[0]["chain"]["head_hash"]
    previous = ""
    for entry in lines[1:]:
        entry["content"] = entry["content"].replace("look", "lock")
        entry["previous_hash"] = previous
        previous = entry["hash"] = verifier.entry_hash(entry)
    lines[0]["chain"]["head_hash"] = previous
    exported.write_text("\n".join(json.dumps(line) for line in lines))
    assert verify_alone(exported).returncode == 0, "the limit of a chain, stated in the verifier's own words"
    assert verify_alone(exported, "--head", head_before).returncode == 1


def test_a_head_kept_elsewhere_is_found_again_when_the_chain_has_grown(exported):
    lines = [json.loads(line) for line in exported.read_text().splitlines()]
    kept, never = [lines[5]["hash"], lines[2]["hash"]], "0" * 64
    code, said = verifier.check_file(str(exported), known_heads=kept)
    assert (code, [line.partition(": ")[2].partition(" of ")[0] for line in said[1:]]) == (0, ["entry 5", "entry 2"])
    answer = verify_alone(exported, "--head", kept[0], "--head", never)
    assert answer.returncode == 1
    assert f"head {kept[0]}: entry 5 of " in answer.stdout
    assert f"head {never}: BROKEN" in answer.stdout, "each that fails is named"
    assert verify_alone(exported, "--head").returncode == 2


@pytest.mark.parametrize(
    "by_hand",
    [
        lambda line: line[:-9],
        lambda line: line.replace('"deed":', '"did":'),
        lambda line: line.replace("{", '{"actor_name":"Nobody",', 1),
        lambda line: line.replace("{", '{"note":"added",', 1),
        lambda line: "[]",
    ],
    ids=["cut", "renamed", "twice", "added", "no entry"],
)
def test_an_entry_damaged_by_hand_is_named_too(exported, by_hand):
    lines = exported.read_text().splitlines()
    lines[4] = by_hand(lines[4])
    exported.write_text("\n".join([*lines, "", ""]), encoding="utf-8-sig")  # as some editors save
    code, said = verifier.check_file(str(exported))
    assert code == 1
    assert "BROKEN: entry 4 cannot be read (line 5 of the file" in said[0]


def test_who_has_a_role_at_the_site_takes_its_record_and_the_verifier_along(
    chained, other_site, person, client, tmp_path
):
    client.force_login(person("auditor", chained))
    assert reverse("record-export", args=[chained.pk]) in client.get(reverse("record")).content.decode()
    addresses = {"record": reverse("record-export", args=[chained.pk]), "verifier": reverse("record-verifier")}
    for name, address in addresses.items():
        (tmp_path / name).write_bytes(b"".join(client.get(address).streaming_content))
    alone = [sys.executable, "-I", str(tmp_path / "verifier"), str(tmp_path / "record")]
    answer = subprocess.run(alone, capture_output=True, text=True, check=False)
    assert f"{chained.slug}: whole: {ENTRIES} entries" in answer.stdout
    for door in ("record-export", "api-record-export"):
        assert client.get(reverse(door, args=[other_site.pk])).status_code == 404


def test_what_is_no_record_is_said_to_be_none(tmp_path):
    stray = tmp_path / "stray.txt"
    stray.write_text("hello")
    assert verify_alone(stray).returncode == 2
    assert verify_alone(tmp_path / "nowhere").returncode == 2


@pytest.mark.django_db(transaction=True)
def test_emptying_the_whole_database_on_purpose_works_and_puts_the_guard_back(site, weld_joint, now):
    with transaction.atomic():
        actions.append(site_id=site.pk, deed="x", actor=None, subject=weld_joint, content={}, now=now)
    call_command("flush", interactive=False, verbosity=0)
    assert RecordEntry.objects.count() == 0
    assert verify.missing_triggers() == []
