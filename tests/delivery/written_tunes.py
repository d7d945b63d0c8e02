"""Tunes of the usual kinds as ABC, written for these tests: none is anybody's."""
# ruff: noqa: E501 - the rows of a tune are those of its staves

from __future__ import annotations

SIX_EIGHT = """\
X:1
T:Larkmoor Fair
C:Larkmoor collection
R:6/8 march
M:6/8
L:1/8
Q:3/8=76
K:Hp
A|{g}A2 A {d}B>cd|{g}e2 e {g}f>ec|{g}A2 A {d}B>cd|{g}e3 {Gdc}d2 B|
{g}A2 A {d}B>cd|{g}e2 e {g}f>ec|{g}d2 B {GdG}B>AB|1 {g}A3 A2 A:|2 {g}A3 A2||
|:e|{gef}e2 a {fg}f>ec|{g}e2 a f>ec|{gef}e2 a {fg}f>ec|{g}B3 {GdG}B2 e|
{gef}e2 a {fg}f>ec|{g}A2 A {d}B>cd|{g}d2 B {GdG}B>AB|{g}A3 A2:|
"""

TWO_FOUR = """\
X:1
T:The Long Causeway
C:Larkmoor collection
R:2/4 march
M:2/4
L:1/16
Q:1/4=66
K:Hp
e2|{g}A3 B {g}c2 {GdGe}A2|{g}e3 f {gef}e2 c2|{g}A3 B {g}c2 {gef}e2|{g}f3 e {Gdc}d2 {g}B2|
{g}A3 B {g}c2 {GdGe}A2|{g}e3 f {gef}e2 c2|{g}d3 f {g}e3 c|{g}B2 {GdG}B2 {g}A2:|
|:{g}f2|{g}a3 f {gef}e2 {g}c2|{g}e3 f {gef}e2 c2|{g}a3 f {gef}e2 {g}c2|{g}f3 e {Gdc}d2 {g}B2|
{g}a3 f {gef}e2 {g}c2|{g}e3 f {gef}e2 c2|{g}d3 f {g}e3 c|{g}B2 {GdG}B2 {g}A2:|
"""

STRATHSPEY = """\
X:1
T:Mistress Fernie of Larkmoor
C:Larkmoor collection
R:Strathspey
M:C
L:1/8
Q:1/4=118
K:Hp
|:{g}A>B {g}c<e {gf}g>e {g}c>A|{g}B>c {gde}d>B {g}G>B {gBd}B>G|{g}A>B {g}c<e {gf}g>e {g}c>A|(3Bcd {g}c>A {GdGe}A2 A2:|
|:{ag}a>e {g}c<e {ag}a>e {g}c>A|{g}B>c {gde}d>B {g}G>B {gBd}B>G|{ag}a>e {g}c<e {gf}g>e {g}c>A|(3Bcd {g}c>A {GdGe}A2 A2:|
"""

REEL = """\
X:1
T:The Peat Creel
C:Larkmoor collection
R:Reel
M:C|
L:1/8
Q:1/2=76
K:Hp
|:{g}A2 {g}cA {g}eA {g}cA|{g}B2 {g}dB {g}fB {g}dB|{g}A2 {g}cA {g}eA {g}cA|1 {g}Bcd{e}B {GdG}A2 {g}A2:|2 {g}Bcd{e}B {GdG}A2 {g}e2||
|:{g}a2 {fg}fa {g}eA {g}cA|{g}fdBd {g}fdBd|{g}a2 {fg}fa {g}eA {g}cA|{g}Bcd{e}B {GdG}A2 {g}A2:|
"""

AIR = """\
X:1
T:The Still Harbour
C:Larkmoor collection
R:Slow air
M:3/4
L:1/8
Q:1/4=48
K:Hp
A>B|{g}c4 {g}e>c|{g}d3 c {g}B>A|{gBd}B4 {g}A>G|{g}A4 A>B|{g}c4 {g}e>f|{g}g3 f {g}e>c|{Gdc}d2 {g}c2 {g}B2|{g}A4-A2-|
A4 {g}e>f|{g}g4 {g}f>e|{g}f3 e {g}c>A|{gBd}B4 {g}A>G|{g}A4 A>B|{g}c4 {g}e>f|{g}g3 f {g}e>c|{Gdc}d2 {g}c2 {g}B2|{g}A4|]
"""

_PHRASE = "{g}A2 A {d}BAB|{g}c2 c {g}ecA|{g}d2 d {g}fed|"
_PART = f"{_PHRASE}{{gef}}e3 {{g}}ecA|\n{_PHRASE}{{g}}A3 {{GdGe}}A3||\n"
SIXTY_FOUR = (
    "X:1\nT:The Sixty-four\nC:Larkmoor collection\nR:Jig\nM:6/8\nL:1/8\nQ:3/8=112\nK:Hp\n"
    + _PART * 8
)

TUNES = {
    "6/8 march": SIX_EIGHT,
    "2/4 march": TWO_FOUR,
    "strathspey": STRATHSPEY,
    "reel": REEL,
    "slow air": AIR,
    "64 bars": SIXTY_FOUR,
}
