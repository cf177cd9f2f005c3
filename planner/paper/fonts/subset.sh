#!/bin/sh
# How the files here were made. Those of the first face, from Debian's fonts-noto-core and fonts-noto-mono
# 20201225-1: Latin with its extensions, Greek, Cyrillic, punctuation, currency and the few signs a sheet needs.
set -eu
from=${1:-/usr/share/fonts/truetype/noto}
to=$(dirname "$0")
for name in NotoSans-Regular NotoSans-Bold NotoSansMono-Regular NotoSansMono-Bold; do
    pyftsubset "$from/$name.ttf" --output-file="$to/$name.ttf" --no-hinting --layout-features= --notdef-outline \
        --name-IDs='*' --recommended-glyphs \
        --unicodes=U+0020-007E,U+00A0-024F,U+02C6-02DD,U+0300-036F,U+0370-03FF,U+0400-052F,U+1E00-1EFF,U+2010-2015,U+2018-2022,U+2026,U+2030,U+2032,U+2033,U+2039,U+203A,U+20AC,U+2116,U+2122,U+2212,U+2248,U+2260,U+2264,U+2265,U+FFFD
done

# The second face, for what the first has no glyph of: kana, kanji and signs of the character set that machines in
# Japan have (code page 932: JIS X 0208 and the forms in names), from Debian's fonts-noto-cjk 20220127. Its outlines
# are cubic, and the PDF library embeds quadratic ones: within 3 of 1000 units, 0.015 mm at 14 pt.
python3 - "${2:-/usr/share/fonts/opentype/noto}/NotoSansCJK-Regular.ttc" "$to/NotoSansCJKjp-Regular.ttf" \
    "$to/NotoSans-Regular.ttf" <<'END'
import sys

from fontTools.pens.cu2quPen import Cu2QuPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont, newTable

first = TTFont(sys.argv[3]).getBestCmap()
signs = set()
for lead in (*range(0x81, 0xA0), *range(0xE0, 0xFD)):
    for trail in range(0x40, 0xFD):
        try:
            signs.add(ord(bytes([lead, trail]).decode("cp932")))
        except UnicodeDecodeError:
            pass
signs |= {*range(0xFF61, 0xFFA0), 0x301C}  # narrow katakana; the wave that the code page takes for another
signs = {sign for sign in signs if sign not in first and not 0xE000 <= sign < 0xF900}

font = TTFont(sys.argv[1], fontNumber=0, lazy=True)
options = Options(hinting=False, layout_features=[], name_IDs=["*"], notdef_outline=True)
options.drop_tables += ["vmtx", "vhea", "VORG", "BASE", "GPOS", "GSUB", "GDEF"]
subsetter = Subsetter(options)
subsetter.populate(unicodes=signs)
subsetter.subset(font)
drawn, glyphs = font.getGlyphSet(), {}
for name in font.getGlyphOrder():
    pen = TTGlyphPen(None)
    drawn[name].draw(Cu2QuPen(pen, 3.0, reverse_direction=True))
    glyphs[name] = pen.glyph()
font["loca"], font["glyf"] = newTable("loca"), newTable("glyf")
font["glyf"].glyphOrder, font["glyf"].glyphs = font.getGlyphOrder(), glyphs
del font["CFF "]
font["maxp"].tableVersion = 0x00010000
for key in (
    "maxZones maxTwilightPoints maxStorage maxFunctionDefs maxInstructionDefs maxStackElements"
    " maxSizeOfInstructions maxComponentElements maxPoints maxContours maxCompositePoints maxCompositeContours"
    " maxComponentDepth"
).split():
    setattr(font["maxp"], key, 1 if key == "maxZones" else 0)
font.sfntVersion, font["post"].formatType = "\0\1\0\0", 3.0
font.save(sys.argv[2])
END
