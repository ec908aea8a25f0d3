"""Every address of the service: pages at the root, the API under /api/v1/. Each capability brings its own."""

from importlib import import_module
from typing import Any

from django.contrib.auth import views as auth
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularRedocView

from assets_app.doors import health, metrics

CAPABILITIES = [
    "schedules.due",  # asked most often, so found first
    "assets_app.register",
    "assets_app.inspections",
    "assets_app.labels",
    "assets_app.people",
    "assets_app.record",
    "schedules.duty",
    "schedules.duty.recordings",
    "schedules.work",
    "schedules.work.steel",
    "schedules.deferral",
    "schedules.alerts",
    "schedules.planning",
    "schedules.reports",
]


def _gathered(door: str) -> list[Any]:
    return [url for capability in CAPABILITIES for url in import_module(f"{capability}.{door}").urlpatterns]


urlpatterns = [
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="schema"),
    path(
        "api/v1/docs/", SpectacularRedocView.as_view(url_name="schema", template_name="api_docs.html"), name="api-docs"
    ),
    path("api/v1/", include(_gathered("api"))),
    path("health/live/", health.live, name="health-live"),
    path("health/ready/", health.ready, name="health-ready"),
    path("metrics", metrics.metrics, name="metrics"),
    path("sign-in/", auth.LoginView.as_view(template_name="sign_in.html"), name="sign-in"),
    path("sign-out/", auth.LogoutView.as_view(), name="sign-out"),
    *_gathered("pages"),
]
