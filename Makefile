# The two commands of the README: `make demo` shows the main job, `make test` runs
# the whole suite. Both do their own set-up on a machine with Go alone.

SHELL := /bin/bash
GO ?= go
export CGO_ENABLED ?= 0
BUF := $(GO) tool -modfile=$(CURDIR)/internal/tools/go.mod buf
# The race detector needs cgo; the shipped programs never do.
RACE := CGO_ENABLED=1 $(GO) test -race -shuffle=on -timeout 20m

.PHONY: all api build demo test check generate fresh lint bench fuzz postgres browser curl migration clean

all: build

# grpcnotrace leaves out gRPC's web pages of traces, which nothing here shows and
# everybody who starts trackctl would wait for.
build: ## the two programs, without cgo, into bin/
	$(GO) build -trimpath -tags grpcnotrace -o bin/ ./cmd/trackerd ./cmd/trackctl

demo: build ## the main job, embedded, in a temporary folder
	@./testdata/demo.sh bin

test: postgres browser curl ## the whole suite, on SQLite and PostgreSQL, with the race detector
	$(RACE) ./... ./testdata/demogen

check: lint fresh ## what needs no run: formatting, linters, generated code

lint:
	@out=$$(gofmt -l $$(git ls-files '*.go')); if [ -n "$$out" ]; then echo "not gofmt-clean:"; echo "$$out"; exit 1; fi
	$(GO) vet ./... ./testdata/demogen
	$(GO) tool -modfile=$(CURDIR)/internal/tools/go.mod staticcheck ./...
	cd proto && $(BUF) lint && $(BUF) format -d --exit-code && $(BUF) breaking --against $(CURDIR)/testdata/api/v1.binpb

api: ## after a release: the API that later changes must not break
	cd proto && $(BUF) build --exclude-source-info -o $(CURDIR)/testdata/api/v1.binpb

generate: ## the code made from proto/ and ent/schema
	cd proto && $(BUF) generate
	$(GO) generate ./ent

fresh: generate ## generated code must be what the sources give
	@if [ -n "$$(git status --porcelain -- proto ent)" ]; then git --no-pager diff --stat -- proto ent; git status --porcelain -- proto ent; echo "generated code is stale: run 'make generate' and commit"; exit 1; fi

bench: postgres ## ratios to the raw limit measured in the same run
	$(GO) run ./internal/bench $(BENCH)

fuzz: ## every fuzz target for FUZZTIME (10s unless told)
	@set -e; for p in $$($(GO) list ./internal/...); do \
	  for f in $$($(GO) test -list '^Fuzz' $$p | grep '^Fuzz' || true); do \
	    echo "$$p $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $${FUZZTIME:-10s} $$p; done; done

postgres: ## PostgreSQL's server programs, from Debian's packages where absent
	@if ! ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 && ! command -v initdb >/dev/null 2>&1; then \
	  echo "installing PostgreSQL"; \
	  if [ "$$(id -u)" = 0 ]; then apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq postgresql >/dev/null; \
	  else sudo apt-get update -qq && sudo DEBIAN_FRONTEND=noninteractive apt-get install -y -qq postgresql >/dev/null; fi; fi

browser: ## chromium and poppler, with which the hand-over page is looked at, from Debian's packages where absent
	@if ! command -v chromium >/dev/null 2>&1 || ! command -v pdftotext >/dev/null 2>&1; then \
	  echo "installing chromium and poppler-utils"; \
	  if [ "$$(id -u)" = 0 ]; then apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq chromium poppler-utils fonts-dejavu-core >/dev/null; \
	  else sudo apt-get update -qq && sudo DEBIAN_FRONTEND=noninteractive apt-get install -y -qq chromium poppler-utils fonts-dejavu-core >/dev/null; fi; fi

curl: ## curl, with which the examples of docs/http.md are run, from Debian's packages where absent
	@if ! command -v curl >/dev/null 2>&1; then \
	  echo "installing curl"; \
	  if [ "$$(id -u)" = 0 ]; then apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq curl >/dev/null; \
	  else sudo apt-get update -qq && sudo DEBIAN_FRONTEND=noninteractive apt-get install -y -qq curl >/dev/null; fi; fi

migration: postgres ## the next migration of both engines: make migration NAME=what_changes
	@test -n "$(NAME)" || { echo "say NAME=what_changes"; exit 2; }
	$(GO) run ./internal/store/newmigration $(NAME)

clean:
	rm -rf bin
