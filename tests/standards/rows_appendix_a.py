"""The rows of the FSIS meat table, typed from the source.

Source: FSIS Appendix A, January and June 1999, meat table: degF, time for 6.5-log10
and for 7-log10 of Salmonella.  Times are in minutes to 145 degF and in seconds from
146 degF, as printed; they are typed here in seconds.
"""

MEAT = [  # degF, s for 6.5-log10, s for 7-log10
    (130, 112 * 60, 121 * 60),
    (131, 89 * 60, 97 * 60),
    (132, 71 * 60, 77 * 60),
    (133, 56 * 60, 62 * 60),
    (134, 45 * 60, 47 * 60),
    (135, 36 * 60, 37 * 60),
    (136, 28 * 60, 32 * 60),
    (137, 23 * 60, 24 * 60),
    (138, 18 * 60, 19 * 60),
    (139, 15 * 60, 15 * 60),
    (140, 12 * 60, 12 * 60),
    (141, 9 * 60, 10 * 60),
    (142, 8 * 60, 8 * 60),
    (143, 6 * 60, 6 * 60),
    (144, 5 * 60, 5 * 60),
    (145, 4 * 60, 4 * 60),
    (146, 169, 182),
    (147, 134, 144),
    (148, 107, 115),
    (149, 85, 91),
    (150, 67, 72),
    (151, 54, 58),
    (152, 43, 46),
    (153, 34, 37),
    (154, 27, 29),
    (155, 22, 23),
    (156, 17, 19),
    (157, 14, 15),
    (158, 0, 0),
    (159, 0, 0),
    (160, 0, 0),
]

SIX_AND_A_HALF = [(degf, dwell_s) for degf, dwell_s, _ in MEAT]
SEVEN = [(degf, dwell_s) for degf, _, dwell_s in MEAT]
