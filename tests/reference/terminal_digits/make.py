# Run in this folder: python3 make.py. Needs numpy and scipy.
import sys
import numpy as np, scipy
from scipy.stats import binom, chisquare

even = [31, 8, 14, 9, 12, 27, 11, 10, 13, 7]
given = [0.2, 0.05, 0.1, 0.05, 0.1, 0.2, 0.1, 0.05, 0.1, 0.05]
with open("data.csv", "w") as f:
    f.write("digit,count,share\n")
    for j in range(10):
        f.write(f"{j},{even[j]},{given[j]}\n")
n = sum(even)
out = []
for name, shares in (("even", [0.1] * 10), ("given", given)):
    e = n * np.array(shares)
    c, p = chisquare(even, e)
    z = (np.array(even) - e) / np.sqrt(e * (1 - np.array(shares)))
    d = int(np.argmax(z))
    out += [(f"{name}_chi_square", c, "scipy.stats.chisquare"), (f"{name}_p", p, "scipy.stats.chisquare")]
    out += [(f"{name}_digit", d, "numpy"), (f"{name}_digit_p", min(1, 10 * binom.sf(even[d] - 1, n, shares[d])), "scipy.stats.binom.sf times 10")]
made = f"Python {sys.version.split()[0]} (C)"
with open("expected.csv", "w") as f:
    f.write("quantity,value,abs_tol,rel_tol,source,made_by\n")
    for q, v, s in out:
        f.write(f"{q},{v:.15g},0,1e-9,{s} with scipy {scipy.__version__} on invented counts,{made}\n")
open("version.txt", "w").write(f"Python {sys.version.split()[0]}\nnumpy {np.__version__}\nscipy {scipy.__version__}\n")
