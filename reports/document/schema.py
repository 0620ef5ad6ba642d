"""The JSON Schema of the embedded data. `python -m reports.document.schema` writes it to the file that is published."""

import json
from pathlib import Path
from typing import Any, Final

from pydantic import TypeAdapter

from reports.document.content import FORMAT, Certificate

PATH: Final = Path(__file__).parent / "topwright-certificate-1.schema.json"


def schema() -> dict[str, Any]:
    made = TypeAdapter(Certificate).json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:{FORMAT.replace('/', ':')}",
        **made,
        "required": [*made["required"], "format"],
    }


def as_text() -> str:
    return json.dumps(schema(), indent=2, ensure_ascii=False, sort_keys=True) + "\n"


if __name__ == "__main__":
    PATH.write_text(as_text(), encoding="utf-8")
