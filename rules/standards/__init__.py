"""Published tables, each with its source, its edition and whether it was read.

A figure that was not read in its source carries ``verified=False`` and a note that
says so; whoever shows the figure shows the note.
"""
