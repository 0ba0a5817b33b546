#!/usr/bin/env bash
# Shows with strace that an order is synced before it is answered:
#
#   tests/outside/strace_order.sh BINARY
#
# Starts a galley and the daemon under strace on free loopback ports, sends one signed order and
# looks at the order of the system calls (strace_order.py). Prints `N passed, N failed`.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
binary=$(realpath "$1")
command -v strace >/dev/null || { echo "SKIPPED: strace is not installed"; exit 0; }
folder=$(mktemp -d)
pids=()
finish() {
  for pid in "${pids[@]}"; do kill "$pid" 2>/dev/null || true; done
  wait 2>/dev/null || true
  rm -rf "$folder"
}
trap finish EXIT

read -r intake desk printer < <(python3 - <<'PY'
import socket
sockets = [socket.socket() for _ in range(3)]
for s in sockets:
    s.bind(("127.0.0.1", 0))
print(*[s.getsockname()[1] for s in sockets])
PY
)
cp -r "$here/../../config" "$folder/config"
sed -i "s/127.0.0.1:7781/127.0.0.1:$intake/; s/127.0.0.1:7780/127.0.0.1:$desk/; s/^quiet = .*//" "$folder/config/workshop.toml"
sed -i "s/127.0.0.1:9100/127.0.0.1:$printer/" "$folder/config/printers.toml"
mkdir -p "$folder/config/secrets"
for source in shop fair stall; do
  (umask 077 && head -c 32 /dev/urandom | base64 -w0 > "$folder/config/secrets/$source")
done

"$binary" galley --listen "127.0.0.1:$printer" --out "$folder/papers" >/dev/null 2>&1 &
pids+=($!)
# strace passes SIGTERM on to nobody: the daemon's own id is found as strace's child.
strace -f -yy -s 65536 -o "$folder/calls" -e trace=pwrite64,fdatasync,write,sendto,sendmsg,writev \
  "$binary" run --config "$folder/config" --data "$folder/data" >/dev/null 2>"$folder/log" &
tracer=$!
for _ in $(seq 200); do
  curl -fs "http://127.0.0.1:$desk/readyz" >/dev/null 2>&1 && break
  sleep 0.1
done
pids+=($(cat "/proc/$tracer/task/$tracer/children") "$tracer")

python3 - "$intake" "$folder/config/secrets/fair" <<'PY'
import hashlib, hmac, json, sys, urllib.request
port, secret = sys.argv[1], open(sys.argv[2], "rb").read().strip()
body = json.dumps({"event": "sale", "sale": {"ref": "F-314159", "currency": "EUR",
    "goods": [{"code": "mug-dawn", "count": 1, "kind": "thing"}],
    "to": {"name": "Zoe Angstrom", "lines": ["Fold 7"], "town": "Northfold", "code": "3055", "land": "QS"}}}).encode()
signature = "sha256=" + hmac.new(secret, body, hashlib.sha256).hexdigest()
request = urllib.request.Request(f"http://127.0.0.1:{port}/intake/fair", body,
    {"Content-Type": "application/json", "Fair-Signature": signature})
with urllib.request.urlopen(request, timeout=30) as answer:
    assert answer.status == 202, answer.status
PY
for _ in $(seq 200); do
  curl -fs "http://127.0.0.1:$desk/orders/F-314159" | grep -q '"\?printed' && break
  sleep 0.1
done
python3 "$here/strace_order.py" "$folder/calls" "$printer" F-314159 || {
  code=$?
  grep -v "^[0-9]* write(2<" "$folder/calls" | cut -c1-160 | tail -60
  exit "$code"
}
