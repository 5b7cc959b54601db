"""
Writes the answers of the contract's examples anew, after a change that is meant.

    python tests/support/rewrite_examples.py

The requests stay as they are; read the difference before you commit it.
"""

import json
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from contract_examples import FOLDER, Replay, body_of, masked
from service_client import running_service
from stores import StandingClock


def main() -> None:
    """Replay every example on an empty store and keep what is answered."""
    with (
        tempfile.TemporaryDirectory() as folder,
        running_service(Path(folder) / "data", clock=StandingClock()) as client,
    ):
        replay = Replay(client)
        for path in sorted(FOLDER.glob("*.json")):
            example = json.loads(path.read_text("utf-8"))
            for request in example.get("before", []):
                replay.send(request).raise_for_status()
            answer = replay.send(example["request"]).raise_for_status()
            example["response"] = {"status": answer.status_code}
            if answer.content:
                example["response"]["body"] = masked(body_of(answer))
            path.write_text(json.dumps(example, indent=2, ensure_ascii=False) + "\n", "utf-8")


if __name__ == "__main__":
    main()
