# Works on a machine with Python 3.11 or newer and make; everything else goes into .venv.

PYTHON ?= $(shell for p in python3 python3.14 python3.13 python3.12 python3.11 python; do \
	$$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo $$p && break; done)
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
WORKERS ?= 2

.PHONY: demo test lint types imports tests format clean install
.DEFAULT_GOAL := demo

demo: install  ## run the main job on the shipped example, in a fresh folder
	rm -rf .demo
	$(BIN)/python -m weldtrial.cli.demo .demo

test: lint types imports tests  ## everything that must hold before a change is kept

lint: install
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: install
	$(BIN)/mypy

imports: install
	$(BIN)/lint-imports

tests: install
	$(BIN)/python -m pytest -q -n $(WORKERS) --dist loadgroup

format: install
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

install: $(STAMP)

$(STAMP): pyproject.toml constraints.txt
	@test -n "$(PYTHON)" || { echo "weldtrial needs Python 3.11 or newer; none was found." >&2; exit 2; }
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e '.[dev]'
	touch $@

clean:
	rm -rf $(VENV) .demo build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
