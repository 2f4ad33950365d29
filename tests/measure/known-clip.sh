#!/bin/sh
# Makes models/known-clip.wav, the recording that the recogniser hears when it is loaded: the beginning of one that comes with the speech
# model (MIT, models/README.md). Needs sox.
#
#     sh tests/measure/known-clip.sh models/cache/moonshine-tiny-en/two_cities.wav models/known-clip.wav
set -eu
sox "${1:?the recording}" -r 16000 -b 16 -c 1 "${2:?the file to write}" trim 1.15 1.4
