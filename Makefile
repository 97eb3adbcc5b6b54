# Prerequisites: Go, Node and git. The browser, PostgreSQL and paper suites also want Debian with root (make test installs
# chromium, postgresql, qpdf, poppler-utils, zbar-tools, fonts-dejavu-core there); elsewhere they are named and left out loudly.
.DEFAULT_GOAL := help
SHELL := /bin/bash
GO ?= go
FUZZTIME ?= 30s
PORT ?= 7117

.PHONY: help
help: ## list the targets
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

node_modules/.stamp: package.json package-lock.json
	npm ci --ignore-scripts --no-audit --no-fund
	@touch $@

.PHONY: assets
assets: web/static/dist/.stamp intake/cad/kernel/.stamp ## fetch and bundle what the pages and the CAD kernel need

web/static/dist/.stamp: node_modules/.stamp $(shell find web/assets tools/bundle -type f 2>/dev/null)
	$(GO) run ./tools/bundle
	@touch $@

intake/cad/kernel/.stamp: node_modules/.stamp
	$(GO) run ./tools/fetchkernel
	@touch $@

.PHONY: build
build: assets ## build bin/firstoff
	$(GO) build -trimpath -o bin/firstoff ./cmd/firstoff

.PHONY: run
run: build ## serve the desk with the made-up shop on a local port
	./bin/firstoff serve --demo --dir var/demo --listen 127.0.0.1:$(PORT)

.PHONY: tools
tools: ## install what the browser, PostgreSQL and paper suites need (Debian, root)
	@bash tools/install-test-tools

.PHONY: test
test: assets tools ## run every suite
	$(GO) vet ./...
	$(GO) run ./tools/testrun -- -timeout 20m ./...

.PHONY: test-race
test-race: assets ## the same under the race detector
	$(GO) run ./tools/testrun -- -race -timeout 60m ./...

.PHONY: test-slow
test-slow: assets tools ## long corpora, many seeds
	FIRSTOFF_SLOW=1 $(GO) run ./tools/testrun -- -timeout 120m ./...

.PHONY: fuzz
fuzz: ## every fuzz target for FUZZTIME in turn
	@$(GO) run ./tools/fuzzall -time $(FUZZTIME)

.PHONY: bench
bench: build ## measure; figures go to docs/performance.md by hand, with the command that makes them
	$(GO) run ./tools/bench -runs 3

.PHONY: lint
lint: ## format, vet, static checks, floors
	@test -z "$$(gofmt -l $$(git ls-files '*.go'))" || { gofmt -l $$(git ls-files '*.go'); exit 1; }
	$(GO) vet ./...
	$(GO) tool staticcheck ./...
	$(GO) test -run TestFloors .

.PHONY: golden
golden: ## rewrite golden texts, then show the difference
	$(GO) test ./desk/... ./printability/... ./paper/... ./shopfloor/... -run Golden -rewrite
	@git diff --stat
