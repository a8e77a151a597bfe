"""What is printed: a PDF book and single drawings, from a layout, its rail network and its plan.

In: layout, network, plan. Out: files. `book.build_book` gives everything that is printed as data; drawings are boxes
and lines with known extents (`drawing`), written as SVG by `svg` and set on pages by `render`.
"""
