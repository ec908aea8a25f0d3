"""Settings shared by every way of running; values come from the environment."""

from __future__ import annotations

from pathlib import Path

import environ
from whitenoise.compress import Compressor

from assets_app.doors import log_lines

ROOT = Path(__file__).resolve().parents[2]
env = environ.Env()

SECRET_KEY = env("SECRET_KEY", default="")
DEBUG = False
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
BASE_URL = env("BASE_URL", default="http://localhost:8000")  # for links in emails

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "rest_framework",
    "knox",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "django_htmx",
    "axes",
    "csp",
    "assets_app",
    "schedules",
]

MIDDLEWARE = [
    "assets_app.doors.logs.RequestLogMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "assets_app.doors.middleware.RefusalMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "csp.context_processors.nonce",
                "assets_app.doors.context.page",
            ],
        },
    },
]

AUTH_USER_MODEL = "assets_app.Person"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "assets_app.people.signed_in.PersonBackend"]
SESSION_ENGINE = "assets_app.people.signed_in"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False  # no line in the log at every start
AXES_CLIENT_STR_CALLABLE = "assets_app.doors.logs.who_signs_in"  # what its lines in the log call somebody
AXES_LOCKOUT_CALLABLE = "assets_app.doors.middleware.locked_out"
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "img-src": ["'self'", "data:", "blob:"],
        "style-src": ["'self'", "'unsafe-inline'"],  # server-drawn SVG carries style attributes
        "object-src": ["'none'"],
        "frame-ancestors": ["'none'"],
        "base-uri": ["'self'"],
        "form-action": ["'self'"],
    }
}

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

STATIC_URL = "static/"
STATIC_ROOT = Path(env("STATIC_ROOT", default=str(ROOT / ".run" / "static")))
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
# Maps for people who look into others' scripts are not packed: that took half the time of gathering the static files.
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = (*Compressor.SKIP_COMPRESS_EXTENSIONS, "map")
MEDIA_ROOT = Path(env("MEDIA_ROOT", default=str(ROOT / ".run" / "media")))
MEDIA_URL = "media/"

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "knox.auth.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_PAGINATION_CLASS": "assets_app.doors.paging.KeyPages",
    "PAGE_SIZE": 50,
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_PARSER_CLASSES": [
        "assets_app.doors.parsers.StrictJSONParser",
        "rest_framework.parsers.FormParser",
        "rest_framework.parsers.MultiPartParser",
    ],
    "DEFAULT_RENDERER_CLASSES": ["assets_app.doors.json_answers.JSONAnswers"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "assets_app.doors.problem.handler",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Soundjoint",
    "DESCRIPTION": (
        "Due dates of welded and bolted joints, computed and explained. The figures support a decision; they do not "
        "make it: local codes, the maker's manual and licensed engineers and inspectors rule."
    ),
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "assets_app.doors.schema.tell_null",
        "assets_app.doors.schema.tell_refusals",
    ],
    # Sets of choices that several fields share, or whose fields' names clash, get the trade's name in the schema.
    "ENUM_NAME_OVERRIDES": {
        "StressKindEnum": [("direct", "direct"), ("shear", "shear")],
        "CounterUnitEnum": "schedules.duty.models.Counter.Unit",
        "RecordingStateEnum": "schedules.duty.recordings.models.Recording.State",
        "RecordingUnitEnum": "schedules.duty.recordings.models.Recording.Unit",
        "AssetStatusEnum": "assets_app.register.models.Asset.Status",
        "RecordCheckStateEnum": "assets_app.record.check_models.RecordCheck.State",
        "ReportStateEnum": "schedules.reports.models.WrittenReport.State",
        "ImportKindEnum": "assets_app.register.models.RegisterImport.Kind",
        "ImportStateEnum": "assets_app.register.models.RegisterImport.State",
        "LimitEnum": "schedules.due.models.Limit",
        "MethodEnum": "assets_app.inspections.models.Method",
        "SeverityEnum": "assets_app.inspections.models.Severity",
        "LookConditionsEnum": "assets_app.inspections.models.Inspection.Conditions",
        "LookResultEnum": "assets_app.inspections.models.Inspection.Result",
        "BoltStateEnum": "assets_app.inspections.bolt_models.BoltReading.State",
        "FindingStateEnum": "assets_app.inspections.models.Finding.State",
        "SpectrumStatusEnum": "schedules.duty.models.StressSpectrum.Status",
        "AssetKindEnum": "assets_app.register.models.Asset.Kind",
        "JointKindEnum": "assets_app.register.models.Joint.Kind",
        "QualificationKindEnum": "assets_app.people.models.Qualification.Kind",
        "RoleEnum": "assets_app.people.models.RoleName",
        "OrderKindEnum": "schedules.work.models.WorkOrder.Kind",
        "OrderStateEnum": "schedules.work.models.WorkOrder.State",
        "StepKindEnum": "schedules.work.models.Step.Kind",
        "DeferralStateEnum": "schedules.deferral.models.Deferral.State",
        "AlertKindEnum": "schedules.alerts.models.Intent.Kind",
    },
}
REST_KNOX = {"TOKEN_TTL": None, "AUTO_REFRESH": False}
KNOX_TOKEN_MODEL = "knox.AuthToken"  # noqa: S105 (a table, not a token)

EMAIL_BACKEND = env("EMAIL_BACKEND", default="django.core.mail.backends.console.EmailBackend")
EMAIL_FILE_PATH = env("EMAIL_FILE_PATH", default=str(ROOT / ".run" / "mail"))
EMAIL_TIMEOUT = env.int("EMAIL_TIMEOUT_S", default=10)  # between two answers of the mail server; a mail takes about ten
DEFAULT_FROM_EMAIL = env("DEFAULT_FROM_EMAIL", default="soundjoint@localhost")

# Celery. Redis holds nothing that the database cannot rebuild: no result backend, no long eta; beat sweeps.
CELERY_BROKER_URL = env("REDIS_URL", default="redis://localhost:6379/0")
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_PUBLISH_RETRY_POLICY = {"max_retries": 1, "interval_start": 0, "interval_step": 0.2}  # sweeps find the rest
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = 900
CELERY_TASK_SOFT_TIME_LIMIT = 840
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 1800,
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
    "socket_timeout": 10,
    "socket_connect_timeout": 5,
    "health_check_interval": 15,
}
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = env("BEAT_SCHEDULE_FILE", default=str(ROOT / ".run" / "beat-schedule"))
CELERY_BEAT_SCHEDULE = {
    "stale joints": {"task": "due.recompute_stale", "schedule": 5.0},
    "day's sweep": {"task": "due.sweep_if_owed", "schedule": 300.0},
    "sweep parts": {"task": "due.work_off_sweep", "schedule": 30.0},
    "cracks measured anew": {"task": "due.fit_growth", "schedule": 60.0},
    "raise alerts": {"task": "alerts.raise_owed", "schedule": 60.0},
    "deliver alerts": {"task": "alerts.deliver_owed", "schedule": 10.0},
    "post to webhooks": {"task": "alerts.post_owed", "schedule": 10.0},
    "mails about accounts": {"task": "people.send_owed", "schedule": 30.0},
    "orders answered by looks": {"task": "work.answer_owed", "schedule": 300.0},
    "record checks": {"task": "record.check_chains", "schedule": 10.0},
    "imports": {"task": "register.work_off_imports", "schedule": 10.0},
    "recordings": {"task": "duty.work_off_recordings", "schedule": 10.0},
    "reports": {"task": "reports.write", "schedule": 10.0},
    "files of old reports": {"task": "reports.forget_old_files", "schedule": 3600.0},
    "assessments that ended": {"task": "inspections.lapse_assessments", "schedule": 300.0},
    "photos without a row": {"task": "inspections.sweep_evidence", "schedule": 86_400.0},
}

LOGGING = log_lines.config(env("LOG_LEVEL", default="INFO"))
WEBHOOKS_HTTPS_ONLY = env.bool("WEBHOOKS_HTTPS_ONLY", default=False)
WEBHOOKS_INSIDE = env.bool("WEBHOOKS_INSIDE", default=False)  # receivers that are not out on the internet
METRICS_TOKEN = env("METRICS_TOKEN", default="")  # who may read /metrics from elsewhere than this machine
STALE_MARK_LIMIT_S = env.float("STALE_MARK_LIMIT_S", default=300.0)  # older: not ready

FCI_BAND_EDGES = env.list("FCI_BAND_EDGES", cast=float, default=[5.0, 10.0, 30.0])  # condition index, per cent
UPLOAD_LIMIT_BYTES = env.int("UPLOAD_LIMIT_BYTES", default=64 * 1024 * 1024)
RECORDING_LIMIT_BYTES = env.int("RECORDING_LIMIT_BYTES", default=512 * 1024 * 1024)  # streamed, never held whole
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": (
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA busy_timeout=20000; PRAGMA foreign_keys=ON;"
    ),
}
