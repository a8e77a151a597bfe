"""Reference pages made from the very definitions that the programs use, so that they cannot say anything else.

In: the layout file's schema, the registry of codes, the commands, the board profiles, and the firmware's tables of
settings and methods. Out: the Markdown pages of docs/reference.
`python -m frogfeed.reference FOLDER` writes them; a test says when they are out of date.
"""
