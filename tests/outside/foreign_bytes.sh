#!/usr/bin/env bash
# Sends another encoder's bytes to the galley over TCP and reads the codes on its picture.
# Runs inside with_daemon.sh; PYTHON names a Python with python-escpos, pillow, zxing-cpp.
set -euo pipefail
here=$(dirname "$0")
"$PYTHON" "$here/foreign_bytes.py" --send "$GALLEY"
for _ in $(seq 50); do
  for picture in "$PAPERS"/*.png; do
    if [ -e "$picture" ] && grep -q 'Tern & Thistle' "${picture%.png}.txt" 2>/dev/null; then
      exec "$PYTHON" "$here/foreign_bytes.py" --read "$picture"
    fi
  done
  sleep 0.2
done
echo "the galley drew no paper"
exit 1
