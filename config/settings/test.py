"""Tests: the database of DATABASE_URL, else SQLite; a time zone that is not UTC; nothing leaves the process."""

import tempfile
from pathlib import Path

from config.settings.base import *
from config.settings.base import SQLITE_OPTIONS, env

SECRET_KEY = "only-for-tests"  # noqa: S105
_scratch = Path(tempfile.mkdtemp(prefix="soundjoint-tests-"))
DATABASES = {"default": {**env.db_url("DATABASE_URL", default=f"sqlite:///{_scratch / 'db.sqlite3'}")}}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = SQLITE_OPTIONS
    DATABASES["default"]["TEST"] = {"NAME": str(_scratch / "test.sqlite3")}
TIME_ZONE = "America/New_York"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_AUTOREFRESH = True  # static files straight from the apps; nothing is collected for tests
WHITENOISE_USE_FINDERS = True
MEDIA_ROOT = _scratch / "media"
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
WEBHOOKS_INSIDE = True  # the tests' receivers are on loopback, and no name is looked up
AXES_ENABLED = False
LOGGING = {}  # pytest shows logs itself
CELERY_TASK_ALWAYS_EAGER = True
CELERY_TASK_EAGER_PROPAGATES = True
