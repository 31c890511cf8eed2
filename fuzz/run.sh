#!/bin/sh
# Runs the fuzz targets one after the other with one worker each: run.sh SECONDS [TARGET...]
# What the runs learnt stays in fuzz/corpus, what they found in fuzz/artifacts; neither is committed.
set -eu
cd "$(dirname "$0")/.."
seconds=${1:?"how many seconds for each target?"}
shift
[ $# -gt 0 ] || set -- $(cargo +nightly fuzz list)
for target in "$@"; do
    mkdir -p "fuzz/corpus/$target"
    seeds=fuzz/seeds/$target
    # Files of the formats are the tests' own; a file twice is only tried once.
    case $target in
    wav | compressed) cp -n crates/fairtake-files/tests/data/*.* "fuzz/corpus/$target/" ;;
    *) cp -n "$seeds"/* "fuzz/corpus/$target/" ;;
    esac
    log=$(mktemp)
    status=0
    cargo +nightly fuzz run "$target" -- -max_total_time="$seconds" -max_len=40000 -timeout=20 -rss_limit_mb=2048 \
        -print_final_stats=1 2>"$log" || status=$?
    echo "$target: $(sed -n 's/stat::number_of_executed_units: *//p' "$log") executions, ended with $status"
    if [ "$status" -ne 0 ]; then
        tail -40 "$log"
    fi
    rm -f "$log"
done
