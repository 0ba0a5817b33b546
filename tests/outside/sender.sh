#!/usr/bin/env bash
# Posts messages that an independent library signed to the real daemon. Runs inside with_daemon.sh.
set -euo pipefail
exec "$PYTHON" "$(dirname "$0")/standard_webhooks_sender.py" "$INTAKE/intake/shop" "$CONFIG/secrets/shop" 20
