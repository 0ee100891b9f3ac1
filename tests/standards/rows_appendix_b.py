"""The rows of the cooling options, typed from the sources.

Source: FSIS Appendix B, January and June 1999 (Ohio State University meat science,
        node 117; option 3 as quoted by Texas A&M University, meat HACCP questions);
        FSIS-GD-2021-13, December 2021, from memory, to be verified; California Code
        of Regulations title 3 section 910.15 (2007); FDA Food Code section
        3-501.14(A), 2013 to 2022.
"""

from typing import NamedTuple


class Row(NamedTuple):
    """One option: its bands as (from degF, to degF, h), and the rest of its line."""

    name: str
    bands: tuple[tuple[int, int, float], ...]
    total_h: float
    end_f: int
    start_within_min: int
    verified: bool


OPTIONS = [
    Row(
        "FSIS Appendix B 1999, option 1",
        ((130, 80, 1.5), (80, 40, 5)),
        total_h=6.5,
        end_f=40,
        start_within_min=0,
        verified=True,
    ),
    Row(
        "FSIS Appendix B 1999, option 2",
        ((120, 80, 1), (80, 55, 5)),
        total_h=6,
        end_f=40,
        start_within_min=90,
        verified=True,
    ),
    Row(
        "FSIS Appendix B 1999, option 3",
        ((130, 80, 5), (80, 45, 10)),
        total_h=15,
        end_f=45,
        start_within_min=0,
        verified=True,
    ),
    # The same option with the lower end that node 117 prints.
    Row(
        "FSIS Appendix B 1999, option 3, to 40 degF",
        ((130, 80, 5), (80, 40, 10)),
        total_h=15,
        end_f=40,
        start_within_min=0,
        verified=True,
    ),
    Row(
        "FSIS Appendix B 2021, option 1",
        ((130, 80, 1.5), (80, 40, 5)),
        total_h=6.5,
        end_f=40,
        start_within_min=0,
        verified=False,
    ),
    Row(
        "FSIS Appendix B 2021, option 2",
        ((120, 80, 1), (80, 55, 5)),
        total_h=6,
        end_f=40,
        start_within_min=90,
        verified=False,
    ),
    Row(
        "FSIS Appendix B 2021, option 3",
        ((130, 80, 5), (80, 45, 10)),
        total_h=15,
        end_f=45,
        start_within_min=0,
        verified=False,
    ),
    Row(
        "FSIS Appendix B 2021, option 4",
        ((120, 40, 20),),
        total_h=20,
        end_f=40,
        start_within_min=0,
        verified=False,
    ),
    Row(
        "California 910.15, slow cooling",
        ((120, 40, 20),),
        total_h=20,
        end_f=40,
        start_within_min=0,
        verified=True,
    ),
    Row(
        "California 910.15, not slow-cooled",
        ((135, 70, 2), (70, 41, 4)),
        total_h=6,
        end_f=41,
        start_within_min=0,
        verified=True,
    ),
    Row(
        "FDA Food Code 3-501.14(A)",
        ((135, 70, 2), (135, 41, 6)),
        total_h=6,
        end_f=41,
        start_within_min=0,
        verified=True,
    ),
]
