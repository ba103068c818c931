"""Figures of outcomes as SVG: counts and words in, a drawing out; no clock, no database, the standard library alone.

Colours and letters are named by the tokens of the pages' style sheet (`var(--ink)`), so that dark and forced colours work there
and print can put plain colours in their place. Every size is that of the drawing as shown: one is made anew for each width.
"""
