"""Looks the locked libraries up in the published advisories: ``python -m tests.security.audit``.

It runs pip-audit (``pip install pip-audit``, which nothing else needs) over requirements.lock and
needs a network that reaches the advisories. What could not be looked up is no success: the status
is 1 for a flaw, 2 where a library or the program itself is out of reach.
"""

from __future__ import annotations

import json
import subprocess
import sys

from tests.structure.source import ROOT

COMMAND = ("-m", "pip_audit", "--disable-pip", "--require-hashes", "--format=json")


def judged(report: str) -> tuple[list[str], list[str]]:
    """Flaws, and libraries that were not looked up, in what pip-audit prints as JSON."""
    flaws, unknown = [], []
    for library in json.loads(report)["dependencies"]:
        name = f"{library['name']} {library.get('version', '')}".rstrip()
        if "skip_reason" in library:
            unknown.append(f"{name}: {library['skip_reason']}")
        flaws += [
            f"{name}: {flaw['id']}, mended in {', '.join(flaw['fix_versions']) or 'none yet'}"
            for flaw in library.get("vulns", [])
        ]
    return flaws, unknown


def main() -> int:
    """Print flaws, and what is not known."""
    done = subprocess.run(
        [sys.executable, *COMMAND, "-r", "requirements.lock"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    try:
        flaws, unknown = judged(done.stdout)
    except (ValueError, KeyError):
        sys.stdout.write(f"not audited: {done.stderr.strip()[-400:]}\n")
        return 2
    for said in (*flaws, *unknown):
        sys.stdout.write(f"{said}\n")
    sys.stdout.write(f"{len(flaws)} flaws; {len(unknown)} libraries could not be looked up\n")
    return 1 if flaws else 2 if unknown else 0


if __name__ == "__main__":
    sys.exit(main())
