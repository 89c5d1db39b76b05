# Reference values for Sen's slope and its bounds. Made with
#   python3 reference.py > reference-scipy.txt
# SciPy 1.10.1, scipy.stats.theilslopes, 95 %; values from reference-r.txt.
from scipy.stats import theilslopes

for line in open("reference-r.txt"):
    name, *v = line.split()
    if name.endswith(".values"):
        y = [float(x) for x in v]
        r = theilslopes(y, range(1, len(y) + 1), 0.95)
        print(name.replace(".values", ".theil"), repr(r[0]), repr(r[2]), repr(r[3]))
