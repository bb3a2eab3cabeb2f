# Everything runs in .venv, which is made on first use and made again when pyproject.toml changes.
# PYTHON is any Python 3.11 or newer; HOST and PORT are where `make run` listens.
# EXTRAS are what `make sbom` counts in.

PYTHON ?= python3
HOST ?= 127.0.0.1
PORT ?= 8080
EXTRAS ?= redis,nesting
VENV := .venv
PY := $(VENV)/bin/python

.DEFAULT_GOAL := help
.PHONY: help run test lint types format openapi docs examples sbom image clean

help: ## Show this list
	@grep -E '^[a-z]+:.*## ' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 12

# The service alone: no test tools. A development environment serves it just as well.
$(VENV)/.run: pyproject.toml
	@test -x $(PY) || $(PYTHON) -m venv $(VENV)
	$(PY) -m pip install --quiet --disable-pip-version-check -e .
	@touch $@

$(VENV)/.dev: pyproject.toml
	@test -x $(PY) || $(PYTHON) -m venv $(VENV)
	$(PY) -m pip install --quiet --disable-pip-version-check -e '.[dev]'
	@touch $@ $(VENV)/.run

run: $(VENV)/.run ## Start the service and its page on http://127.0.0.1:8080
	@echo "The page is on http://$(HOST):$(PORT)/ (Ctrl-C ends it)"
	@$(PY) -m service --host $(HOST) --port $(PORT)

test: $(VENV)/.dev ## Run the tests (ARGS="tests/service -x" for some of them)
	$(PY) -m pytest $(ARGS)

lint: $(VENV)/.dev ## Check style and formatting
	$(PY) -m ruff check .
	$(PY) -m ruff format --check .

format: $(VENV)/.dev ## Format the code
	$(PY) -m ruff check --fix .
	$(PY) -m ruff format .

types: $(VENV)/.dev ## Check types
	$(PY) -m mypy

openapi: $(VENV)/.dev ## Write openapi/openapi.json, its examples and docs/problems.md
	$(PY) -m service.contract

docs: openapi ## Write the generated documentation
	$(PY) -m preflight.job.reference docs/job.md
	$(PY) -m preflight.report.catalogue docs/rules
	$(PY) -m examples.rule_pictures docs/rules/pictures
	$(PY) -m examples.panel_pictures docs/pictures

examples: $(VENV)/.dev ## Make the demo scenario's artwork again
	$(PY) -m examples.make_examples

# An environment without pip and tools, so that it holds what runs and nothing else. The tool validates its output.
sbom: $(VENV)/.dev ## Write build/sbom.cdx.json: what the service is made of, as CycloneDX
	rm -rf build/runtime build/lib
	$(PYTHON) -m venv --without-pip build/runtime
	$(PY) -m pip --python build/runtime/bin/python install --quiet --disable-pip-version-check '.[$(EXTRAS)]'
	sed "s/^dynamic = .*/version = \"$$($(PY) -c 'from preflight.version import __version__ as v; print(v)')\"/" \
	  pyproject.toml > build/pyproject.toml
	$(VENV)/bin/cyclonedx-py environment --pyproject build/pyproject.toml --output-reproducible --validate \
	  --output-format JSON --output-file build/sbom.cdx.json build/runtime/bin/python
	@rm -rf build/runtime build/lib build/bdist.* build/pyproject.toml
	@! grep -E '"name": "(pip|setuptools|pytest|mypy|ruff)"' build/sbom.cdx.json || { echo "tools are among what runs"; exit 1; }

image: ## Build the container image without an engine daemon, and try it (needs buildah, debootstrap, root)
	.ci/image

clean: ## Remove what was made
	rm -rf $(VENV) build dist *.egg-info .pytest_cache .mypy_cache .ruff_cache .hypothesis
