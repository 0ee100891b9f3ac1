"""The rows of the Food Code's cooking and cooling sections, typed from the sources.

Source: FDA Food Code section 3-401.11(A)(2) as carried in Minnesota Rules 4626.0340
        (15 s at 155 degF) and in the North Carolina food handler manual, page 55
        (17 s); section 3-401.11(B), whole roasts, of which five rows were read in
        that manual and the others are from memory, to be verified.
"""

COMMINUTED = {  # edition: degF, s
    "2017": [(145, 3 * 60), (150, 60), (155, 17), (158, 0)],
    "2013": [(145, 3 * 60), (150, 60), (155, 15), (158, 0)],
}

WHOLE_ROAST = [  # degF, s, read in the source
    (130, 112 * 60, True),
    (131, 89 * 60, False),
    (133, 56 * 60, False),
    (135, 36 * 60, False),
    (136, 28 * 60, False),
    (138, 18 * 60, False),
    (140, 12 * 60, True),
    (142, 8 * 60, True),
    (144, 5 * 60, True),
    (145, 4 * 60, True),
    (147, 134, False),
    (149, 85, False),
    (151, 54, False),
    (153, 34, False),
    (155, 22, False),
    (157, 14, False),
    (158, 0, False),
]
