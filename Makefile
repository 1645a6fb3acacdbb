# Everything here sets itself up: Python 3.11 or later and make are all it needs.
#   make demo                     every demonstration, with pictures, into out/demo
#   make bench                    practise on a live twin, in the browser
#   make bench ARGS=--class       the same for a room
#   make test                     the whole test suite with its coverage
#   make test ARGS=tests/x.py     some of it, without coverage
#   make PYTHON=python3.12 demo   with another Python
#   make EXTRAS=dev test          with all that any test can use (browser, cluster, MuJoCo)
PYTHON ?= python3
EXTRAS ?= test
ARGS ?=
BIN := .venv/bin
READY := .venv/.ready

.PHONY: demo bench test lint speed clean

demo: $(READY)
	$(BIN)/drytouch demo

bench: .venv/.ready-bench
	$(BIN)/drytouch bench $(ARGS)

.venv/.ready-bench: $(READY)
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[bench]'
	@touch $@

test: $(READY)
	$(BIN)/python -m pytest $(if $(ARGS),$(ARGS),-n auto --cov --cov-report=term)

lint: $(READY)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[check]'
	$(BIN)/ruff format --check
	$(BIN)/ruff check

speed: $(READY)
	$(BIN)/python -m pytest benchmarks --benchmark-only -o addopts=-q

clean:
	rm -rf .venv out build *.egg-info .pytest_cache .mypy_cache .ruff_cache .hypothesis .coverage*

# Made again only when what is needed changes; a set-up that was broken off starts over.
$(READY): pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	{ echo "drytouch needs Python 3.11 or later: make PYTHON=/path/to/python3.11"; exit 1; }
	@echo "setting up .venv: a minute or two, once"
	@$(PYTHON) -m venv .venv || \
	{ echo "Python's venv module is missing (on Debian: apt-get install python3-venv)"; exit 1; }
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[$(EXTRAS)]'
	@touch $(READY)
