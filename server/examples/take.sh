#!/bin/sh
# Brings a recording into the running program and takes out what it makes of it, with curl alone:
#   sh take.sh http://127.0.0.1:8147 walk.edf results
# writes beats.csv, intervals.csv, measures.csv, figures.csv and filtered.edf into the folder results.
set -eu
api=$1/api/v1 file=$2 folder=$3
mkdir -p "$folder"

name=$(basename "$file" | sed 's/%/%25/g; s/ /%20/g; s/&/%26/g; s/+/%2B/g; s/#/%23/g')
answer=$(curl -sS --fail-with-body -H 'Content-Type: application/octet-stream' --data-binary @"$file" "$api/recordings?name=$name")
id=$(printf '%s' "$answer" | sed -n 's/.*"id":"\([^"]*\)".*/\1/p' | sed 's/%/%25/g; s/ /%20/g; s/+/%2B/g; s/#/%23/g')

for what in beats intervals measures figures; do
	curl -sS --fail-with-body -o "$folder/$what.csv" "$api/recordings/$id/taken?what=$what"
done
curl -sS --fail-with-body -o "$folder/filtered.edf" "$api/recordings/$id/taken?what=signal&as=edf"
