# Run in this folder: python3 make.py. An invented series with three shifts, cut by ruptures' dynamic programming (cost l2).
import sys
import numpy, ruptures

rng = numpy.random.default_rng(12)
levels = numpy.repeat([10.0, 11.2, 9.4, 10.6], [40, 55, 30, 75])
values = numpy.round(levels + rng.normal(0, 0.9, len(levels)), 3)
with open("data.csv", "w") as data:
    data.write("value\n" + "".join(f"{v}\n" for v in values))
search = ruptures.Dynp(model="l2", min_size=6, jump=1).fit(values)
with open("expected.csv", "w") as expected:
    expected.write("quantity,value,abs_tol,rel_tol,source,made_by\n")
    for k in range(1, 6):
        ends = search.predict(n_bkps=k)
        for j, end in enumerate(ends[:-1]):
            expected.write(f"start_{k}_{j},{end},0,0,ruptures Dynp l2 min_size 6,Python (C)\n")
        rss = search.cost.sum_of_costs(ends)
        n = len(values)
        bic = n * (numpy.log(rss / n) + 1 + numpy.log(2 * numpy.pi)) + (2 * k + 2) * numpy.log(n)
        expected.write(f"bic_{k},{bic!r},0,1e-11,ruptures Dynp l2 min_size 6; BIC of Zeileis et al. 2003,Python (C)\n".replace("np.float64(", "").replace(")", ""))
with open("version.txt", "w") as version:
    version.write(f"Python {sys.version.split()[0]}\nruptures {ruptures.__version__}\nnumpy {numpy.__version__}\n")
