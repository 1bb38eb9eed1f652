# `make demo` and `make test` do all the set-up; both need Python 3.11 or newer and nothing else.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: demo test check bench docs workbooks clean

demo: .venv/installed
	@mkdir -p build
	$(BIN)/xlfuncs new build/brewday-example.xlsx --example --force
	$(BIN)/xlfuncs calculate build/brewday-example.xlsx
	$(BIN)/xlfuncs report build/brewday-example.xlsx

test: .venv/tested
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/pytest

bench: .venv/tested
	$(BIN)/python -m benchmarks

# What is made from the code: the reference, the page of accuracy, the workbooks that people download, the pictures.
docs: .venv/documented
	$(BIN)/python -m xlfuncs.reference > docs/functions.md
	$(BIN)/python -m xlfuncs.plain.report > docs/plain.md
	$(BIN)/python -m tests.accuracy > docs/accuracy.md
	$(BIN)/python docs/make_pictures.py

workbooks: .venv/installed
	$(BIN)/xlfuncs new workbooks/brewday.xlsx --force
	$(BIN)/xlfuncs new workbooks/brewday-example.xlsx --example --force
	$(BIN)/xlfuncs new workbooks/functions.xlsx --names --force

.venv/python:
	$(PYTHON) -c "import sys; sys.exit(sys.version_info < (3, 11) and 'Python 3.11 or newer is needed; name it with: make PYTHON=python3.12 ...')"
	$(PYTHON) -m venv .venv
	touch $@

.venv/installed: .venv/python pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	touch $@

.venv/tested: .venv/installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[test]'
	touch $@

.venv/documented: .venv/tested
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[docs]'
	touch $@

clean:
	rm -rf .venv build
