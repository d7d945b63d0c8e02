# Sets everything up in .venv and runs the two things a newcomer wants: `make demo` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test test-long setup format benchmarks soundfont clean

demo: setup
	$(BIN)/rungwise demo -o out
	@echo "To write your own in the browser: $(BIN)/rungwise open my-exercises"

# Each of two works through half of the tests, so that what waits for a browser on the one is beside
# what takes the processor on the other; who has done takes half of what is left of the other.
test: setup-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/pytest -n 2 --dist worksteal

# The tests that take minutes, and what is sampled in the usual run, in full.
test-long: setup-test
	$(BIN)/pytest -n 2 -m 'long or hypothesis'

# Compiled beforehand, the first command starts as fast as the next, and so does each that is told
# to keep nothing that it compiles (PYTHONDONTWRITEBYTECODE): that alone takes a third of a second.
COMPILE = $(BIN)/python -m compileall -q renderer

setup: system $(VENV)/.installed
	@$(COMPILE)
setup-test: system-test $(VENV)/.installed-test $(VENV)/.installed-script
	@$(COMPILE)

$(VENV)/bin/python:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Rungwise needs Python 3.11 or newer; try: make PYTHON=python3.12 $(MAKECMDGOALS)"; exit 2; }
	@echo "Setting up Python packages in $(VENV); this takes a minute or two the first time ..."
	$(PYTHON) -m venv $(VENV)

$(VENV)/.installed: pyproject.toml $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --editable .
	touch $@

$(VENV)/.installed-test: pyproject.toml $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --editable '.[test]'
	touch $@ $(VENV)/.installed

# What checks the practice page's script, where npm is there to bring it.
$(VENV)/.installed-script: tests/page/package-lock.json $(VENV)/bin/python
	! command -v npm >/dev/null || npm ci --prefix tests/page --silent --no-audit --no-fund
	touch $@

# FluidSynth is the one library that does not come with the Python packages.
.PHONY: system
system:
	@PYTHON="$(PYTHON)" sh .ci/system-libraries

.PHONY: system-test
system-test:
	@PYTHON="$(PYTHON)" sh .ci/system-libraries test

format:
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

benchmarks: setup-test
	for name in $$(cd tests/benchmarks && ls bench_*.py); do \
		echo "== $$name"; $(BIN)/python -m tests.benchmarks.$${name%.py} || exit 1; \
	done

soundfont: setup
	$(BIN)/python -m renderer.sound.synthesis

clean:
	rm -rf $(VENV) tests/page/node_modules out .mypy_cache .ruff_cache .pytest_cache
