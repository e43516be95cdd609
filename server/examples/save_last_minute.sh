#!/bin/sh
# Saves the last minute as a recording and downloads it as CSV.
# Usage: save_last_minute.sh NAME OUT.csv [ADDRESS]. Needs curl. A learning aid, not a medical device.
set -eu
name=$1 out=$2 address=${3:-http://127.0.0.1:8147}/api/v1
id=$(curl -fsS -H 'Content-Type: application/json' -d "{\"minutes\": 1, \"name\": \"$name\"}" "$address/keep" | sed 's/.*"id":"\([^"]*\)".*/\1/')
curl -fsS -G "$address/recordings/$(printf %s "$id" | sed 's/ /%20/g')/file" -d as=csv -o "$out"
echo "$id: $(grep -vc '^#' "$out") lines in $out"
