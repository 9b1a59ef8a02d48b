# Each target is one line of Python, so that the same works without make: see README.md.
PYTHON ?= $(shell command -v python3.11 || command -v python3)

.PHONY: demo test venv dev docs lock clean

demo:   ## Tune and verify the invented build, and say what was found
	$(PYTHON) tools/demo.py

test:   ## Everything that must hold before a change lands
	$(PYTHON) tools/check.py

venv:   ## The environment for running
	$(PYTHON) tools/environment.py runtime

dev:    ## The environment for developing
	$(PYTHON) tools/environment.py dev

docs:   ## Build docs/ into docs-build/; a link that leads nowhere is an error
	$(PYTHON) tools/docs.py

lock:   ## Write requirements/*.txt anew (needs uv)
	$(PYTHON) tools/lock.py

clean:  ## Remove what can be made again
	$(PYTHON) tools/clean.py
