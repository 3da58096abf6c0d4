#!/usr/bin/env python3
"""Holds plans against the JSON Schema in the repository, by a general library (jsonschema).

    check_schema.py PLAN.json...

Lists every place where a plan breaks the schema; exit status 1 if there is any. That the schema itself is sound, and refuses a
plan that lacks something, is held too.
"""

import json
import sys
from pathlib import Path

from jsonschema import Draft202012Validator

SCHEMA = Path(__file__).resolve().parents[2] / "src/plan/plan.schema.json"


def main():
    schema = json.loads(SCHEMA.read_text())
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    failed = 0
    for file in map(Path, sys.argv[1:]):
        plan = json.loads(file.read_text())
        for error in validator.iter_errors(plan):
            failed += 1
            place = "/".join(map(str, error.absolute_path))
            print(f"{file}: {place}: {error.message[:200]}", file=sys.stderr)
        del plan["pieces"]
        if validator.is_valid(plan):
            failed += 1
            print(f"{file}: the schema takes a plan without pieces", file=sys.stderr)
        print(f"{file}: keeps to the schema" if not failed else f"{file}: see above")
    if failed:
        raise SystemExit(f"check_schema.py: {failed} faults")


if __name__ == "__main__":
    if len(sys.argv) < 2:
        raise SystemExit(__doc__)
    main()
