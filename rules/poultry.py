"""Poultry anywhere in a product: it takes the poultry target, whatever else is in it.

No table for poultry is built in: the published ones go by species and fat.  So a dwell
table is the user's own, for poultry, and a sum of log reductions aims at 7-log10 or
more; the tables for meat are refused.

Units: ``_mlog10`` thousandths of a decade.

Source: 9 CFR 381.150(a)(1) (7-log10 of Salmonella); FSIS-GD-2021-14: any poultry in a
product takes the poultry tables.
"""

POULTRY = ("poultry", "mixed")
TARGET_MLOG10 = 7_000
SOURCE = "9 CFR 381.150(a)(1); FSIS-GD-2021-14"
OWN_TABLE = (
    "write meat: pork or beef if there is none; otherwise name under 'tables' a CSV "
    "file with the rows that your process authority approved, as 'fumarium schedules "
    "poultry_sausage' shows, or judge it by integrated lethality with target: 7-log10"
)
_BY = {
    "dwell table": "judged by a table for poultry",
    "integrated lethality": "the poultry target is 7-log10",
}


def words(meat: str, kind: str) -> str:
    """What a verdict of lethality says where there is poultry in the product."""
    if meat not in POULTRY or kind not in _BY:
        return ""
    return f"; poultry in the product: {_BY[kind]} ({SOURCE})"
