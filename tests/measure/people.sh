#!/bin/sh
# Fetches recordings of real people for `hearing -- people` into a folder: the prompts of a telephone exchange in five languages, from
# Debian's packages (CC BY-SA 3.0; nothing of them is kept in this project). Needs apt-get, dpkg-deb and ffmpeg.
#
#     sh tests/measure/people.sh DIR
set -eu
into=${1:?a folder to put the recordings into}
for program in apt-get dpkg-deb ffmpeg; do
    command -v "$program" >/dev/null || { echo "$program is missing: apt-get install -y ffmpeg" >&2; exit 3; }
done
mkdir -p "$into"
into=$(cd "$into" && pwd)
unpacked=$(mktemp -d)
trap 'rm -rf "$unpacked"' EXIT
cd "$unpacked"
for language in en es fr it ru; do
    apt-get download -q "asterisk-core-sounds-$language-g722"
done
for package in *.deb; do
    dpkg-deb -x "$package" .
done
cd usr/share/asterisk/sounds
find . -name '*.g722' | while read -r sound; do
    wav="$into/${sound%.g722}.wav"
    mkdir -p "$(dirname "$wav")"
    # ffmpeg would read the list of files from standard input.
    ffmpeg -v error -y -f g722 -i "$sound" -ac 1 -ar 16000 "$wav" </dev/null
done
echo "$(find "$into" -name '*.wav' | wc -l) recordings in $into: PROBESIDE_PEOPLE=$into"
