"""Sheets for the music stand: exercises in, pages as PDF, SVG or PNG out.

The way of a line: `engraving` has Verovio draw it and takes the drawing apart; `spacing` and
`systems` put its bars under those of the other lines; `drawing` and `finger_strip` make black
drawings of it; `content` adds what is said about it; `composing` and `page_plan` place everything,
as Typst (`sheet.typ`) measures it; `pages` has Typst draw it. `fitting` finds the layout with the
fewest pages and the largest print, and `output` writes files.

The public names are `content_of`, `material_of`, `fitted`, `Booklet`, `SheetSettings`,
`write_sheet`, `pages_of` and `lines_that_fit`, each to be imported from its module: some bring
Verovio and Typst along.
"""
