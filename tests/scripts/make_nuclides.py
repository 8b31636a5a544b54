"""Makes data/nuclides.csv: standard atomic weights, and the masses of nuclides met in labelled compounds.

Values come from the PyPI package periodictable (public domain): IUPAC standard atomic weights in conventional form and
AME nuclide masses.  Run: python make_nuclides.py > ../../data/nuclides.csv
"""
import csv
import sys

import periodictable
from periodictable import elements

LABELS = {"H": [1, 2, 3], "C": [11, 12, 13, 14], "N": [13, 14, 15], "O": [15, 16, 17, 18], "F": [18, 19], "P": [31, 32, 33],
          "S": [32, 33, 34, 35, 36], "Cl": [35, 36, 37], "Br": [76, 79, 81], "I": [123, 124, 125, 127, 129, 131], "Si": [28, 29, 30],
          "B": [10, 11], "Li": [6, 7], "Se": [75, 77, 80], "Na": [22, 23, 24], "K": [39, 40, 41, 42], "Ca": [40, 45], "Fe": [56, 57, 59],
          "Co": [57, 59, 60], "Hg": [202, 203]}
out = csv.writer(sys.stdout, lineterminator="\n")
out.writerow(["symbol", "mass_number", "mass", "source"])
for element in elements:
    if element.number < 1 or element.number > 103 or not element.mass:
        continue
    out.writerow([element.symbol, "", f"{element.mass:.8g}", f"atomic weight, periodictable {periodictable.__version__}"])
    for mass_number in LABELS.get(element.symbol, []):
        out.writerow([element.symbol, mass_number, f"{element[mass_number].mass:.9g}", f"nuclide, periodictable {periodictable.__version__}"])
