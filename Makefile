# What a developer types; README.md has the two commands for everybody else.
PYTHON ?= python3
LOCK = uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate pyproject.toml

.PHONY: demo test lint format check schema lock

.venv/installed: requirements-test.lock
	$(PYTHON) -m venv .venv
	.venv/bin/pip install -q --require-hashes -r requirements-test.lock
	touch $@

demo: .venv/installed  ## start everything with made-up people
	.venv/bin/python manage.py demo

test: .venv/installed
	.venv/bin/python -m pytest -q -n 3 --dist loadfile --no-loadscope-reorder

lint: .venv/installed
	bash .ci/lint

.ci/node_modules/.package-lock.json: .ci/package-lock.json
	npm ci --silent --prefix .ci

format: .venv/installed .ci/node_modules/.package-lock.json  ## lay everything out as the house has it
	.venv/bin/ruff format .
	.venv/bin/djangofmt templates
	.ci/node_modules/.bin/biome check --write --config-path=.ci alerts dosing homedialysis sessions templates tests

check:  ## what must hold before a change lands
	bash .ci/run

schema: .venv/installed  ## after a change of the API
	.venv/bin/python -m homedialysis.local.servers run -- .venv/bin/python manage.py spectacular --validate --fail-on-warn --file tests/api_contract/openapi.yaml

lock:  ## after a change of the dependencies in pyproject.toml
	$(LOCK) --output-file requirements.lock
	$(LOCK) --extra local --output-file requirements-local.lock
	$(LOCK) --extra local --extra test --output-file requirements-test.lock
