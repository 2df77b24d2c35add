"""Fails when a dependency's licence is not on the list of deny.toml, or comes from elsewhere than the crate registry.

Reads `cargo metadata`; understands OR, AND, the old `/` for OR, and one level of brackets.
"""

import json
import subprocess
import sys
import tomllib

with open("deny.toml", "rb") as file:
    ALLOWED = set(tomllib.load(file)["licenses"]["allow"])


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
print(f"{len(metadata['packages'])} packages, {len(refused)} refused")
if refused:
    sys.exit("\n".join(refused))
