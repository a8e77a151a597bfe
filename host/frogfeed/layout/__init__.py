"""The layout file: its schema, reading it with located mistakes, and writing values back without losing comments.

In: the TOML file a person writes. Out: a `Layout` (tables, typed lines, places in the file), or all its mistakes at
once. What the rails do with it is the business of `track`.
"""
