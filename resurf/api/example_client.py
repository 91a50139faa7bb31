"""A small client of the API, made from its own document: one method for each operation. Standard library only.

    api = Client("https://plans.example", token)
    for job in api.pages("jobs_list", state="date_promised"):
        print(job["number"], job["promised_date"])
    job = api.call("job_show", id=job["id"])
    api.call("job_correct", id=job["id"], body={"work": {"weight": 3}}, read=job)

`python -m resurf.api.example_client ADDRESS` (the token in RESURF_TOKEN) lists open jobs and their fill bands.
"""

from __future__ import annotations

import json
import os
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
import uuid
from collections.abc import Iterator
from typing import Any


class Refused(Exception):
    """The service said no; `problem` holds its reasons (RFC 9457)."""

    def __init__(self, status: int, problem: dict[str, Any]) -> None:
        super().__init__(f"{status}: {problem.get('detail', problem.get('title', ''))}")
        self.status, self.problem = status, problem


class Row(dict[str, Any]):
    """What was read, with the tag that a change has to name."""

    tag: str = ""


class Client:
    def __init__(self, address: str, token: str) -> None:
        self.address, self.token = address.rstrip("/"), token
        with urllib.request.urlopen(f"{self.address}/api/v1/schema", timeout=30) as answer:
            document = json.load(answer)
        self.operations: dict[str, tuple[str, str, dict[str, Any]]] = {
            operation["operationId"]: (method.upper(), path, operation)
            for path, methods in document["paths"].items()
            for method, operation in methods.items()
        }

    def call(self, name: str, *, body: Any = None, read: Row | None = None, **values: Any) -> Row:
        """Call one operation by its name. *read* is the row that a change was made from.

        Every POST carries a key of its own and is sent again after a broken connection: it is done once.
        """
        method, path, operation = self.operations[name]
        in_path = {word: values.pop(word) for word in list(values) if f"{{{word}}}" in path}
        url = self.address + path.format(**{word: urllib.parse.quote(str(value)) for word, value in in_path.items()})
        if values:
            url += "?" + urllib.parse.urlencode(values, doseq=True)
        headers = {"Authorization": f"Bearer {self.token}", "Accept": "application/json"}
        if read is not None:
            headers["If-Match"] = read.tag
        if method == "POST":
            headers["Idempotency-Key"] = str(uuid.uuid4())
        data = None
        if "requestBody" in operation or body is not None:
            data, headers["Content-Type"] = json.dumps(body if body is not None else {}).encode(), "application/json"
        return self._sent(urllib.request.Request(url, data=data, headers=headers, method=method))

    def _sent(self, request: urllib.request.Request) -> Row:
        for wait_s in (1, 4, None):
            try:
                with urllib.request.urlopen(request, timeout=60) as answer:
                    row = Row(json.load(answer) if answer.status not in (202, 204) or answer.length else {})
                    row.tag = answer.headers.get("ETag", "")
                    return row
            except urllib.error.HTTPError as refused:
                with refused:
                    if refused.code == 429 and wait_s is not None:
                        time.sleep(int(refused.headers.get("Retry-After", "1")))
                        continue
                    raise Refused(refused.code, json.loads(refused.read() or b"{}")) from refused
            except urllib.error.URLError:
                if wait_s is None:
                    raise
                time.sleep(wait_s)
        raise Refused(429, {"title": "Too Many Requests"})

    def pages(self, name: str, **filters: Any) -> Iterator[dict[str, Any]]:
        """Every row of a list, page after page."""
        cursor: dict[str, Any] = {}
        while True:
            page = self.call(name, **{**filters, **cursor})
            yield from page["results"]
            if page["next"] is None:
                return
            cursor = {"cursor": page["next"]}


def main(address: str, token: str) -> None:
    """Open jobs with the fill day that was promised and the one that can be expected."""
    api = Client(address, token)
    for job in api.pages("jobs_list", state=["scope_agreed", "date_promised", "under_way"]):
        try:
            band = api.call("dates_show", id=job["id"])["band"] or {}
        except Refused as refused:
            if refused.status != 404:
                raise
            band = {}
        said = f"even chance by {band.get('p50', '?')}, 9 in 10 by {band.get('p90', '?')}"
        sys.stdout.write(
            f"{job['number']}  {job['site']['label']}: promised {job['promised_date'] or 'nothing'}; {said}\n"
        )


if __name__ == "__main__":
    main(sys.argv[1], os.environ["RESURF_TOKEN"])
