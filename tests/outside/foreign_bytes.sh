#!/usr/bin/env bash
# Sends other encoders' bytes to the galley over TCP and reads the codes on its pictures.
# Runs inside with_daemon.sh; PYTHON names a Python with python-escpos, pillow, zxing-cpp; ENCODED a
# file that foreign_bytes.mjs has just written.
set -euo pipefail
here=$(dirname "$0")

# The paper that carries a number, once the galley has drawn it.
read_back() {
  for _ in $(seq 50); do
    for picture in "$PAPERS"/*.png; do
      if [ -e "$picture" ] && grep -q "QR: $1\]" "${picture%.png}.txt" 2>/dev/null; then
        "$PYTHON" "$here/foreign_bytes.py" --read "$picture" "$1"
        return
      fi
    done
    sleep 0.2
  done
  echo "the galley drew no paper with $1"
  return 1
}

"$PYTHON" "$here/foreign_bytes.py" --send "$GALLEY"
read_back S-442
"$PYTHON" "$here/foreign_bytes.py" --send "$GALLEY" "$ENCODED"
read_back S-443
