"""Records in, pages out: HTML, plots and pictures that need no server and load nothing from outside.

While a clip is at hand: `pictures.take_pictures`. From the store, without any clip: `site.write_site`.

Building on it: every page extends templates/base.html (its blocks and what it needs are listed at its top) and takes marks,
legends and table cells from templates/macros.html; templates/style.css has the colours as variables, for light, dark and
print, and verdict classes v-met, v-close, v-not-yet, v-cannot-tell. `style=` attributes are dropped by the pages' own policy:
use classes, or SVG attributes. Text goes through `_()`; values come ready from the *_view modules, which know no HTML, and
numbers through `numbers`. Whatever is drawn is inline SVG made of numbers (`plots`).
"""
