#!/usr/bin/env bash
# Shows with strace that an order is synced before it is answered: sends one signed order and looks
# at the order of the daemon's system calls (strace_order.py). Runs inside with_daemon.sh with CALLS set.
set -euo pipefail
here=$(dirname "$0")
python3 - "$INTAKE" "$CONFIG/secrets/fair" <<'PY'
import hashlib, hmac, json, sys, urllib.request
intake, secret = sys.argv[1], open(sys.argv[2], "rb").read().strip()
body = json.dumps({"event": "sale", "sale": {"ref": "F-314159", "currency": "EUR",
    "goods": [{"code": "mug-dawn", "count": 1, "kind": "thing"}],
    "to": {"name": "Zoe Angstrom", "lines": ["Fold 7"], "town": "Northfold", "code": "3055", "land": "QS"}}}).encode()
signature = "sha256=" + hmac.new(secret, body, hashlib.sha256).hexdigest()
request = urllib.request.Request(f"{intake}/intake/fair", body,
    {"Content-Type": "application/json", "Fair-Signature": signature})
with urllib.request.urlopen(request, timeout=30) as answer:
    assert answer.status == 202, answer.status
PY
for _ in $(seq 200); do
  python3 -c "import sys, urllib.request as u; sys.exit('printed' not in u.urlopen('$DESK/orders/F-314159').read().decode())" && break
  sleep 0.1
done
python3 "$here/strace_order.py" "$CALLS" "${GALLEY##*:}" F-314159 || {
  code=$?
  grep -v "^[0-9]* write(2<" "$CALLS" | cut -c1-160 | tail -60
  exit "$code"
}
