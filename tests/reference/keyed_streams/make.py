# Run in this folder: python3 make.py. An independent ChaCha8 (Bernstein 2008) and the key digest of random.rs, by its head.
import struct, sys

M = 0xFFFFFFFF

def block(key, counter):
    s = [0x61707865, 0x3320646E, 0x79622D32, 0x6B206574, *struct.unpack("<8I", key), counter & M, counter >> 32, 0, 0]
    w = s[:]
    def rot(x, n): return ((x << n) | (x >> (32 - n))) & M
    def quarter(a, b, c, d):
        for x, y, z, n in ((a, b, d, 16), (c, d, b, 12), (a, b, d, 8), (c, d, b, 7)):
            w[x] = (w[x] + w[y]) & M
            w[z] = rot(w[z] ^ w[x], n)
    for _ in range(4):
        for i in range(4): quarter(i, 4 + i, 8 + i, 12 + i)
        for i in range(4): quarter(i, 4 + (i + 1) % 4, 8 + (i + 2) % 4, 12 + (i + 3) % 4)
    return struct.pack("<16I", *((x + y) & M for x, y in zip(w, s)))

assert block(bytes(32), 0)[:8].hex() == "3e00ef2f895f40d6"  # ChaCha8, all-zero key (published test vector; M)

def digest(seed, name):
    state = struct.pack("<Q", seed) + bytes(24)
    for part in [name[i:i + 32] for i in range(0, len(name), 32)] + [struct.pack("<Q", len(name))]:
        state = block(bytes(a ^ b for a, b in zip(state, part.ljust(32, b"\0"))), 0)[:32]
    return state

with open("data.csv", "w") as data, open("expected.csv", "w") as expected:
    data.write("seed,name_length\n")
    expected.write("quantity,value,abs_tol,rel_tol,source,made_by\n")
    for seed, length in [(0, 0), (1, 0), (20260101, 5), (7, 32), (7, 33), (7, 100)]:
        data.write(f"{seed},{length}\n")
        key = digest(seed, bytes(range(length)))
        words = struct.unpack("<16Q", block(key, 0) + block(key, 1))
        for i in (0, 1, 9):
            uniform = ((words[i] >> 12) + 0.5) / 2**52
            expected.write(f"uniform_{seed}_{length}_{i},{uniform!r},0,1e-15,head of random.rs,Python (C)\n")
with open("version.txt", "w") as version:
    version.write(f"Python {sys.version.split()[0]}\n")
