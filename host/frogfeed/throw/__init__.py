"""How a servo moves a blade, and when a feed may change over meanwhile.

In: a drive's pulse ends, linkage and speed, and the times of a switched output. Out: for each direction the
stretch in which neither blade touches, and the move a board is told to make, or a refusal with its numbers.
"""
