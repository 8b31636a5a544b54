"""Makes data/counter_ions.csv: molecules that are left out when the parent of a salt or solvate is sought.

The list is common practice; the skeletons (formula and connection layer of the standard InChI) come from RDKit.
Run: python make_counter_ions.py > ../../data/counter_ions.csv   (needs rdkit; made with 2026.09.1)
"""
import csv
import sys

from rdkit import Chem, rdBase

LIST = [
    # name, rank, SMILES. Rank 1 is left out first; rank 2 only if something else remains.
    ("water", 1, "O"), ("hydrogen chloride", 1, "Cl"), ("hydrogen bromide", 1, "Br"), ("hydrogen iodide", 1, "I"),
    ("hydrogen fluoride", 1, "F"), ("sulfuric acid", 1, "OS(=O)(=O)O"), ("phosphoric acid", 1, "OP(=O)(O)O"),
    ("nitric acid", 1, "O[N+](=O)[O-]"), ("perchloric acid", 1, "OCl(=O)(=O)=O"), ("carbonic acid", 1, "OC(=O)O"),
    ("carbon dioxide", 1, "O=C=O"), ("boric acid", 1, "OB(O)O"), ("ammonia", 1, "N"), ("thiocyanic acid", 1, "SC#N"),
    ("tetrafluoroborate", 1, "F[B-](F)(F)F"), ("hexafluorophosphate", 1, "F[P-](F)(F)(F)(F)F"),
    ("hydroxide", 1, "[OH-]"),
    ("acetic acid", 2, "CC(=O)O"), ("formic acid", 2, "OC=O"), ("trifluoroacetic acid", 2, "OC(=O)C(F)(F)F"),
    ("propanoic acid", 2, "CCC(=O)O"), ("oxalic acid", 2, "OC(=O)C(=O)O"), ("malonic acid", 2, "OC(=O)CC(=O)O"),
    ("methanesulfonic acid", 2, "CS(=O)(=O)O"), ("ethanesulfonic acid", 2, "CCS(=O)(=O)O"),
    ("benzenesulfonic acid", 2, "OS(=O)(=O)c1ccccc1"), ("4-methylbenzenesulfonic acid", 2, "Cc1ccc(cc1)S(=O)(=O)O"),
    ("trifluoromethanesulfonic acid", 2, "OS(=O)(=O)C(F)(F)F"),
    ("10-camphorsulfonic acid", 2, "CC1(C)C2CCC1(CS(=O)(=O)O)C(=O)C2"),
    ("maleic or fumaric acid", 2, "OC(=O)C=CC(=O)O"), ("succinic acid", 2, "OC(=O)CCC(=O)O"),
    ("malic acid", 2, "OC(=O)CC(O)C(=O)O"), ("tartaric acid", 2, "OC(=O)C(O)C(O)C(=O)O"),
    ("citric acid", 2, "OC(=O)CC(O)(CC(=O)O)C(=O)O"), ("lactic acid", 2, "CC(O)C(=O)O"),
    ("mandelic acid", 2, "OC(=O)C(O)c1ccccc1"), ("benzoic acid", 2, "OC(=O)c1ccccc1"),
    ("salicylic acid", 2, "OC(=O)c1ccccc1O"), ("picric acid", 2, "Oc1c(cc(cc1[N+](=O)[O-])[N+](=O)[O-])[N+](=O)[O-]"),
    ("pamoic acid", 2, "OC(=O)c1cc2ccccc2c(Cc2c(O)c(cc3ccccc23)C(=O)O)c1O"),
    ("methanol", 2, "CO"), ("ethanol", 2, "CCO"), ("propan-2-ol", 2, "CC(C)O"), ("acetone", 2, "CC(C)=O"),
    ("acetonitrile", 2, "CC#N"), ("chloroform", 2, "ClC(Cl)Cl"), ("dichloromethane", 2, "ClCCl"),
    ("benzene", 2, "c1ccccc1"), ("toluene", 2, "Cc1ccccc1"), ("ethyl acetate", 2, "CCOC(C)=O"),
    ("diethyl ether", 2, "CCOCC"), ("1,4-dioxane", 2, "C1COCCO1"), ("pyridine", 2, "c1ccncc1"),
    ("dimethyl sulfoxide", 2, "CS(C)=O"), ("N,N-dimethylformamide", 2, "CN(C)C=O"),
    ("dicyclohexylamine", 2, "C1CCCCC1NC1CCCCC1"), ("cyclohexylamine", 2, "NC1CCCCC1"), ("triethylamine", 2, "CCN(CC)CC"),
    ("diethylamine", 2, "CCNCC"), ("tert-butylamine", 2, "CC(C)(C)N"), ("2-aminoethanol", 2, "NCCO"),
    ("tromethamine", 2, "NC(CO)(CO)CO"), ("meglumine", 2, "CNCC(O)C(O)C(O)C(O)CO"), ("piperazine", 2, "C1CNCCN1"),
    ("ethylenediamine", 2, "NCCN"), ("benzathine", 2, "C(CNCc1ccccc1)NCc1ccccc1"), ("choline", 2, "C[N+](C)(C)CCO"),
    ("tetramethylammonium", 2, "C[N+](C)(C)C"), ("tetrabutylammonium", 2, "CCCC[N+](CCCC)(CCCC)CCCC"),
    ("1-phenylethylamine", 2, "CC(N)c1ccccc1"),
]

out = csv.writer(sys.stdout, lineterminator="\n")
out.writerow(["name", "rank", "skeleton", "smiles", "source"])
for name, rank, smiles in LIST:
    inchi = Chem.MolToInchi(Chem.MolFromSmiles(smiles), options="-SNon")
    layers = inchi.split("/")[1:]
    skeleton = layers[0] + "".join("/" + layer for layer in layers[1:] if layer[0] == "c")
    out.writerow([name, rank, skeleton, smiles, f"list: common practice; skeleton: RDKit {rdBase.rdkitVersion}"])
