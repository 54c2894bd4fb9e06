"""Holds a run's ro-crate-metadata.json to the Process Run Crate profile, without a network.

    python tests/whole_study/crate_validator.py OUTPUT

It needs roc-validator and rocrate in an environment of their own, for their pins are not ours: `.ci/run` makes one. The
terms of RO-Crate come from the context that rocrate carries; nothing else is fetched. Prints what is wrong; exit
status 1 where anything is that the profile requires.
"""

from __future__ import annotations

import io
import json
import sys
from email.message import Message
from importlib.resources import files
from urllib.response import addinfourl

import rdflib.parser
import requests
from rocrate_validator import services
from rocrate_validator.models import Severity


def carried(url: str) -> bytes:
    """What is answered to who asks for the context of RO-Crate."""
    if not url.startswith("https://w3id.org/ro/crate/"):
        raise OSError(f"{url} is asked for, and nothing is fetched here")
    known = json.loads(files("rocrate").joinpath("data/ro-crate.jsonld").read_text("utf-8"))
    return json.dumps({"@context": known["@context"]}).encode()


def to_rdflib(request) -> addinfourl:
    """In the place of its `_urlopen`."""
    header = Message()
    header["Content-Type"] = "application/ld+json"
    return addinfourl(io.BytesIO(carried(request.full_url)), header, request.full_url, 200)


def to_requests(_, request, **__) -> requests.Response:
    """In the place of `HTTPAdapter.send`."""
    answer = requests.Response()
    answer.status_code, answer.url, answer.request = 200, request.url, request
    answer.headers["Content-Type"] = "application/ld+json"
    answer.raw = io.BytesIO(carried(request.url))
    return answer


def main(output: str) -> int:
    rdflib.parser._urlopen = to_rdflib
    requests.adapters.HTTPAdapter.send = to_requests
    n_required = 0
    for severity in (Severity.REQUIRED, Severity.RECOMMENDED):
        found = services.validate(
            services.ValidationSettings(
                rocrate_uri=output,
                profile_identifier="process-run-crate",
                requirement_severity=severity,
                skip_availability_check=True,  # of what lies in the web
                no_cache=True,
            )
        )
        for issue in found.get_issues():
            print(f"{issue.severity.name}: {issue.message}")
            n_required += issue.severity is Severity.REQUIRED
    return int(n_required > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
