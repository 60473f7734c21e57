# The two commands of the README: `make demo` shows the main job, `make test` runs
# the whole suite. Both do their own set-up on a machine with Go alone.

SHELL := /bin/bash
GO ?= go
export CGO_ENABLED ?= 0
BUF := $(GO) tool -modfile=$(CURDIR)/internal/tools/go.mod buf
GOLANGCI := $(GO) tool -modfile=$(CURDIR)/internal/tools/lint.mod golangci-lint
# The race detector needs cgo; the shipped programs never do.
RACE := CGO_ENABLED=1 $(GO) test -race -shuffle=on -timeout 20m

.PHONY: all api build demo test check generate fresh lint linters advisories bench faults fuzz postgres browser curl shells network migration clean

all: build

# grpcnotrace leaves out gRPC's web pages of traces, which nothing here shows and
# everybody who starts trackctl would wait for.
build: ## the two programs, without cgo, into bin/
	$(GO) build -trimpath -tags grpcnotrace -o bin/ ./cmd/trackerd ./cmd/trackctl

demo: build ## the main job, embedded, in a temporary folder
	@./testdata/demo.sh bin

test: postgres browser curl shells network ## the whole suite, on SQLite and PostgreSQL, with the race detector
	$(RACE) ./... ./testdata/demogen
	@echo "every parser reads what chance writes"; CGO_ENABLED=1 JOBS=2 GO="$(GO)" testdata/fuzz.sh 300x -race >fuzz.log 2>&1 || { cat fuzz.log; exit 1; }

check: lint linters advisories fresh ## what needs no run: formatting, linters, known vulnerabilities, generated code

lint:
	@out=$$(gofmt -l $$(git ls-files '*.go')); if [ -n "$$out" ]; then echo "not gofmt-clean:"; echo "$$out"; exit 1; fi
	$(GO) vet ./... ./testdata/demogen
	$(GOLANGCI) run ./... ./testdata/demogen
	cd proto && $(BUF) lint && $(BUF) format -d --exit-code && $(BUF) breaking --against $(CURDIR)/testdata/api/v1.binpb

linters: ## every linter of .golangci.yml is on: each finds what testdata/lint has for it; and buf sees a removed field
	@out=$$($(GOLANGCI) run --issues-exit-code 0 --uniq-by-line=false --output.text.print-issued-lines=false ./testdata/lint/...) || { echo "$$out"; exit 1; }; \
	names=$$(sed -n 's/^    - \([a-z]*\)$$/\1/p' .golangci.yml); test $$(wc -w <<<"$$names") -ge 20 || { echo "the linters of .golangci.yml can't be read"; exit 1; }; \
	for l in $$names; do grep -q "($$l)" <<<"$$out" || { echo "$$out"; echo "$$l is named in .golangci.yml and found nothing in testdata/lint"; exit 1; }; done
	@changed=$$(mktemp -d); trap 'rm -rf "$$changed"' EXIT; cp -r proto/. "$$changed"; sed -i '/string display_name = 2;/d' "$$changed/jointledger/v1/person.proto"; \
	if out=$$($(BUF) breaking "$$changed" --against testdata/api/v1.binpb) || ! grep -q 'display_name.*was deleted' <<<"$$out"; then echo "$$out"; echo "buf breaking does not see that a field was removed"; exit 1; fi

advisories: ## known vulnerabilities that our code reaches
	$(GO) run ./internal/advisory ./... ./testdata/demogen

api: ## after a release: the API that later changes must not break
	cd proto && $(BUF) build --exclude-source-info -o $(CURDIR)/testdata/api/v1.binpb

generate: ## the code made from proto/ and ent/schema
	cd proto && $(BUF) generate
	$(GO) generate ./ent

fresh: generate ## generated code must be what the sources give
	@if [ -n "$$(git status --porcelain -- proto ent)" ]; then git --no-pager diff --stat -- proto ent; git status --porcelain -- proto ent; echo "generated code is stale: run 'make generate' and commit"; exit 1; fi

bench: build postgres ## ratios to the raw limits of the same run, a table and bench.json: docs/speed.md
	$(GO) run ./internal/bench $(BENCH)

faults: postgres network ## servers, clients, disks, clocks, lines and PostgreSQL broken on purpose, a table and faults.json: docs/faults.md
	$(GO) run ./internal/faults $(FAULTS)

fuzz: ## every parser of testdata/fuzz.txt for FUZZTIME (10s unless told); FUZZ=method: the methods and rules; JOBS=2: two at once; ONLY=pattern: some
	@GO="$(GO)" testdata/fuzz.sh $${FUZZTIME:-10s}

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

shells: ## fish, in which completion is tried, from Debian's packages where absent
	@if ! command -v fish >/dev/null 2>&1; then \
	  echo "installing fish"; \
	  if [ "$$(id -u)" = 0 ]; then apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends fish >/dev/null; \
	  else sudo apt-get update -qq && sudo DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends fish >/dev/null; fi; fi

curl: ## curl, with which the examples of docs/http.md are run, from Debian's packages where absent
	@if ! command -v curl >/dev/null 2>&1; then \
	  echo "installing curl"; \
	  if [ "$$(id -u)" = 0 ]; then apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq curl >/dev/null; \
	  else sudo apt-get update -qq && sudo DEBIAN_FRONTEND=noninteractive apt-get install -y -qq curl >/dev/null; fi; fi

network: ## iproute2, with which networks are made that can be cut, and e2fsprogs and mount for disks, from Debian's packages where absent
	@if ! command -v ip >/dev/null 2>&1 || ! command -v mkfs.ext4 >/dev/null 2>&1 || ! command -v mount >/dev/null 2>&1; then \
	  echo "installing iproute2, e2fsprogs and mount"; \
	  if [ "$$(id -u)" = 0 ]; then apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq iproute2 e2fsprogs mount >/dev/null; \
	  else sudo apt-get update -qq && sudo DEBIAN_FRONTEND=noninteractive apt-get install -y -qq iproute2 e2fsprogs mount >/dev/null; fi; fi

migration: postgres ## the next migration of both engines: make migration NAME=what_changes
	@test -n "$(NAME)" || { echo "say NAME=what_changes"; exit 2; }
	$(GO) run ./internal/store/newmigration $(NAME)

clean:
	rm -rf bin
