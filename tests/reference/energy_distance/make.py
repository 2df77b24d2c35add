# Run in this folder: python3 make.py. Needs numpy, scipy and dcor.
import sys
import dcor, numpy as np, scipy
from scipy.stats import energy_distance

r = np.random.default_rng(20)
# rounded, so that there are ties; the second sample is shifted in one column and wider in the other
first = np.round(np.column_stack([r.normal(30, 6, 40), r.gamma(2, 5, 40)]), 0)
second = np.round(np.column_stack([r.normal(34, 6, 25), r.gamma(2, 8, 25)]), 0)
rows = np.vstack([first, second])
with open("data.csv", "w") as f:
    f.write("sample,x,z\n")
    for s, (x, z) in zip([1] * 40 + [2] * 25, rows):
        f.write(f"{s},{x:g},{z:g}\n")
made = f"Python {sys.version.split()[0]} (C)"
out = []
for j, name in enumerate("xz"):
    out.append((f"scipy_{name}", energy_distance(first[:, j], second[:, j]) ** 2, f"scipy.stats.energy_distance {scipy.__version__} squared"))
    out.append((f"dcor_{name}", float(dcor.energy_distance(first[:, j], second[:, j])), f"dcor.energy_distance {dcor.__version__}"))
with open("expected.csv", "w") as f:
    f.write("quantity,value,abs_tol,rel_tol,source,made_by\n")
    for q, v, s in out:
        f.write(f"{q},{v:.15g},0,1e-11,{s} on invented data,{made}\n")
open("version.txt", "w").write(f"Python {sys.version.split()[0]}\nnumpy {np.__version__}\nscipy {scipy.__version__}\ndcor {dcor.__version__}\n")
