#!/usr/bin/env python3
"""Kills, full disks and lost power at every call of the program that changes a disk.

check_faults.py WARPWISE FOLDER [--count N] [--seed N]

`faults.c`, loaded below the program, makes the Nth such call fail, or the last. Whatever was hit:
the ledger is as it was before the command or as it is after it, never in between, and what was
reported done is there; a plan folder is the old one or the new one; a failure is said in a few
words, and the next command works. N faults are spread over all commands, kinds and calls.
"""

import argparse
import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
DEADLY = ["kill", "torn", "power"]
KINDS = DEADLY + ["full", "eio", "eacces", "erofs"]
JOB = """[job]
name = "tapes"
[[cloth]]
id = "twill"
weave = "plain"
up = "paper"
roll_width = 1000
selvedge = 10
[[strip]]
id = "long"
length = 900
width = 200
[[strip]]
id = "short"
length = 250
width = 100
[[layer]]
cloth = "twill"
angle = 0
templates = ["long", "short"]
"""


class Shop:
    """A folder with a ledger, a job and a plan, as they are before each command."""

    def __init__(self, warpwise, folder):
        self.warpwise, self.folder = warpwise, folder
        self.shim = folder / "faults.so"
        build = ["cc", "-O1", "-shared", "-fPIC", "-o", self.shim, HERE / "faults.c", "-ldl", "-lpthread"]
        subprocess.run(build, check=True)
        self.base, self.here = folder / "base", folder / "here"
        self.base.mkdir(parents=True)
        (self.base / "job.toml").write_text(JOB)
        stock = ["stock", "--ledger", "stock.sqlite"]
        roll = ["add", "roll", "--cloth", "twill", "--width", "1000", "--length", "9 m", "--new-cloth"]
        offcut = ["add", "offcut", "--cloth", "twill", "--length", "300", "--width", "200"]
        for words in [stock + roll, stock + offcut, stock + offcut + ["--count", "3"],
                      ["nest", "job.toml", "--stock", "stock.sqlite", "--effort", "1", "--quiet"]]:
            self.good(words, self.base)
        damaged = self.folder / "damaged"
        shutil.copytree(self.base, damaged)
        (damaged / "stock.sqlite").write_bytes(b"")
        nest = ["nest", "job.toml", "--stock", "stock.sqlite", "--effort", "1", "--quiet"]
        self.commands = [
            ("add", self.base, stock + offcut + ["--count", "3"]),
            ("book", self.base, stock + ["book", "plan"]),
            ("undo", self.base, stock + ["undo"]),
            ("restore", damaged, stock + ["check", "--restore"]),
            ("nest", self.base, nest + ["--sets", "2"]),
            ("sheets", self.base, ["sheets", "plan", "--out", "drawn"]),
        ]

    def run(self, words, here, env=None):
        all_env = {"PATH": os.environ["PATH"], **(env or {})}
        done = subprocess.run([self.warpwise, *words], cwd=here, env=all_env, capture_output=True, text=True, timeout=120)
        return done.returncode, done.stdout, done.stderr

    def good(self, words, here):
        code, out, err = self.run(words, here)
        if code:
            raise SystemExit(f"{words}: {code}: {err}")
        return out

    def fresh(self, source):
        shutil.rmtree(self.here, ignore_errors=True)
        shutil.copytree(source, self.here)

    def stock(self):
        """All that the ledger says, but hours."""
        code, out, err = self.run(["stock", "--ledger", "stock.sqlite", "export"], self.here)
        if code:
            return None, err
        said = json.loads(out)
        for entry in said["archive"]["entries"]:
            entry.pop("at")
        return json.dumps(said, sort_keys=True), err

    def drawn(self):
        """Names and hashes of the sheets."""
        folder = self.here / "drawn"
        files = folder.iterdir() if folder.is_dir() else []
        hashed = {f.name: hashlib.sha256(f.read_bytes()).hexdigest() for f in files if not f.name.startswith(".")}
        return hashed

    def plan(self):
        """Id of the plan whose folder it is; None if it is no whole folder."""
        folder = self.here / "plan"
        listed = json.loads((folder / ".warpwise-files.json").read_text())["files"]
        for file, hashes in listed.items():
            found = hashlib.sha256((folder / file).read_bytes()).hexdigest()
            if found not in ([hashes] if isinstance(hashes, str) else hashes):
                return None
        return json.loads((folder / "plan.json").read_text())["id"]


def check(shop, name, source, words, kind, at, seed):
    """What is wrong after a fault; nothing if all is well."""
    shop.fresh(source)
    env = {"LD_PRELOAD": str(shop.shim), "FAULT_AT": str(at), "FAULT_KIND": kind, "FAULT_SEED": str(seed)}
    code, out, err = shop.run(words, shop.here, env)
    faults = []
    if "panicked" in err or code == 101:
        faults.append("a panic")
    if code not in (0, -9):
        if code not in (1, 2, 3, 4):
            faults.append(f"status {code}")
        if not err.strip() or len(err.splitlines()) > 24:
            faults.append(f"not said in a few words: {err!r}")
    if name in ("add", "book", "undo", "restore"):
        state, said = shop.stock()
        if state is None:
            # Damage that is said, with a way back that works.
            code2, _, err2 = shop.run(["stock", "--ledger", "stock.sqlite", "check", "--restore"], shop.here)
            state, said = shop.stock()
            if name == "restore" and state is None:
                faults.append(f"no way back: {err2!r}")
            elif state is None:
                faults.append(f"damaged for good: {said!r} {err2!r}")
            elif name != "restore":
                shop.restored += 1
        before, after = shop.states[name]
        if state is not None and state not in (before, after):
            faults.append("a state that never was")
        if code == 0 and state != after:
            faults.append("reported, and not there")
        if state is not None:
            add = ["stock", "--ledger", "stock.sqlite", "add", "offcut", "--cloth", "twill", "--length", "99", "--width", "99"]
            code3, _, err3 = shop.run(add, shop.here)
            if code3:
                faults.append(f"the next change is refused: {err3!r}")
    else:
        before, after = shop.states[name]
        if name == "nest":
            found = shop.plan()
            whole = found in (before, after)
        else:
            # Each sheet is whole or not there yet.
            found = shop.drawn()
            whole = all(after.get(file) == text for file, text in found.items())
        if not whole:
            faults.append(f"{found} is neither the old nor the new")
        if code == 0 and found != after:
            faults.append("reported, and not there")
        code2, _, err2 = shop.run(words, shop.here)
        if code2 or (shop.plan() if name == "nest" else shop.drawn()) != after:
            faults.append(f"the next run fails: {err2!r}")
    return faults


def main():
    args = argparse.ArgumentParser()
    args.add_argument("warpwise", type=Path)
    args.add_argument("folder", type=Path)
    args.add_argument("--count", type=int, default=150)
    args.add_argument("--seed", type=int, default=1)
    args = args.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    shop = Shop(args.warpwise.resolve(), args.folder.resolve())
    shop.states, shop.restored, calls = {}, 0, {}
    for name, source, words in shop.commands:
        shop.fresh(source)
        look = {"nest": shop.plan, "sheets": shop.drawn}.get(name, lambda: shop.stock()[0])
        before = look()
        counted = shop.folder / "count"
        code, _, err = shop.run(words, shop.here, {"LD_PRELOAD": str(shop.shim), "FAULT_AT": "0", "FAULT_COUNT": str(counted)})
        if code:
            raise SystemExit(f"{name}: {err}")
        calls[name] = int(counted.read_text())
        shop.states[name] = (before, look())
    dice = random.Random(args.seed)
    done, wrong = {}, []
    for k in range(args.count):
        name, source, words = shop.commands[k % len(shop.commands)]
        kind = KINDS[(k // len(shop.commands)) % len(KINDS)]
        at = dice.randint(1, calls[name])
        for fault in check(shop, name, source, words, kind, at, k):
            wrong.append(f"{name}, {kind} at call {at} of {calls[name]} (seed {k}): {fault}")
        done[kind] = done.get(kind, 0) + 1
    shutil.rmtree(shop.here, ignore_errors=True)
    print(f"{args.count} faults ({', '.join(f'{n} {k}' for k, n in done.items())}) in {calls}; {shop.restored} times a backup was put in place")
    print("\n".join(wrong[:40]) or "nothing lost, nothing half")
    sys.exit(bool(wrong))


main()
