"""Who is signed in, by two statements that are made once: every request asks for it."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.contrib.sessions.backends import db
from django.contrib.sessions.models import Session
from django.utils import timezone

from assets_app.people.models import Person
from assets_app.statements import Given, Statement

_FIELDS = [field.attname for field in Person._meta.concrete_fields]
_PERSON = Statement(lambda: Person.objects.filter(pk=Given("person")).values_list(*_FIELDS))
_SESSION = Statement(
    lambda: Session.objects.filter(session_key=Given("key"), expire_date__gt=Given("now")).values_list("session_data")
)


class SessionStore(db.SessionStore):
    """Django's sessions in the database, read by a statement that is made once."""

    @classmethod
    def get_model_class(cls) -> type[Session]:
        return Session

    def load(self) -> dict[str, Any]:
        """What the session holds; an ended or unknown one is forgotten, as Django's own does."""
        found = _SESSION.rows(key=self.session_key, now=timezone.now())
        if not found:
            self._session_key = None
            return {}
        kept: dict[str, Any] = self.decode(found[0][0])
        return kept


class PersonBackend(ModelBackend):
    """Sign-in by name and password; who it is, is read anew with every request, by a statement that is made once."""

    def get_user(self, user_id: int) -> Person | None:
        """The person, or nobody where the account is gone or shut."""
        found = _PERSON.rows(person=user_id)
        person = Person.from_db("default", _FIELDS, found[0]) if found else None
        return person if person and self.user_can_authenticate(person) else None
