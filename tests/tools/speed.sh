#!/usr/bin/env bash
# How long `seamline score` takes for a take, beside the two measuring tools of Debian's package
# aubio-tools over the same file in the same run: aubioonset (onsets alone) and aubiopitch (a pitch
# every few milliseconds, no notes). The three do different amounts of work; the ratio only says
# what a whole judgement costs beside the two bare measurements.
#
#   tests/tools/speed.sh [MINUTES [REPETITIONS]]       (5 minutes, 5 times)
#
# A demo line is repeated and played by `seamline hear` (48 kHz, 16 bits, mono). Everything runs on
# one core. Seconds are medians; the processor's own seconds (user and system) are what is compared,
# since other work on the machine does not count into them.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."

minutes="${1:-5}"
repetitions="${2:-5}"
if ! [[ "$minutes" =~ ^[1-9][0-9]*$ && "$repetitions" =~ ^[1-9][0-9]*$ ]]; then
    echo "usage: tests/tools/speed.sh [MINUTES [REPETITIONS]], whole numbers from 1" >&2
    exit 2
fi

cargo build --release --locked --quiet
seamline="${CARGO_TARGET_DIR:-target}/release/seamline"
folder="$(mktemp -d)"
trap 'rm -rf "$folder"' EXIT
core=()
if command -v taskset >/dev/null; then
    core=(taskset -c "$(taskset -cp $$ | sed 's/.*: //; s/[^0-9].*//')")
else
    echo "taskset is not there: the runs are not held to one core"
fi

# The demo line has eight bars of four beats at 152 a minute: 12.6 s.
demo=demo-data/harbour-walk.line
sed '/^$/q' "$demo" >"$folder/take.line"
for ((i = 0; i < (minutes * 60 * 152 + 1919) / 1920; i++)); do
    sed '1,/^$/d' "$demo" >>"$folder/take.line"
done
"$seamline" hear "$folder/take.line" -o "$folder/take.wav" --seed 5 2>/dev/null
bytes="$(stat -c %s "$folder/take.wav")"
length="$(awk -v b="$bytes" 'BEGIN { printf "%.1f", (b - 44) / 96000 }')"

# Appends "WALL CPU" in seconds to the file named first.
measure() {
    local into="$1"
    shift
    local TIMEFORMAT='%R %U %S'
    { time "${core[@]}" "$@" >/dev/null 2>"$folder/said"; } 2>"$folder/time" || {
        echo "failed: $*" >&2
        cat "$folder/said" >&2
        exit 1
    }
    awk '{ print $1, $2 + $3 }' "$folder/time" >>"$folder/$into"
}

# Median of a column: of the file named first, the column named second.
median() {
    sort -n -k "$2,$2" "$folder/$1" | awk -v c="$2" '
        { v[NR] = $c }
        END { printf "%.3f", NR % 2 ? v[(NR + 1) / 2] : (v[NR / 2] + v[NR / 2 + 1]) / 2 }'
}

row() {
    awk -v name="$1" -v wall="$(median "$1" 1)" -v cpu="$(median "$1" 2)" -v length_s="$length" \
        'BEGIN { printf "%-16s %9.3f %9.3f %14.0f\n", name, wall, cpu, length_s / cpu }'
}

beside=()
for tool in aubioonset aubiopitch; do
    if command -v "$tool" >/dev/null; then beside+=("$tool"); fi
done

for ((i = 0; i < repetitions; i++)); do
    measure "seamline" "$seamline" score "$folder/take.wav" --line "$folder/take.line" \
        --json "$folder/report.json"
    for tool in "${beside[@]}"; do
        measure "$tool" "$tool" -i "$folder/take.wav"
    done
done

echo "$length s of 48 kHz mono, 16 bits; median of $repetitions runs on one core"
printf '%-16s %9s %9s %14s\n' "" "wall s" "cpu s" "x real time"
row seamline
for tool in "${beside[@]}"; do row "$tool"; done
if [[ ${#beside[@]} -lt 2 ]]; then
    echo "no ratio: aubioonset and aubiopitch are not both there (Debian: aubio-tools)"
    exit 0
fi
awk -v ours="$(median seamline 2)" -v onset="$(median aubioonset 2)" -v pitch="$(median aubiopitch 2)" \
    'BEGIN { printf "aubioonset and aubiopitch together take %.2f times as long as seamline score\n",
             (onset + pitch) / ours }'
