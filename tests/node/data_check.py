"""Holds the answers of a served node against its own description, with independent validators.

The node's address is given. The description is checked as OpenAPI 3.1, every answer against the
schema it promises, and the paths are tried with generated questions, good and bad, a bounded number
from a fixed seed. Prints what was looked at.
"""

import json
import sys
from urllib.request import urlopen

import jsonschema
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from openapi_spec_validator import OpenAPIV31SpecValidator

address = sys.argv[1]
EXAMPLES = 40


def fetched(path):
    """What is answered at a path."""
    with urlopen(address + path) as answer:
        return json.load(answer)


described = fetched("/data/v1/openapi.json")
OpenAPIV31SpecValidator(described).validate()


def holds(path, template=None):
    """Whether an answer is what the description promises."""
    operation = described["paths"][template or path.split("?")[0]]["get"]
    schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
    whole = {**schema, "components": described["components"]}
    answer = fetched(path)
    jsonschema.Draft202012Validator(whole).validate(answer)
    return answer


visits = holds("/data/v1/visits")["visits"]
counts = {
    "sites": len(holds("/data/v1/sites")["sites"]),
    "visits": len(visits),
    "readings": len(holds("/data/v1/readings")["readings"]),
    "calibrations": len(holds("/data/v1/calibrations-due")["calibrations"]),
}
for visit in visits:
    holds("/data/v1/visits/" + visit["id"], "/data/v1/visits/{id}")


def in_pages(limit):
    """Every reading, a page at a time."""
    path, all_of_them = f"/data/v1/readings?limit={limit}", []
    while True:
        page = holds(path)
        all_of_them += page["readings"]
        assert len(page["readings"]) <= limit
        if page["next"] is None:
            return all_of_them
        path = f"/data/v1/readings?limit={limit}&after={page['next']}"


assert in_pages(1000) == in_pages(1) == in_pages(7), "pages lose or repeat readings"

schema = schemathesis.openapi.from_dict(described)
schema.config.update(base_url=address)
tried = {}


def generated(operation, mode):
    """Asks an operation generated questions; whatever its description does not allow is raised."""

    @seed(20261126)
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def ask(case):
        case.call_and_validate()
        key = f"{operation.path} {mode.value}"
        tried[key] = tried.get(key, 0) + 1

    ask()


for result in schema.get_all_operations():
    operation = result.ok()
    generated(operation, schemathesis.GenerationMode.POSITIVE)
    if "readings" in operation.path or "due" in operation.path:
        generated(operation, schemathesis.GenerationMode.NEGATIVE)
print(json.dumps({"counts": counts, "tried": tried}))
