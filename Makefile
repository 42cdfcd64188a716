# subwright: set up, show, test.
#   make demo   a finished design and its build pack from the example van
#   make test   every test, three at a time
# Needs Python 3.11 or later and nothing else; everything is installed into .venv.

SHELL := /bin/bash
.DELETE_ON_ERROR:
.DEFAULT_GOAL := help

VENV := .venv
BIN := $(VENV)/bin
EXAMPLE := examples/storyteller-van.build.toml
PACK := build-out/storyteller-van.pack
PIP := $(BIN)/python -m pip --disable-pip-version-check -q
COMPILE := CUSTOM_COMPILE_COMMAND="make requirements" $(BIN)/pip-compile -q --generate-hashes --allow-unsafe \
	--strip-extras --no-emit-index-url --no-emit-trusted-host --no-emit-find-links
PYTEST_FLAGS ?=
JOBS ?= 3
# A file's tests run in one process: what they share (a design, a server, a print) is made once. A test that
# runs for ten minutes tells where it stands.
SHARED := --dist loadfile --no-loadscope-reorder -o faulthandler_timeout=600

# The first interpreter that is new enough; set PYTHON=… to choose another.
PYTHON ?= $(shell for p in python3 python3.14 python3.13 python3.12 python3.11 python; do \
	"$$p" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { echo "$$p"; break; }; done)

.PHONY: help demo ready test lint requirements clean

help:
	@sed -n 's/^#   //p' Makefile

demo: $(VENV)/demo-ready
	@$(BIN)/subwright design $(EXAMPLE)
	@$(BIN)/subwright pack $(EXAMPLE) -o $(PACK)

ready: $(VENV)/dev-ready

test: $(VENV)/dev-ready
	$(BIN)/python -m pytest -n $(JOBS) $(SHARED) $(PYTEST_FLAGS)

lint: $(VENV)/dev-ready
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

# Pin again from requirements/*.in (for maintainers; needs the network).
requirements: $(BIN)/python
	$(PIP) install pip-tools
	$(COMPILE) --upgrade -o requirements/dev.txt requirements/dev.in
	$(COMPILE) -o requirements/demo.txt requirements/demo.in
	$(COMPILE) -c requirements/dev.txt -o requirements/build.txt requirements/build.in
	sed -i '/^$$/d' requirements/build.txt requirements/demo.txt requirements/dev.txt

clean:
	rm -rf build-out .test-output .pytest_cache .mypy_cache .ruff_cache

$(BIN)/python:
	@test -n "$(PYTHON)" || { echo "subwright needs Python 3.11 or later; none was found." >&2; exit 2; }
	@$(PYTHON) -m venv $(VENV) || { rm -rf $(VENV); echo "No virtual environment could be made: install Python's \
	venv module (on Debian: apt install python3-venv)." >&2; exit 2; }

# The package itself is installed from this folder, with the pinned build backend and nothing downloaded.
$(VENV)/demo-ready: requirements/build.txt requirements/demo.txt pyproject.toml $(shell find src -type f -not -name '*.pyc') | $(BIN)/python
	@test -e $(VENV)/dev-ready || { echo "Setting up $(VENV) …" >&2; \
	$(PIP) install --require-hashes -r requirements/build.txt && \
	$(PIP) install --no-build-isolation --require-hashes -r requirements/demo.txt && \
	$(PIP) install --no-deps --no-build-isolation --force-reinstall .; }
	@touch $@

$(VENV)/dev-ready: requirements/build.txt requirements/dev.txt requirements/reference.txt pyproject.toml | $(BIN)/python
	@echo "Setting up $(VENV) for tests …" >&2
	@$(PIP) install --require-hashes -r requirements/build.txt
	@$(PIP) install --no-build-isolation --require-hashes -r requirements/dev.txt
	@$(PIP) install --require-hashes --no-deps -r requirements/reference.txt
	@$(PIP) install --no-deps --no-build-isolation -e .
	@touch $@
