#!/usr/bin/env bash
# The main job on invented data: starts an embedded server in a temporary folder
# on a free port, hands it a fleet, and asks what the three users would ask.
# Nothing is left behind, unless KEEP=1.
set -euo pipefail
bin=$(cd "${1:-bin}" && pwd)
cd "$(dirname "$0")/.."

folder=$(mktemp -d "${TMPDIR:-/tmp}/jointledger-demo.XXXXXX")
server=
finish() {
  [ -n "$server" ] && kill "$server" 2>/dev/null && wait "$server" 2>/dev/null || true
  if [ "${KEEP:-}" = 1 ]; then echo "kept: $folder (start it again: bin/trackerd serve --data $folder/data)"; else rm -rf "$folder"; fi
}
trap finish EXIT

say() { printf '\n\033[1m%s\033[0m\n' "$*"; }
[ -t 1 ] || say() { printf '\n%s\n' "$*"; }
ask() { printf '$ trackctl %s\n' "$*"; "$bin/trackctl" "$@"; }

"$bin/trackerd" serve --data "$folder/data" --listen 127.0.0.1:0 >"$folder/out" 2>"$folder/log" &
server=$!
for _ in $(seq 200); do
  grep -q '^listening on ' "$folder/out" && break
  kill -0 "$server" 2>/dev/null || { cat "$folder/log" >&2; exit 1; }
  sleep 0.05
done
export JOINTLEDGER_SERVER
JOINTLEDGER_SERVER=$(sed -n 's/^listening on //p' "$folder/out")
[ -n "$JOINTLEDGER_SERVER" ] || { echo "the server did not start" >&2; cat "$folder/log" >&2; exit 1; }
echo "A server with its own database runs at $JOINTLEDGER_SERVER, in a temporary folder."

say "1. Hand it the fleet: five invented sites, as a folder of CSV files (testdata/demo/README.md tells the story)"
ask import testdata/demo

say "2. Handed in twice, nothing changes: every record is already known"
ask import testdata/demo --output csv | sed -n 1,4p

say "3. Field technician: two nuts galled; one line, kept before it answers"
lot=$(sed -n 2p testdata/demo/lots.csv | cut -d, -f1)
joint=$(sed -n 2p testdata/demo/joints.csv | cut -d, -f1-4 | tr , /)
person=$(sed -n 2p testdata/demo/people.csv | cut -d, -f1)
ask incident galling "$joint" 2 --lot "$lot" --treatment none --method hand --person "$person" --note "seized three turns before clamp-up"

say "   … and a slip of the pen is caught, with the nearest name"
ask incident galling "$joint" 1 --lot "${lot%?}X" --treatment none --method hand --person "$person" || true

say "4. Regional manager: which lot and treatment gall, and is the difference more than luck?"
ask rate --kind galling --by lot,treatment

say "   … and by site"
ask rate --kind galling --by site

say "5. Tool crib: what falls due in the next thirty days (looking from the end of the data)"
ask due --within 30d --as-of "${DEMO_AS_OF:-2026-08-15T06:30:00Z}"

say "6. Site lead: what breaks a rule of the trade, and what keeps a cell from being handed over"
ask findings --count
cell=$(sed -n 2p testdata/demo/joints.csv | cut -d, -f1-3 | tr , /)
ask handover "$cell" --file "$folder/handover.html" || true

say "7. Quality: where a suspect lot went"
ask lot where SX10-133 | sed -n 1,12p

say "8. Has anybody tampered with the record? The hash chain of each site and a recount of the tallies:"
printf '$ trackerd verify --data …\n'
kill "$server"; wait "$server" 2>/dev/null || true; server=
"$bin/trackerd" verify --data "$folder/data"

say "Next:"
cat <<'NEXT'
  bin/trackerd serve                     a server of your own, data under ~/.local/share/jointledger
  bin/trackctl import testdata/demo      the same fleet, in it
  bin/trackctl rate --by site,treatment --output json
  bin/trackctl handover QLM/CT1/C1 --file handover.html   a page to print
  bin/trackctl reckon torque --thread M12 --class 8.8 --nut-factor 0.20 --fraction 0.75
  bin/trackctl --help                    everything else
Figures on torque and tools inform; the equipment maker's manual, local codes and licensed practice decide.
NEXT
