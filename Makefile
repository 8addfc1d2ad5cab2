# Everything runs in .venv, which is built from the lock when it is missing or out of date.
# Another Python: make clean, then make test PYTHON=python3.13

PYTHON   ?= python3
DEMO_OUT ?= demo_out
JOBS     ?= 2
LOCK_FLAGS ?=

VENV  := .venv
BIN   := $(VENV)/bin
READY := $(VENV)/.ready
PIP   := $(BIN)/python -m pip --disable-pip-version-check --quiet --quiet
CODE  := gradekit grading_rules tests $(wildcard api)

.PHONY: help demo test check bench lock clean
.DELETE_ON_ERROR:

help:
	@echo "make demo   grade the demo shop's devices into $(DEMO_OUT)/"
	@echo "make test   run every test (HYPOTHESIS_PROFILE=thorough looks harder)"
	@echo "make check  style, types and the shipped rules"
	@echo "make bench  what grading costs, and a lot of 200,000 rows (BENCH_ROWS=20000: a shorter one)"
	@echo "make lock   renew requirements.lock from pyproject.toml (LOCK_FLAGS=--upgrade: newest releases)"
	@echo "make clean  remove everything that these made"

demo: $(READY)
	@$(BIN)/gradekit demo --out "$(DEMO_OUT)"

test: $(READY)
	@$(BIN)/python -m pytest -n $(JOBS)

check: $(READY)
	@echo "check: style"
	@$(BIN)/ruff check --quiet .
	@$(BIN)/ruff format --quiet --check .
	@echo "check: types"
	@$(BIN)/mypy --no-error-summary $(CODE)
	@echo "check: rules"
	@$(BIN)/gradekit rules check grading_rules

bench: $(READY)
	@$(BIN)/python -m tests.bench.grading
	@$(BIN)/python -m tests.bench.lots

$(READY): pyproject.toml requirements.lock
	@$(PYTHON) -c 'import sys; sys.version_info >= (3, 11) or sys.exit("gradekit needs Python 3.11 or newer and this is %d.%d. Name another one: make PYTHON=python3.13" % sys.version_info[:2])'
	@echo "building $(VENV) from requirements.lock"
	@$(PYTHON) -m venv --clear $(VENV)
	@$(PIP) install --require-hashes -r requirements.lock
	@$(PIP) install --no-deps --no-build-isolation -e .
	@touch $@

# uv is needed only here, so it comes and goes with a folder of its own.
lock:
	@tmp=$$(mktemp -d) && trap 'rm -rf "$$tmp"' EXIT \
	&& echo "renewing requirements.lock" \
	&& $(PYTHON) -m venv "$$tmp" \
	&& "$$tmp/bin/python" -m pip --disable-pip-version-check --quiet --quiet install uv \
	&& "$$tmp/bin/uv" --quiet --no-config pip compile pyproject.toml --extra dev --extra api --extra postgres \
	     --universal --python-version 3.11 --generate-hashes \
	     --no-emit-index-url --no-emit-find-links --custom-compile-command "make lock" \
	     --output-file requirements.lock $(LOCK_FLAGS)

clean:
	@rm -rf $(VENV) demo_out build dist .hypothesis .mypy_cache .pytest_cache .ruff_cache
	@find . -name __pycache__ -type d -prune -exec rm -rf {} +
