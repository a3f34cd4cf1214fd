# Two commands: `make demo` measures the sample clips, `make test` checks everything. Both make .venv first.

PYTHON ?= $(firstword $(shell for p in python3.11 python3.12 python3; do \
	$$p -c 'import sys; sys.exit(not (3, 11) <= sys.version_info < (3, 13))' 2>/dev/null && echo $$p; done))
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test test-tune check bench clean

demo: $(VENV)/ready  ## measure the sample clips; the last line says where the page is
	$(BIN)/matside demo

test: $(VENV)/ready-dev  ## lint, format, types, tests and docstring examples: what CI runs
	PYTHON=$(BIN)/python .ci/check

test-tune: $(VENV)/ready-tune  ## the tests of landmarks/tuning that need torch, a tiny training run among them
	OMP_NUM_THREADS=1 $(BIN)/python -m pytest tests/tuning

bench: $(VENV)/ready  ## speed, as ratios measured in one run
	$(BIN)/python -m pipeline.bench speed

$(VENV)/ready: requirements.txt pyproject.toml
	@if [ -z "$(PYTHON)" ]; then echo "Matside needs Python 3.11 or 3.12, but found $$(python3 --version 2>&1 || echo none). Install one (Debian: apt install python3-venv; macOS: brew install python@3.12), or say which: make demo PYTHON=/path/to/python3.12"; exit 1; fi
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || { echo "$(PYTHON) cannot make environments. On Debian and Ubuntu: apt install python3-venv"; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -r requirements.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $@

$(VENV)/ready-dev: $(VENV)/ready requirements-dev.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -r requirements-dev.txt
	@touch $@

$(VENV)/ready-tune: $(VENV)/ready-dev requirements-tune.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r requirements-tune.txt
	@touch $@

clean:  ## remove the environment and what tools left behind
	rm -rf $(VENV) .pytest_cache .hypothesis .ruff_cache .mypy_cache
