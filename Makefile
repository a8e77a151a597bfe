# Two commands do all the set-up on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
RUN_STAMP := $(VENV)/.runs
DEV_STAMP := $(VENV)/.tests

.PHONY: demo test lint bench faults soak docs system wheel-demo clean

demo: $(RUN_STAMP)
	$(BIN)/frogfeed demo

test: $(DEV_STAMP) system lint
	$(BIN)/python -m pytest -n 2
	$(MAKE) --no-print-directory wheel-demo

lint: $(DEV_STAMP)
	$(BIN)/ruff check host firmware tests
	$(BIN)/mypy
	$(BIN)/python .ci/firmware-types

bench: $(DEV_STAMP)
	$(BIN)/python -m tests.benchmarks

faults: $(DEV_STAMP)
	$(BIN)/python -m frogfeed.bench.faults --write docs/reference/reliability.md

soak: $(DEV_STAMP)
	$(BIN)/python -m frogfeed.bench.soak

docs: $(DEV_STAMP)
	$(BIN)/python -m frogfeed.reference

# The programs outside Python that checks are held against: a circuit simulator, a browser, readers of images and PDFs.
system:
	@sh .ci/system

# The main job from an installed wheel, outside the tree.
wheel-demo: $(DEV_STAMP)
	@sh .ci/wheel-demo $(PYTHON) $(BIN)

$(RUN_STAMP): pyproject.toml
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install -q --disable-pip-version-check -e .
	touch $@

$(DEV_STAMP): pyproject.toml
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install -q --disable-pip-version-check -e '.[dev]'
	touch $@ $(RUN_STAMP)

clean:
	rm -rf $(VENV) build dist
