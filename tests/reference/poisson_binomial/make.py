# Run in this folder: python3 make.py. Sums of unequal Bernoulli variables in exact rational arithmetic.
import sys
from fractions import Fraction
from itertools import combinations

small = [Fraction(x) for x in "0.02 0.05 0.11 0.17 0.3 0.42 0.5 0.63 0.71 0.8 0.93 0.985".split()]
large = [Fraction(1 + (37 * i) % 97, 250) for i in range(120)]

def by_subsets(p):  # the definition
    masses = []
    for k in range(len(p) + 1):
        total = Fraction(0)
        for chosen in combinations(range(len(p)), k):
            product = Fraction(1)
            for i, x in enumerate(p):
                product *= x if i in chosen else 1 - x
            total += product
        masses.append(total)
    return masses

def by_polynomial(p):
    masses = [Fraction(1)]
    for x in p:
        masses = [(masses[k] if k < len(masses) else 0) * (1 - x) + (masses[k - 1] if k else 0) * x
                  for k in range(len(masses) + 1)]
    return masses

assert by_subsets(small) == by_polynomial(small)
with open("data.csv", "w") as data, open("expected.csv", "w") as expected:
    data.write("set,p\n")
    expected.write("quantity,value,abs_tol,rel_tol,source,made_by\n")
    for name, p, counts in [(1, small, range(13)), (2, large, [0, 3, 12, 20, 24, 30, 45, 80, 120])]:
        for x in p:
            data.write(f"{name},{float(x)!r}\n")
        masses = by_polynomial(p)
        assert sum(masses) == 1
        for k in counts:
            below, above = sum(masses[:k], Fraction(0)), sum(masses[k + 1:], Fraction(0))
            for quantity, value in [("mass", masses[k]), ("at_most", below + masses[k]),
                                    ("at_least", above + masses[k])]:
                expected.write(f"{quantity}_{name}_{k},{float(value)!r},0,1e-12,definition,Python fractions (C)\n")
with open("version.txt", "w") as version:
    version.write(f"Python {sys.version.split()[0]}\n")
