#!/bin/sh
# Makes models/known-clip.wav, the recording that the recogniser hears when it is loaded. Needs espeak-ng and sox.
#
#     sh tests/measure/known-clip.sh models/known-clip.wav
set -eu
into=${1:?the file to write}
espeak-ng -v en-gb-x-rp -s 150 --stdout "the light is on" |
    sox -t wav - -r 16000 -b 16 -c 1 "$into" silence 1 0.01 0.5% reverse silence 1 0.01 0.5% reverse
