#!/usr/bin/env bash
# Every parser reads what chance writes: testdata/fuzz.sh TIME [BUILD FLAG …], TIME such as 10m or 200x. Each target
# of testdata/fuzz.txt, of the kind that FUZZ names (parser unless told), has the same time.
# Without build flags our own packages are built so that chance is guided by what it has
# reached; those of others are taken as they are. An input that fails is left in the
# package's testdata/fuzz, where it stays. JOBS targets run at once, one unless told; ONLY
# is a pattern of the lines of the list that are wanted.
set -euo pipefail
cd "$(dirname "$0")/.."
go=${GO:-go}
list=testdata/fuzz.txt

time=${1:-10s}
shift || true
flags=("$@")
[ $# -gt 0 ] || flags=(-gcflags='jointledger/...=-d=libfuzzer')

# A target that nobody lists would never run.
unlisted=$(comm -23 <(git grep --untracked -hoE '^func Fuzz[A-Za-z]+' -- '*_test.go' | sed 's/func //' | sort -u) <(grep -v '^#' $list | cut -d' ' -f2 | sort -u))
if [ -n "$unlisted" ]; then
  echo "not in $list:" $unlisted
  exit 1
fi

programs=$(mktemp -d)
trap 'rm -rf "$programs"' EXIT
cache=$("$go" env GOCACHE)/fuzz/jointledger
# What chance has found before counts among so many runs: none is taken along.
case $time in *x) cache=$programs/found ;; esac
chosen=$(awk -v kind="${FUZZ:-parser}" -v only="${ONLY:-.}" '$0 ~ only && $1 !~ /^#/ && $3 == kind { print $1, $2 }' $list)
"$go" test -c "${flags[@]}" -o "$programs/" $(cut -d' ' -f1 <<<"$chosen" | sort -u | sed 's|^|./|')

# one runs a target. What it printed comes out in one piece.
one() {
  local package=$1 target=$2 out
  out=$(cd "$package" && "$programs/${package##*/}.test" -test.run '^$' -test.fuzz "^$target\$" -test.fuzztime "$time" \
    -test.fuzzminimizetime 100x -test.parallel "${PARALLEL:-1}" -test.fuzzcachedir "$cache/$package" 2>&1) || {
    # A worker that is stopped at the end of the time sometimes says so as a failure (Go's
    # own, and no input's).
    if ! grep -q 'context deadline exceeded' <<<"$out" || grep -q 'Failing input' <<<"$out"; then
      printf '%s %s\n%s\n' "$package" "$target" "$out"
      return 1
    fi
  }
  if grep -q 'no fuzz tests to fuzz' <<<"$out"; then
    printf '%s\n%s has no %s\n' "$out" "$package" "$target"
    return 1
  fi
  printf '%s %s\n%s\n' "$package" "$target" "$(grep '^fuzz:' <<<"$out" | tail -n 1)"
}
export -f one
export programs cache time
# All targets run, also after one that fails: each may have something to tell.
xargs -P "${JOBS:-1}" -L 1 bash -c 'one "$@"' one <<<"$chosen"
