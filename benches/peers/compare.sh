#!/bin/sh
# Runs the tool and the yardsticks in turn on a folder of photographs and prints user CPU, wall time and peak memory
# of each run, and the ratios of their medians.
# Use: compare.sh TOOL PYTHON FOLDER [ROUNDS]
set -eu
tool=$1 python=$2 folder=$3 rounds=${4:-3}
here=$(dirname "$0")
out=$(mktemp -d)
trap 'rm -rf "$out"' EXIT

timed() {
    name=$1
    shift
    /usr/bin/time -f "$name %U %e %M" "$@" 2>&1 >/dev/null | tail -n 1 >>"$out/times"
}

for _ in $(seq "$rounds"); do
    for jobs in 1 2; do
        timed "tool_jobs_$jobs" "$tool" score "$folder" --px-per-mm 40 --jobs $jobs --no-pictures --replace --out "$out/results"
    done
    timed opencv_jobs_2 "$python" "$here/peer_opencv.py" "$folder" "$out/peer.csv" --jobs 2
    timed opencv_fast_jobs_2 "$python" "$here/peer_opencv.py" "$folder" "$out/peer.csv" --jobs 2 --fast
    timed skimage_jobs_2 "$python" "$here/peer_skimage.py" "$folder" "$out/peer.csv" --jobs 2
done

sort -k1,1 -k3,3n "$out/times" | awk '
    { n[$1]++; user[$1, n[$1]] = $2; wall[$1, n[$1]] = $3; if ($4 > most[$1]) most[$1] = $4 }
    END {
        for (name in n) { mid = int((n[name] + 1) / 2); w[name] = wall[name, mid]; u[name] = user[name, mid] }
        print "| run | wall, against the tool on two cores | user CPU, against the tool on one | peak MiB |"
        print "|---|---|---|---|"
        count = split("tool_jobs_1 tool_jobs_2 opencv_jobs_2 opencv_fast_jobs_2 skimage_jobs_2", order, " ")
        for (i = 1; i <= count; i++) {
            name = order[i]
            printf "| %s | %.2f | %.2f | %.0f |\n", name, w[name] / w["tool_jobs_2"], u[name] / u["tool_jobs_1"], most[name] / 1024
        }
    }'
