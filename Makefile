# Two commands do everything on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PORT ?= 8000
export PORT

.PHONY: setup demo serve test bench soak lint audit screenshots messages

# Runtime only: what the demo and a server need.
$(BIN)/.installed: pyproject.toml requirements.lock
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check -c requirements.lock -e .
	touch $@

# With the tools of the tests.
$(BIN)/.installed-dev: $(BIN)/.installed
	$(BIN)/pip install --quiet --disable-pip-version-check -c requirements.lock -e '.[dev]'
	touch $@

setup: $(BIN)/.installed

demo: setup
	BENCHQUORUM_DEBUG=1 $(BIN)/benchquorum demo

serve: setup
	$(BIN)/benchquorum serve

lint: $(BIN)/.installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy consensus registry api
	$(BIN)/lint-imports
	$(BIN)/bandit --quiet --recursive --configfile pyproject.toml consensus registry api manage.py

test: $(BIN)/.installed-dev lint
	$(BIN)/python -m tests.run

bench: $(BIN)/.installed-dev
	$(BIN)/pip install --quiet --disable-pip-version-check -c requirements.lock -e '.[dev,bench]'
	$(BIN)/pytest -q -s -p no:xdist tests/benchmarks

soak: $(BIN)/.installed-dev
	BENCHQUORUM_SOAK=1 $(BIN)/pytest -q -s tests/soak
	BENCHQUORUM_SOAK=1 $(BIN)/pytest -q -n auto tests/registry/operations/test_bound.py

# Known weaknesses of what is installed; exit status 2 where nobody could be asked.
audit: $(BIN)/.installed-dev
	$(BIN)/python -m tests.dependency_audit

screenshots: $(BIN)/.installed-dev
	$(BIN)/python -m tests.journeys.screenshots

# Gathers what is to be translated into registry/locale/*/LC_MESSAGES/django.po, and makes the .mo files from it.
messages: $(BIN)/.installed-dev
	$(BIN)/python -m tests.languages
