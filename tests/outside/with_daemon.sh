#!/usr/bin/env bash
# Runs a command beside a real daemon and a galley, both of this build, on free loopback ports
# with the sample configuration in a temporary folder:
#
#   tests/outside/with_daemon.sh BINARY COMMAND...
#
# The command finds INTAKE and DESK (http://127.0.0.1:PORT), GALLEY (127.0.0.1:PORT), CONFIG,
# DATA and PAPERS (folders) in its environment. Ends with the command's exit code. Where CALLS
# names a file, the daemon runs under strace, which writes its calls there.
set -euo pipefail
binary=$(realpath "$1")
shift
root=$(cd "$(dirname "$0")/../.." && pwd)
folder=$(mktemp -d)
pids=()
finish() {
  # strace hands no signal on: its child is ended first, and it ends with it.
  for pid in "${pids[@]}"; do pkill -P "$pid" || kill "$pid" 2>/dev/null || true; done
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
cp -r "$root/config" "$folder/config"
sed -i "s/127.0.0.1:7781/127.0.0.1:$intake/; s/127.0.0.1:7780/127.0.0.1:$desk/; s/^quiet = .*//" "$folder/config/workshop.toml"
sed -i "s/127.0.0.1:9100/127.0.0.1:$printer/" "$folder/config/printers.toml"
mkdir -p "$folder/config/secrets"
for source in shop fair stall; do
  secret=$(head -c 32 /dev/urandom | base64 -w0)
  [ "$source" = shop ] && secret="whsec_$secret"
  (umask 077 && echo "$secret" > "$folder/config/secrets/$source")
done

export INTAKE="http://127.0.0.1:$intake" DESK="http://127.0.0.1:$desk" GALLEY="127.0.0.1:$printer"
export CONFIG="$folder/config" DATA="$folder/data" PAPERS="$folder/papers"
"$binary" galley --listen "$GALLEY" --out "$PAPERS" < /dev/null > "$folder/galley.log" 2>&1 &
pids+=($!)
watched=()
if [ -n "${CALLS:-}" ]; then
  watched=(strace -f -yy -s 65536 -o "$CALLS" -e "trace=pwrite64,fdatasync,write,sendto,sendmsg,writev")
fi
"${watched[@]}" "$binary" run --config "$CONFIG" --data "$DATA" > "$folder/daemon.log" 2>&1 &
pids+=($!)
for _ in $(seq 100); do
  if python3 -c "import urllib.request as u; u.urlopen('$DESK/readyz')" 2>/dev/null; then ready=1; break; fi
  sleep 0.2
done
[ -n "${ready:-}" ] || { echo "the daemon did not come up:"; cat "$folder/daemon.log"; exit 1; }
"$@"
