# Soundjoint. `make` alone lists what there is. Needs Python 3.11 and make; nothing else, and no root.

PYTHON ?= $(shell command -v python3.11 || command -v python3)
PORT ?= 8000
KILLS ?= 200
BIN := .venv/bin
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check --no-input --require-hashes
PYTEST := $(BIN)/python -m pytest
# Three workers on two cores: many tests wait for services and browsers.
SPREAD := -n 3 --dist loadscope --no-loadscope-reorder
# What rests on the database, and so runs again on PostgreSQL; the rest runs once: the doors' table of rights, the demo, the
# papers and the drawings take minutes and ask nothing of the engine that these do not.
ON_POSTGRES := tests/assets_app tests/schedules tests/hostile \
  --ignore=tests/schedules/demo --ignore=tests/schedules/reports/test_reports.py --ignore-glob='*_drawing.py'

# Where the machine forbids keeping compiled files, each of a run's many processes would compile all of it anew.
unexport PYTHONDONTWRITEBYTECODE

.DEFAULT_GOAL := help
.PHONY: help demo stack test lint bench faults screens dev lock

help:  ## what there is
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "make %-8s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

demo: .venv/base.stamp  ## the whole service on this machine with demo data (PORT=8000)
	@PORT=$(PORT) $(BIN)/python -m running.demo

stack: .venv/dev.stamp  ## as in production: PostgreSQL, Redis, two workers, beat, web (PORT=8000)
	@PORT=$(PORT) $(BIN)/python -m running.stack

test: .venv/dev.stamp  ## all tests on SQLite, then those on the database again on PostgreSQL and Redis
	$(PYTEST) $(SPREAD)
	DATABASE_TESTS_ONLY=1 $(BIN)/python -m running.with_servers -- $(PYTEST) $(SPREAD) $(ON_POSTGRES)

lint: .venv/dev.stamp  ## style, types, directions of imports, migrations, nothing of this machine in the files
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-logo
	DJANGO_SETTINGS_MODULE=config.settings.test $(BIN)/python manage.py makemigrations --check --dry-run
	$(BIN)/python -m running.lint_text

faults: .venv/dev.stamp  ## break the running service 200 times, and write docs/faults.md (KILLS=200 SEED=n)
	$(BIN)/python -m running.faults --kills $(KILLS) $(if $(SEED),--seed $(SEED)) --out docs/faults.json

bench: .venv/dev.stamp  ## measure, and write docs/benchmarks.md
	$(BIN)/python -m bench.run

screens: .venv/dev.stamp  ## take the pictures of docs/screens/ from a fresh demo
	$(BIN)/python -m running.screens

dev: .venv/dev.stamp  ## what contributors need, into .venv

lock:  ## renew the hash-locked requirements (needs uv)
	@command -v uv >/dev/null || { echo "make lock needs uv: pip install uv"; exit 1; }
	for kind in base dev; do \
	  uv pip compile --quiet --generate-hashes --no-emit-index-url --python-version 3.11 --no-annotate \
	    requirements/$$kind.in -o requirements/$$kind.txt; \
	done

# A stamp is written when an installation went through, so a broken one starts again and a whole one costs nothing.
.venv/bin/python:
	$(PYTHON) -m venv .venv

.venv/base.stamp: requirements/base.txt | .venv/bin/python
	$(PIP) -r requirements/base.txt
	@touch $@

.venv/dev.stamp: requirements/dev.txt | .venv/bin/python
	$(PIP) -r requirements/dev.txt
	@touch .venv/base.stamp $@
