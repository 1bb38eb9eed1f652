# `make demo` and `make test` do all the set-up; both need Python 3.11 or newer and nothing else.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: demo test bench fuzz mutants floor lock docs engines workbooks wheel clean

demo: .venv/installed
	@mkdir -p build
	$(BIN)/xlfuncs new build/brewday-example.xlsx --example --force
	$(BIN)/xlfuncs calculate build/brewday-example.xlsx
	$(BIN)/xlfuncs report build/brewday-example.xlsx

test: .venv/tested
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	env -u PYTHONDONTWRITEBYTECODE $(BIN)/pytest # starts commands by the hundred

bench: .venv/benched
	$(BIN)/python -m benchmarks

# Attacks for hours, and changed arithmetic that a test must notice; see fuzz/. Say how much with
# FUZZ="--share 0.1 --seed 7 functions".
fuzz: .venv/tested
	$(BIN)/python -m fuzz $(FUZZ)

mutants: .venv/tested
	$(BIN)/python -m fuzz.mutants $(FUZZ)

# The tests with the oldest versions of what the project needs, as pyproject.toml names them.
floor: .venv/tested
	@mkdir -p build
	$(BIN)/python -c "import tomllib; print(*(need.replace('>=', '==') for need in tomllib.load(open('pyproject.toml', 'rb'))['project']['dependencies']), sep='\n')" > build/floor.txt
	$(PYTHON) -m venv --clear build/floor
	build/floor/bin/python -m pip install --quiet --disable-pip-version-check --constraint build/floor.txt --editable '.[test]'
	build/floor/bin/pytest

# The development environment to the byte: pip install --require-hashes -r requirements.lock
lock: .venv/tested
	$(BIN)/python -m pip install --quiet --disable-pip-version-check pip-tools
	$(BIN)/pip-compile --quiet --generate-hashes --extra test --extra docs --extra bench --strip-extras --allow-unsafe --no-header --no-emit-index-url --no-emit-trusted-host --no-emit-find-links --output-file requirements.lock pyproject.toml

# What is made from the code: the reference, the page of accuracy, the workbooks, the pictures.
docs: .venv/documented
	@mkdir -p build
	$(BIN)/python -m xlfuncs.reference > docs/functions.md
	$(BIN)/python -m xlfuncs.plain.measuring > build/measured.csv
	mv build/measured.csv xlfuncs/plain/measured.csv
	$(BIN)/python -m xlfuncs.plain.report > docs/plain.md
	$(BIN)/python -m tests.accuracy > docs/accuracy.md
	$(BIN)/python docs/make_pictures.py

# The plain edition in engines that others wrote; needs LibreOffice, Gnumeric and npm.
engines: .venv/tested
	npm install --silent --prefix build/engines hyperformula
	$(BIN)/python -m tests.plain.table

workbooks: .venv/installed
	$(BIN)/xlfuncs new workbooks/brewday.xlsx --force
	$(BIN)/xlfuncs new workbooks/brewday-example.xlsx --example --force
	$(BIN)/xlfuncs new workbooks/brewday-plain.xlsx --plain --force
	$(BIN)/xlfuncs new workbooks/brewday-plain-example.xlsx --plain --example --force
	$(BIN)/xlfuncs new workbooks/functions.xlsx --names --force

# What people install from. Modules of an earlier build would get into it as well.
wheel: .venv/python
	rm -rf build/lib
	$(BIN)/python -m pip wheel --quiet --disable-pip-version-check --no-deps --wheel-dir dist .

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

# What only a benchmark compares with.
.venv/benched: .venv/tested
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[bench]'
	touch $@

clean:
	rm -rf .venv build dist
