"""Fails when Cargo.lock holds a version that an advisory of the RustSec database calls vulnerable.

    python3 .ci/check_advisories.py [DATABASE]

The database is a checkout of RustSec's advisory-db: the argument, else $ADVISORY_DB, else where `cargo audit` and `cargo deny`
keep theirs. Nothing is fetched. Where there is none, this says that advisories were not checked, and passes. Advisories
that only inform (unmaintained, unsound, notice) are printed and do not fail. `ignore` under [advisories] in deny.toml names
those that were looked into.
"""

import os
import pathlib
import re
import sys
import tempfile
import tomllib

def version(text):
    """A version as a tuple that sorts as SemVer 2.0 does; build metadata does not count."""
    core, _, pre = text.strip().split("+")[0].partition("-")
    numbers = [int(part) for part in core.split(".")]
    numbers += [0] * (3 - len(numbers))
    marks = tuple((0, int(part), "") if part.isdigit() else (1, 0, part) for part in pre.split(".")) if pre else None
    return tuple(numbers), (1,) if marks is None else (0, marks)


def meets(one, requirement):
    """Whether a version meets `>= 1.2, < 2`, `^1.2.3`, `~1.2`, `= 1.2.3`, `1.2` (as ^) or `*`."""
    return all(meets_one(one, part.strip()) for part in requirement.split(",") if part.strip())


def meets_one(one, part):
    if part == "*":
        return True
    sign, text = re.fullmatch(r"(>=|<=|>|<|=|\^|~)?\s*v?(.+)", part).groups()
    text = text.replace(".*", "").replace(".x", "")
    least, parts = version(text), [int(n) for n in text.split("+")[0].split("-")[0].split(".")]
    if sign in (">=", "<=", ">", "<"):
        return {">=": one >= least, "<=": one <= least, ">": one > least, "<": one < least}[sign]
    if sign == "=":
        return one[0][:len(parts)] == tuple(parts) and (len(parts) < 3 or one == least)
    if sign == "~":
        fixed = min(len(parts), 2)
    else:  # up to the first number that is not 0
        fixed = next((i + 1 for i, number in enumerate(parts) if number), len(parts))
    return one >= least and one[0][:fixed] == tuple(parts[:fixed])


def advisories(database):
    """The front matter of every advisory: TOML in a fence at the head of a Markdown file."""
    for path in sorted(pathlib.Path(database).glob("crates/*/*.md")):
        match = re.match(r"\s*```toml\n(.*?)\n```", path.read_text(encoding="utf-8"), re.DOTALL)
        if not match:
            raise SystemExit(f"{path}: no front matter; is this the advisory database?")
        yield tomllib.loads(match.group(1))


def held_against(database, lock, ignored):
    """What speaks against the packages of a lock file: faults, and notes."""
    locked = {}
    for package in tomllib.loads(lock)["package"]:
        if package.get("source", "").startswith("registry+"):
            locked.setdefault(package["name"], []).append(package["version"])
    faults, notes, count = [], [], 0
    for entry in advisories(database):
        count += 1
        about, versions = entry["advisory"], entry.get("versions", {})
        if about.get("withdrawn") or about["id"] in ignored:
            continue
        safe = versions.get("patched", []) + versions.get("unaffected", [])
        for one in locked.get(about["package"], []):
            if not any(meets(version(one), requirement) for requirement in safe):
                kind = about.get("informational")
                text = f"{about['id']}: {about['package']} {one}" + (f" ({kind})" if kind else "")
                (notes if kind else faults).append(text)
    return faults, notes, count


def self_check():
    """A planted advisory is found, and none that does not hold."""
    assert version("1.0.0-rc.1") < version("1.0.0-rc.2") < version("1.0.0") < version("1.0.10")
    for one, requirement, want in [
        ("1.2.3", ">= 1.2.3", True), ("1.2.3", "> 1.2.3", False), ("1.2.3", "< 1.2, >= 1.0", False), ("1.2.3", "^1.1", True),
        ("2.0.0", "^1.1", False), ("0.3.1", "^0.2.9", False), ("0.2.11", "^0.2.9", True), ("0.0.4", "^0.0.3", False),
        ("1.2.9", "~1.2.3", True), ("1.3.0", "~1.2.3", False), ("1.2.3", "= 1.2.3", True), ("1.2.3", "1", True), ("1.2.3", "*", True),
    ]:
        assert meets(version(one), requirement) == want, (one, requirement)
    lock = "".join(f'[[package]]\nname = "{name}"\nversion = "{one}"\nsource = "registry+x"\n'
                   for name, one in [("leaky", "1.2.0"), ("leaky", "2.0.1"), ("quiet", "0.4.0"), ("sound", "1.0.0")])
    with tempfile.TemporaryDirectory() as folder:
        def plant(name, number, rest):
            path = pathlib.Path(folder, "crates", name)
            path.mkdir(parents=True, exist_ok=True)
            path.joinpath(f"{number}.md").write_text(f'```toml\n[advisory]\nid = "{number}"\npackage = "{name}"\n{rest}\n```\n\n# x\n')

        plant("leaky", "T-1", '[versions]\npatched = [">= 2.0.0", "^1.3"]\nunaffected = ["< 1.0"]')
        plant("leaky", "T-2", 'withdrawn = "2026-01-01"\n[versions]\npatched = []')
        plant("quiet", "T-3", 'informational = "unmaintained"\n[versions]\npatched = []')
        plant("other", "T-4", "[versions]\npatched = []")
        assert held_against(folder, lock, []) == (["T-1: leaky 1.2.0"], ["T-3: quiet 0.4.0 (unmaintained)"], 4)
        assert held_against(folder, lock, ["T-1"])[0] == []


def databases():
    cargo = pathlib.Path(os.environ.get("CARGO_HOME", pathlib.Path.home() / ".cargo"))
    named = sys.argv[1:2] or [os.environ.get("ADVISORY_DB")]
    return [pathlib.Path(path) for path in named if path] or [cargo / "advisory-db", *sorted(cargo.glob("advisory-dbs/*"))]


def main():
    self_check()
    found = [path for path in databases() if (path / "crates").is_dir()]
    if not found:
        if sys.argv[1:]:
            raise SystemExit(f"{sys.argv[1]} holds no advisory database")
        print("ADVISORIES WERE NOT CHECKED: there is no copy of the advisory database here.")
        print("To check them: git clone RustSec's advisory-db, then ADVISORY_DB=THAT-FOLDER python3 .ci/check_advisories.py")
        return
    with open("deny.toml", "rb") as file:
        ignored = tomllib.load(file).get("advisories", {}).get("ignore", [])
    lock = pathlib.Path("Cargo.lock").read_text(encoding="utf-8")
    faults, notes, count = held_against(found[0], lock, ignored)
    print(f"{count} advisories looked through: {len(faults)} speak against Cargo.lock, {len(notes)} inform")
    print("\n".join(notes), end="\n" if notes else "")
    if not count:
        raise SystemExit("the database holds no advisory")
    if faults:
        raise SystemExit("\n".join(faults))


main()
