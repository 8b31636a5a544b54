"""Makes tests/data/mirror_images.csv: the mirror image of every compound of compound_structures.csv.

The mirror image is made by inverting every tetrahedral tag with RDKit; its InChIKey comes from RDKit.
Run: python make_mirror_images.py ../data/compound_structures.csv > ../data/mirror_images.csv  (made with RDKit 2026.09.1)
"""
import csv
import sys

from rdkit import Chem, RDLogger

RDLogger.DisableLog("rdApp.*")
TETRAHEDRAL = (Chem.ChiralType.CHI_TETRAHEDRAL_CW, Chem.ChiralType.CHI_TETRAHEDRAL_CCW)

out = csv.writer(sys.stdout, lineterminator="\n")
out.writerow(["name", "smiles", "inchikey", "mirror_inchikey"])
seen = set()
for row in csv.DictReader(open(sys.argv[1])):
    if not row["inchikey"] or row["inchikey"] in seen:
        continue
    seen.add(row["inchikey"])
    mol = Chem.MolFromSmiles(row["smiles"])
    for atom in mol.GetAtoms():
        if atom.GetChiralTag() in TETRAHEDRAL:
            atom.InvertChirality()
    out.writerow([row["name"], row["smiles"], row["inchikey"], Chem.MolToInchiKey(mol)])
