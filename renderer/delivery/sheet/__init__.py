"""Sheets for the music stand: exercises in, pages as PDF, SVG or PNG out.

The way of a line: `engraving` has Verovio draw it and takes the drawing apart; `spacing` and
`systems` put its bars under those of the other lines; `drawing` and `fingers` make black drawings
of it; `content` adds what is said about it; `pages` lays everything out with Typst (`sheet.typ`).
`output` writes files, and `fitting` counts pages for abridging.

The public names are `content_of`, `Pages`, `Booklet`, `SheetSettings`, `write_sheet`,
`pages_of` and `lines_that_fit`, each to be imported from its module: some bring Verovio and Typst
along.
"""
