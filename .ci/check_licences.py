"""Fails when a dependency's licence is not on the list of deny.toml, when it comes from elsewhere than the crate registry,
or when it is there to reach a network; and when our own code opens a socket.

Reads `cargo metadata` for licences (all that is locked) and `cargo tree` for networks (what is built, on any platform: the lock
file names optional packages too). Understands OR, AND, the old `/` for OR, and one level of brackets.
"""

import json
import pathlib
import re
import subprocess
import sys
import tomllib

with open("deny.toml", "rb") as file:
    DENY = tomllib.load(file)
ALLOWED = set(DENY["licenses"]["allow"])
BANNED = set(DENY["bans"]["deny"])
SOCKETS = re.compile(r"\bstd::(os::unix::)?net\b|\b(Tcp|Udp|Unix)(Stream|Listener|Socket|Datagram)\b")


def permitted(expression):
    text = expression.replace("/", " OR ").replace("(", " ( ").replace(")", " ) ")
    tokens, words = [], text.split()
    i = 0
    while i < len(words):  # join `Apache-2.0 WITH LLVM-exception`
        if i + 2 < len(words) and words[i + 1] == "WITH":
            tokens.append(" ".join(words[i:i + 3]))
            i += 3
        else:
            tokens.append(words[i])
            i += 1

    def alternatives(at):
        value, at = together(at)
        while at < len(tokens) and tokens[at] == "OR":
            other, at = together(at + 1)
            value = value or other
        return value, at

    def together(at):
        value, at = one(at)
        while at < len(tokens) and tokens[at] == "AND":
            other, at = one(at + 1)
            value = value and other
        return value, at

    def one(at):
        if tokens[at] == "(":
            value, at = alternatives(at + 1)
            return value, at + 1
        return tokens[at] in ALLOWED, at + 1

    return alternatives(0)[0]


def banned(tree):
    """What is banned in the lines `NAME vVERSION ...` of a dependency tree."""
    lines = {" ".join(line.split()[:2]) for line in tree.splitlines() if line.strip()}
    return [f"{line}: reaches a network (bans.deny in deny.toml)" for line in sorted(lines) if line.split()[0] in BANNED]


def opens_sockets(text):
    return any(SOCKETS.search(line.split("//")[0]) for line in text.splitlines())


def self_check():
    assert banned("serde v1.0.0\ntokio v1.0.0 (*)\nhyper-like v1.0.0\n") == []
    assert len(banned("serde v1.0.0\nhyper v1.2.0\nhyper v1.2.0 (*)\n")) == 1
    assert opens_sockets("use std::net::TcpStream;") and not opens_sockets("let net = 2; // std::net")
    assert permitted("MIT OR GPL-3.0") and not permitted("MIT AND GPL-3.0")


self_check()
metadata = json.loads(subprocess.run(
    ["cargo", "metadata", "--format-version", "1", "--locked"], check=True, capture_output=True, text=True).stdout)
refused = []
for package in metadata["packages"]:
    source = package["source"]
    if source is None:
        continue  # our own
    if not source.startswith("registry+"):
        refused.append(f"{package['name']}: comes from {source}")
    if not permitted(package["license"] or "none"):
        refused.append(f"{package['name']} {package['version']}: {package['license']}")
tree = subprocess.run(
    ["cargo", "tree", "--locked", "--workspace", "--target", "all", "--edges", "normal,build,dev", "--prefix", "none"],
    check=True, capture_output=True, text=True).stdout
built = {line.split()[0] for line in tree.splitlines() if line.strip()}
assert {"mendcurve", "polars", "serde"} <= built, "the tree of what is built was not read"
refused += banned(tree)
refused += [f"{path}: opens a socket" for path in sorted(pathlib.Path("src").rglob("*.rs")) if opens_sockets(path.read_text())]
print(f"{len(metadata['packages'])} packages locked, {len(built)} built on some platform, {len(refused)} refused")
if refused:
    sys.exit("\n".join(refused))
