"""Paper size and names of trays come in, a PDF to print goes out; a photo of the print comes in, its scale goes out."""

from canopy.sheet.check import PrintCheck, check_print
from canopy.sheet.draw import draw_sheet
from canopy.sheet.plan import PAPERS, Plan, plan_for

__all__ = ["PAPERS", "Plan", "PrintCheck", "check_print", "draw_sheet", "plan_for"]
