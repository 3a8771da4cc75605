#!/usr/bin/env bash
# Uses the pinproof of the PATH as a person would: two packs, and the screen.
set -euo pipefail
unset PINPROOF_SHARE PINPROOF_LEDGER
work=$(mktemp -d)
pids=()
clean() {
  for pid in "${pids[@]}"; do kill "$pid" 2>/dev/null || true; done
  wait 2>/dev/null || true
  rm -rf "$work"
}
trap clean EXIT
fail() { echo "installed: FAILED: $*" >&2; exit 1; }
until_there() {  # command...
  for _ in $(seq 300); do "$@" && return 0; sleep 0.1; done
  cat "$work"/*.log >&2
  fail "not there after 30 s: $*"
}

# The profiles and dialects must be the installed ones, so nothing else is named.
pack() {  # name, wanted exit code, --fault ...
  local name=$1 wanted=$2 code=0
  shift 2
  pinproof simulate --profile six-speed-20-pin --seed 7 --speed 0 --bench-file "$work/$name.json" "$@" >"$work/$name.log" 2>&1 &
  pids+=($!)
  until_there test -s "$work/$name.json"
  pinproof inspect --profile six-speed-20-pin --bench "$work/$name.json" --static --serial "$name" \
    --ledger "$work/ledger.sqlite" --html "$work/$name.html" >"$work/$name.txt" || code=$?
  [ "$code" = "$wanted" ] || { cat "$work/$name.txt" >&2; fail "$name: exit code $code, $wanted was expected"; }
}
pack good 0
grep -q ACCEPT "$work/good.txt" || fail "no ACCEPT"
pack faulty 1 --fault "coil B: shorted-turns 10%"
grep -q REJECT "$work/faulty.txt" || fail "no REJECT"
[ "$(pinproof records find --ledger "$work/ledger.sqlite" --verdict reject | grep -c faulty)" = 1 ] || fail "ledger"

pinproof screen --demo --port 0 >"$work/screen.log" 2>&1 &
pids+=($!)
until_there grep -q 'http://127.0.0.1:' "$work/screen.log"
port=$(sed -n 's|.*http://127.0.0.1:\([0-9]*\).*|\1|p' "$work/screen.log" | head -1)
exec 3<>"/dev/tcp/127.0.0.1/$port"
printf 'GET / HTTP/1.1\r\nHost: 127.0.0.1:%s\r\nConnection: close\r\n\r\n' "$port" >&3
page=$(timeout 20 cat <&3 | tr -d '\0')
case $page in "HTTP/1.1 200"*) ;; *) fail "screen: ${page:0:80}" ;; esac
case $page in *"<title>"*) ;; *) fail "screen: no page" ;; esac
echo "installed: accept, reject, ledger and screen"
