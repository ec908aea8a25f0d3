"""The installable page: a shell that holds nobody's data, its manifest and its service worker."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import condition, require_GET

import assets_app
from schedules.work.steel import packing

STATIC = Path(assets_app.__file__).parent / "static"
STYLES = tuple(f"soundjoint/{name}.css" for name in "tokens sheet parts drawings bolts photos steel/steel".split())
MODULES = tuple(
    f"soundjoint/steel/{name}.js"
    for name in "app arc bolt_loads bolts dom draw drafts ended finding_form finish hold lists mark_photo order photo "
    "photo_time photos queue run_touch seen sending sizes standing state store unsent weld where words".split()
)
OTHERS = ("soundjoint/steel/icon.svg", "soundjoint/steel/icon-192.png")
WORKERS = {"sw.js": "soundjoint/steel/sw.js", "sw-sync.js": "soundjoint/steel/sw-sync.js"}
SHELL = (*STYLES, *MODULES, *OTHERS)


@require_GET
@gzip_page
def steel(request: HttpRequest) -> HttpResponse:
    """The shell. It is the same for everybody, so that it may be kept on the device and opened signed out."""
    context = {"edition": edition(), "icon": _url(OTHERS[0])}
    response = render(request, "work/steel/page.html", context)
    response["Cache-Control"] = "no-cache"
    return response


def _tag(request: HttpRequest) -> str:
    return f'"{edition()}"'


@require_GET
@gzip_page
@condition(etag_func=_tag)
def script(request: HttpRequest) -> HttpResponse:
    """Every module of the page, packed."""
    return HttpResponse(_packed(edition())[0], content_type="text/javascript", headers={"Cache-Control": "no-cache"})


@require_GET
@gzip_page
@condition(etag_func=_tag)
def style(request: HttpRequest) -> HttpResponse:
    """Every style of the page, packed."""
    return HttpResponse(_packed(edition())[1], content_type="text/css", headers={"Cache-Control": "no-cache"})


@lru_cache(maxsize=1)
def _packed(_edition: str) -> tuple[str, str]:
    folder = STATIC / "soundjoint/steel"
    return packing.script(folder, "app"), packing.style([STATIC / name for name in STYLES])


@require_GET
def manifest(request: HttpRequest) -> JsonResponse:
    icon = {"src": _url("soundjoint/steel/icon.svg"), "type": "image/svg+xml", "sizes": "any"}
    drawn = [
        {"src": _url(f"soundjoint/steel/icon-{size}.png"), "type": "image/png", "sizes": f"{size}x{size}"}
        for size in (192, 512)
    ]
    told = {
        "id": reverse("steel"),
        "name": "Soundjoint at the steel",
        "short_name": "Soundjoint",
        "description": "My orders, with their drawings, where there is no signal.",
        "start_url": reverse("steel"),
        "scope": reverse("steel"),
        "display": "standalone",
        "background_color": "#efeee8",
        "theme_color": "#0f202c",
        "icons": [icon, *drawn, {**drawn[1], "purpose": "maskable"}],
    }
    return JsonResponse(told, content_type="application/manifest+json", headers={"Cache-Control": "no-cache"})


@require_GET
@gzip_page
def worker(request: HttpRequest, name: str) -> HttpResponse:
    """The service worker, with the list of what it keeps; a changed file makes a new edition of it."""
    kept = json.dumps(
        {
            "edition": edition(),
            "page": reverse("steel"),
            "files": [reverse("steel-script"), reverse("steel-style"), *_urls(OTHERS)],
        }
    )
    body = f"self.STEEL = {kept};\n{(STATIC / WORKERS['sw.js']).read_text()}"
    if name == "sw-sync.js":
        body = f'import {{ sendAll }} from "{_url("soundjoint/steel/sending.js")}";\n{body}'
        body += (STATIC / WORKERS[name]).read_text()
    headers = {"Cache-Control": "no-cache", "Service-Worker-Allowed": reverse("steel")}
    return HttpResponse(body, content_type="text/javascript", headers=headers)


def edition() -> str:
    """A short hash over every file of the shell."""
    return _edition() if not settings.DEBUG else _edition.__wrapped__()


@lru_cache(maxsize=1)
def _edition() -> str:
    digest = hashlib.sha256()
    template = Path(__file__).parents[2] / "templates" / "work" / "steel" / "page.html"
    for file in (template, Path(packing.__file__), *(STATIC / name for name in (*SHELL, *WORKERS.values()))):
        digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def _url(name: str) -> str:
    """The plain address: modules name each other by it, and the device keeps the page whole under its edition."""
    return f"{settings.STATIC_URL}{name}"


def _urls(names: tuple[str, ...]) -> list[str]:
    return [_url(name) for name in names]


urlpatterns = [
    path("steel/", steel, name="steel"),
    path("steel/app.js", script, name="steel-script"),
    path("steel/app.css", style, name="steel-style"),
    path("steel/manifest.webmanifest", manifest, name="steel-manifest"),
    path("steel/sw.js", worker, {"name": "sw.js"}, name="steel-worker"),
    path("steel/sw-sync.js", worker, {"name": "sw-sync.js"}, name="steel-worker-sync"),
]
