#!/usr/bin/env bash
# Completions as a shell asks for them.  completion_test.sh PREFIX
set -euo pipefail
unset PINPROOF_SHARE
prefix=$1
fail() { echo "completion: FAILED: $*" >&2; exit 1; }
source "$prefix/share/bash-completion/completions/pinproof"
complete -p pinproof >/dev/null || fail "nothing is registered"
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cd "$folder"
touch bench-one.json "bench two.json" other.txt

ask() {  # words...; the last one is being typed
  COMP_WORDS=(pinproof "$@") COMP_CWORD=$# COMPREPLY=()
  _pinproof
  printf '%s\n' "${COMPREPLY[@]}" | LC_ALL=C sort | paste -sd'|'
}
same() {  # wanted, words...
  local wanted=$1 got
  shift
  got=$(ask "$@")
  [ "$got" = "$wanted" ] || fail "pinproof $*: \"$got\", \"$wanted\" was expected"
}
profiles=$(cd "$prefix/share/pinproof/profiles" && ls | sed 's/\.json$//' | LC_ALL=C sort)
same "sample|screen|simulate" s
same "--record|--record-dialogue" inspect --record
same "$(grep ^six <<<"$profiles" | paste -sd'|')" inspect --profile six
same "$(grep ^four <<<"$profiles" | paste -sd'|')" profile four
same "bench two.json|bench-one.json" inspect --profile six-speed-20-pin --bench be
same "bench two.json|bench-one.json" inspect --bench = be
same "accept|hold|reject" records find --verdict ""
same "rejudge" records --ledger export rej
same "--ledger" records find --le
same "" inspect --serial ""
same "hand" simulate --connect h

if command -v zsh >/dev/null; then
  zsh -n "$prefix/share/zsh/vendor-completions/_pinproof" || fail "zsh"
fi
if command -v fish >/dev/null; then
  got=$(HOME=$folder fish --no-config -c "source $prefix/share/fish/vendor_completions.d/pinproof.fish
    complete -C 'pinproof records find --verdict '" | cut -f1 | LC_ALL=C sort | paste -sd'|')
  [ "$got" = "accept|hold|reject" ] || fail "fish: $got"
  got=$(HOME=$folder fish --no-config -c "source $prefix/share/fish/vendor_completions.d/pinproof.fish
    complete -C 'pinproof inspect --profile six'" | cut -f1)
  grep -q '^six-speed-20-pin$' <<<"$got" || fail "fish profiles: $got"
fi
echo "completion: ok"
