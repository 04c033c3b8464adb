# Every target sets up what it needs; a bare machine needs Python 3.11 or newer with pip, and make.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
export OPENBLAS_NUM_THREADS ?= 1
export MPLBACKEND := Agg

.PHONY: demo test test-browser lint bench reports schema clean

demo: $(VENV)/installed
	$(BIN)/airpath demo

test: $(VENV)/installed-dev
	$(BIN)/python -m pytest -n auto --dist worksteal

test-browser: $(VENV)/installed-browser
	sh tests/browser/get_browser.sh $(BIN)/python
	$(BIN)/python -m pytest tests/browser

lint: $(VENV)/installed-dev
	$(BIN)/ruff check solver tests
	$(BIN)/mypy

bench: $(VENV)/installed-dev
	$(BIN)/python -m pytest tests/benchmarks --benchmark-enable --benchmark-disable-gc

reports: $(VENV)/installed-dev
	$(BIN)/python tests/golden/make_reports.py

schema: $(VENV)/installed
	$(BIN)/python -m airpath.case.schema_file

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/installed: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --editable .
	touch $@

$(VENV)/installed-dev: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --editable '.[dev]'
	touch $@ $(VENV)/installed

$(VENV)/installed-browser: pyproject.toml $(VENV)/installed-dev | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --editable '.[browser]'
	touch $@

clean:
	rm -rf $(VENV) airpath-out .pytest_cache .mypy_cache .ruff_cache .hypothesis .benchmarks
