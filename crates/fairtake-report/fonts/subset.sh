#!/usr/bin/env bash
# Makes the two fonts beside this script again: Inter Regular and SemiBold as Debian's package fonts-inter has them, cut
# down to Latin, Greek, Cyrillic and the signs that figures use. Needs Debian (apt-get), Python 3.11 or later.
set -euo pipefail
here="$(cd "$(dirname "$0")" && pwd)"
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
cd "$work"
apt-get download fonts-inter
dpkg -x fonts-inter_*.deb inter
python3 -m venv env
env/bin/pip install --quiet fonttools==4.68.0
# Latin-1, Latin Extended-A, letters of Romanian, capital sharp s; Greek; Cyrillic; punctuation; currency, trade mark,
# ohm; arrows; signs of arithmetic and of outcomes.
letters=U+0020-007E,U+00A0-017F,U+0218-021B,U+1E9E,U+0386-03CE,U+0400-045F
signs=U+2010-2014,U+2018-201A,U+201C-201E,U+2020,U+2022,U+2026,U+202F,U+2030,U+2032,U+2033,U+2039,U+203A,U+2070,U+2074
signs=$signs,U+20AC,U+2122,U+2126,U+2190-2194,U+2206,U+2212,U+221E,U+2248,U+2260,U+2264,U+2265,U+25CB,U+25CF,U+2713
for weight in Regular SemiBold; do
    env/bin/pyftsubset "inter/usr/share/fonts/opentype/inter/Inter-$weight.otf" \
        --unicodes="$letters,$signs" --layout-features=kern,mark,mkmk,ccmp --no-hinting --notdef-outline \
        --name-IDs=0,1,2,3,4,5,6,13,14,16,17 --no-recalc-timestamp --output-file="$here/Inter-$weight.otf"
done
