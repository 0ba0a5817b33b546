#!/usr/bin/env python3
"""An independent sender: signs messages with the PyPI library "standardwebhooks" and posts
them to a running intake.

    pip install standardwebhooks
    python3 tests/outside/standard_webhooks_sender.py URL SECRET_FILE [COUNT]

URL is the source's address (http://127.0.0.1:7781/intake/shop), SECRET_FILE holds its
secret (whsec_...). Each message is sent as it is (202), again (200, the same answer), and
with its body, id, timestamp or signature tampered with (401, a problem document).
Prints "N passed, N failed"; exits 1 if any failed.
"""

import datetime
import json
import sys
import urllib.error
import urllib.request
import uuid

from standardwebhooks.webhooks import Webhook


def order(number):
    """An invented order in schema.org's words, with letters of several scripts."""
    return {
        "@context": "https://schema.org",
        "@type": "Order",
        "orderNumber": number,
        "customer": {"@type": "Person", "name": "Zoë Ångström 佐藤"},
        "orderDelivery": {
            "@type": "ParcelDelivery",
            "deliveryAddress": {
                "@type": "PostalAddress",
                "streetAddress": "Quay Street 4",
                "postalCode": "1203",
                "addressLocality": "Port Haven",
                "addressCountry": "QS",
            },
        },
        "orderedItem": {
            "@type": "OrderItem",
            "orderQuantity": 1,
            "orderedItem": {"@type": "Product", "sku": "sea-mint", "name": "Sea mint, 100 g"},
        },
    }


def post(url, headers, body):
    """Status, media type and body of the answer."""
    request = urllib.request.Request(url, data=body, method="POST")
    request.add_header("Content-Type", "application/json")
    for name, value in headers.items():
        request.add_header(name, value)
    try:
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.status, answer.headers.get_content_type(), answer.read()
    except urllib.error.HTTPError as error:
        return error.code, error.headers.get_content_type(), error.read()


class Tally:
    def __init__(self):
        self.passed = 0
        self.failed = 0

    def check(self, what, good, found):
        if good:
            self.passed += 1
        else:
            self.failed += 1
            print(f"failed: {what}: {found}", file=sys.stderr)


def signed(webhook, message_id, at, body):
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": webhook.sign(message_id, at, body.decode("utf-8")),
    }


def main():
    if len(sys.argv) not in (3, 4):
        print(__doc__, file=sys.stderr)
        return 2
    url = sys.argv[1]
    with open(sys.argv[2], encoding="utf-8") as file:
        webhook = Webhook(file.read().strip())
    count = int(sys.argv[3]) if len(sys.argv) == 4 else 10
    tally = Tally()
    run = uuid.uuid4().hex[:8]

    for nth in range(count):
        message_id = f"msg_{run}_{nth}"
        now = datetime.datetime.now(tz=datetime.timezone.utc)
        # Escaped or not, compact or not: what counts are the bytes.
        style = {"ensure_ascii": nth % 2 == 0, "indent": 2 if nth % 3 == 0 else None}
        body = json.dumps(order(f"W-{run}-{nth}"), **style).encode("utf-8")
        headers = signed(webhook, message_id, now, body)

        first = post(url, headers, body)
        tally.check(f"{message_id} is new", first[0] == 202, first)
        again = post(url, headers, body)
        tally.check(f"{message_id} again", again[0] == 200 and again[2] == first[2], again)

        long_ago = now - datetime.timedelta(seconds=301)
        soon = now + datetime.timedelta(seconds=330)
        tampered = {
            "body": (headers, body.replace(b"Quay Street 4", b"Quay Street 5")),
            "white space": (headers, body + b"\n"),
            "id": ({**headers, "webhook-id": message_id + "x"}, body),
            "timestamp": ({**headers, "webhook-timestamp": str(int(now.timestamp()) - 1)}, body),
            "no signature": ({k: v for k, v in headers.items() if k != "webhook-signature"}, body),
            "replayed": (signed(webhook, message_id, long_ago, body), body),
            "from the future": (signed(webhook, message_id, soon, body), body),
        }
        for what, (changed, content) in tampered.items():
            answer = post(url, changed, content)
            good = answer[0] == 401 and answer[1] == "application/problem+json"
            tally.check(f"{message_id}, {what} tampered with", good, answer)

        # A sender that rotates its secrets lists several signatures.
        both = {**headers, "webhook-signature": "v1,AAAA v1a,BBBB " + headers["webhook-signature"]}
        answer = post(url, both, body)
        tally.check(f"{message_id}, several signatures", answer[0] == 200, answer)

    print(f"{tally.passed} passed, {tally.failed} failed")
    return 1 if tally.failed else 0


if __name__ == "__main__":
    sys.exit(main())
