#!/usr/bin/env bash
# Measures the program as a person or a small computer meets it: one list from a cold start, and the service at rest.
#
#   tests/bench/cold_start.sh                                               an invented forecast document
#   tests/bench/cold_start.sh DOCUMENT NOW LATITUDE LONGITUDE TIME_ZONE     one of your own, of the place it is for
#
# Builds the release, works in a folder of its own and leaves nothing behind. Aims: a list in under 50 ms and 40 MiB,
# the service at rest in under 30 MiB.
set -euo pipefail

runs=20
aim_ms=50 aim_list_mib=40 aim_rest_mib=30

if [ $# -ne 0 ] && [ $# -ne 5 ]; then
    sed -n '2,8p' "$0" >&2
    exit 2
fi

document=
if [ $# -eq 5 ]; then
    document=$(realpath -- "$1")
fi
cd -- "$(dirname -- "$0")/../.."
work=$(mktemp -d)
service=
clean_up() {
    if [ -n "$service" ]; then
        kill "$service" 2>/dev/null || true
        wait "$service" 2>/dev/null || true
    fi
    rm -rf -- "$work"
}
trap clean_up EXIT

cargo build --release --locked --quiet
if [ $# -eq 5 ]; then
    cargo bench --locked --quiet --bench list -- --write "$work/config" "${@:3}"
    cp -- "$document" "$work/config/forecast.json"
    now=$2
else
    cargo bench --locked --quiet --bench list -- --write "$work/config"
    now=2027-01-16T18:00:00Z
fi
program="${CARGO_TARGET_DIR:-target}/release/counterpane"
list=("$program" tonight --config "$work/config" --feed "$work/config/forecast.json" --now "$now")

# A list with holes in its weather is a list too (exit code 3).
"${list[@]}" >"$work/list.txt" || [ $? -eq 3 ]
echo "program $(stat -c %s "$program") bytes, document $(stat -c %s "$work/config/forecast.json") bytes, 40 beds"
echo "list: $(head -n 1 "$work/list.txt")"

for _ in $(seq "$runs"); do
    from=${EPOCHREALTIME/[.,]/}
    "${list[@]}" >/dev/null || [ $? -eq 3 ]
    to=${EPOCHREALTIME/[.,]/}
    echo $((to - from))
done | sort -n >"$work/times"
micros() { sed -n "$1p" "$work/times"; }
awk -v median="$(micros $((runs / 2)))" -v worst="$(micros "$runs")" -v runs="$runs" -v aim="$aim_ms" \
    'BEGIN { printf "tonight: median %.1f ms of %d runs, longest %.1f ms (aim under %d)\n", median / 1000, runs, worst / 1000, aim }'

if [ -x /usr/bin/time ]; then
    /usr/bin/time -f %M -o "$work/peak" "${list[@]}" >/dev/null || [ $? -eq 3 ]
    peak=$(tail -n 1 "$work/peak")
else
    peak=$(python3 -c 'import resource, subprocess, sys
subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)' "${list[@]}")
fi
awk -v kib="$peak" -v aim="$aim_list_mib" 'BEGIN { printf "tonight: peak memory %.1f MiB (aim under %d)\n", kib / 1024, aim }'

"$program" run --config "$work/config" --now "$now" 2>"$work/log" &
service=$!
sleep 15
if ! kill -0 "$service" 2>/dev/null; then
    echo "the service has ended by itself:" >&2
    cat "$work/log" >&2
    exit 1
fi
rest() { awk -v key="$1:" '$1 == key { print $2 }' "/proc/$service/status"; }
awk -v rest="$(rest VmRSS)" -v peak="$(rest VmHWM)" -v aim="$aim_rest_mib" -v mails="$(find "$work/config/mail" -name '*.eml' 2>/dev/null | wc -l)" \
    'BEGIN { printf "run: %.1f MiB resident after 15 s at rest (aim under %d), %.1f MiB at most, %d messages written\n", rest / 1024, aim, peak / 1024, mails }'
