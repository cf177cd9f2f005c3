#!/bin/sh
# How the four files here were made, from Debian's fonts-noto-core and fonts-noto-mono 20201225-1:
# Latin with its extensions, Greek, Cyrillic, punctuation, currency and the few signs a sheet needs.
set -eu
from=${1:-/usr/share/fonts/truetype/noto}
to=$(dirname "$0")
for name in NotoSans-Regular NotoSans-Bold NotoSansMono-Regular NotoSansMono-Bold; do
    pyftsubset "$from/$name.ttf" --output-file="$to/$name.ttf" --no-hinting --layout-features= --notdef-outline \
        --name-IDs='*' --recommended-glyphs \
        --unicodes=U+0020-007E,U+00A0-024F,U+02C6-02DD,U+0300-036F,U+0370-03FF,U+0400-052F,U+1E00-1EFF,U+2010-2015,U+2018-2022,U+2026,U+2030,U+2032,U+2033,U+2039,U+203A,U+20AC,U+2116,U+2122,U+2212,U+2248,U+2260,U+2264,U+2265,U+FFFD
done
